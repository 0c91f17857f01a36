"""Design the better probe on paper, before anything is cut.

What to use when
================

*Does this tube, or this probe, go with this box?*
    :func:`.compatibility.compatibility`: voltage, resistor, cable, dead time, space.
*How is it wired?*
    :func:`.wiring.wiring_of` and :func:`.wiring.wiring_svg` (the extra ``drawings``).

Import from the modules.
"""
