"""Radiation physics: materials, cross sections, sources, fields, and the tube.

What to use when:

* ``materials`` / ``attenuation`` / ``stopping``: what a layer is made of and what it does to
  photons and electrons.
* ``nuclides`` / ``emissions``: what a source holds at a date, and what it emits.
* ``field``: what arrives at a position, and the dose rates there.
* ``dose``: coefficients and conversions between dose quantities.
* ``background``: the field without a source.
* ``tube``: how a counter answers to a field.

All functions are pure; energies are in keV for photons and spectra, in MeV for stopping powers.
"""
