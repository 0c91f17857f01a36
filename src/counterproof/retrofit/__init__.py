"""Design the better probe on paper, before anything is cut.

What to use when
================

*Does this tube, or this probe, go with this box?*
    :func:`.compatibility.compatibility`: voltage, resistor, cable, dead time, space.
*What would it bring, and what should be entered in the menu?*
    :func:`.propose.propose` for the whole outlook; :func:`.box.box_of` makes the box,
    :class:`.outlook.Candidate` takes what physics says of a tube (``counterproof.workshop.yields``
    computes it); :func:`.display.best_settings` and :func:`.display.mean_display` for the display
    alone; :mod:`.wishes` for ranking and what binds.
*Did it bring that?*
    :func:`.retest.retest_plan`, :func:`.retest.predictions`, :func:`.retest.pull`.
*Which foils flatten the energy response?*
    :func:`.filters.design_filter` and :func:`.filters.tolerance`.
*How is it built?*
    :func:`.wiring.wiring_of` and :func:`.wiring.wiring_svg`; :func:`.section.dimensions_of`,
    :func:`.section.section_svg`, :func:`.section.section_dxf`; :func:`.buildsheet.build_sheet` (the
    drawings need the extra ``drawings``).

Import from the modules.
"""
