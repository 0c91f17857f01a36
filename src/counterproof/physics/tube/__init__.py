"""From a field to counts: a tube as coaxial layers, and what it counts.

What to use when (``tube`` is a :class:`.model.TubeModel`, as ``counterproof.kit.to_tube`` makes it
from a file, or a :class:`.geometry.Tube` of which everything is known; the spread of what is
unknown is in every uncertainty):

* response over photon energy: ``response.response_curve(tube, energies_kev, angle_deg=90.0)`` →
  ``response.Curve`` (effective area, ``counts_per_usv``, ``counts_per_ugy``, uncertainties);
* response over angle: ``figures.angle_response(tube, energy_kev, angles_deg)`` →
  ``figures.AngleResponse`` (``counts_per_usv``, ``relative`` to 90°, their uncertainties);
* counts per µSv of a source's photons at a position:
  ``figures.sensitivity(tube, at, index, angle_deg=90.0)`` → ``Estimate`` in 1/µSv
  (over 60: counts per minute per µSv/h), ``at`` being a :class:`counterproof.physics.field.Field`;
* counts per electron of a source that strikes the tube:
  ``figures.beta_efficiency(tube, at, index, angle_deg=90.0)`` → ``Estimate``;
* counts of natural background: ``figures.background_counts(tube, natural=None)`` → ``Estimate``
  in 1/s;
* count rates near a source, photons, betas and background apart:
  ``predict.predict(tube, at, index, angle_deg=…, natural=…)`` → ``predict.Prediction``;
* external electrons over energy: ``response.electron_curve(tube, energies_kev)``.

All take ``method``, ``precision``, ``seed`` and ``report``; dead time is never applied. Angles are
between the tube's axis and the way to the source: 90° from the side, 0° in front of the window end,
``None`` for a field that turns. The compiled modules (``*_kernel``) are imported only by
:mod:`.run`, when the Monte Carlo runs.
"""
