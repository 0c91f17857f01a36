"""Electrons from a source through layers and air.

What to use when: :func:`transport.behind` for what comes through layers in front of the detector,
:func:`transport.through_cover` for flat layers on a source, :func:`transport.around` for layers all
around it, :func:`transport.in_air` for the way between. They interpolate a table of kernels
(``data/``, made by ``build``) that was simulated with the Monte Carlo of ``slab``, which can also
be run by itself.
"""
