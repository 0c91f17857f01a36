"""Trials: each a test with a plan, runs, an analysis and a judged outcome.

What to use when: *background* before anything else; *source response* for each kind of radiation;
*repeatability* when a display jumps about or stands suspiciously still. ``registry`` lists them,
``shape`` says what a trial is, ``levels`` turns signals into rates, ``judge`` decides, ``criteria``
holds the acceptance profiles.
"""
