"""A virtual bench: tubes, boxes, loudspeakers, rooms and phones, all seeded.

What to use when: :mod:`~counterproof.simulate.pulses` for event times with dead time, double
pulses, pickup and drift; :mod:`~counterproof.simulate.acoustics` for a recording of clicks with
its true onsets; :mod:`~counterproof.simulate.box` for a whole counter that clicks and displays;
:mod:`~counterproof.simulate.video` for a film of its display; and
:mod:`~counterproof.simulate.hollow_lane`, with :mod:`~counterproof.simulate.hollow_lane_after`, for
the invented demonstration. What is made here is labelled simulated and never passed off as
measured.
"""
