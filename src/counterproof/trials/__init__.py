"""Trials: each a test with a plan, runs, an analysis and a judged outcome.

What to use when: *background* before anything else; *source response* for each kind of radiation;
*dose-rate ladder* for levels and a factor that changes; *repeatability* when a display jumps about
or stands suspiciously still; *beta shutter* for walls; *energy response* and *angle* for what a
reading is worth elsewhere than in the calibration; *response time*, *overload* for the display;
*plateau*, *light*, *climate*, *endurance* for tube and supply.

``registry`` lists them, ``shape`` says what a trial is, ``levels`` turns signals into rates,
``judge`` decides, ``criteria`` holds the acceptance profiles. How to do each: ``docs/trials.md``.
"""
