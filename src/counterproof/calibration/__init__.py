"""Calibration: what the counts of a source ladder say about a counter's sensitivity.

What to use when: :func:`counterproof.calibration.ladder_fit.fit_ladder` for the sensitivity with
scatter, offset, dead time and source as nuisances; :func:`counterproof.readout.menu.best_step`
(a floor below) for the number to enter in a menu that accepts only steps.
"""
