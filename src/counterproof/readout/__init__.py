"""The firmware of a counter as a forward model: pulses in, displayed numbers out.

What to use when:

- to simulate a display: a :class:`ReadoutModel` and :func:`run_readout`;
- to know what one count rate shows: :func:`displayed`;
- to know what a loudspeaker gives away: :func:`clicks_of`;
- to know which number to enter in a menu: :func:`.menu.best_step`;
- to infer a firmware from clicks and readings: ``counterproof.forensics``, which runs these same
  functions backward.
"""

from counterproof.readout.estimators import (
    Boxcar,
    Estimator,
    Exponential,
    FixedCount,
    Switched,
    decayed_sum,
)
from counterproof.readout.factors import corrected_rate, held_range, range_of, rounded
from counterproof.readout.model import (
    Readings,
    ReadoutModel,
    clicks_of,
    displayed,
    refresh_times,
    run_readout,
)

__all__ = [
    "Boxcar",
    "Estimator",
    "Exponential",
    "FixedCount",
    "Readings",
    "ReadoutModel",
    "Switched",
    "clicks_of",
    "corrected_rate",
    "decayed_sum",
    "displayed",
    "held_range",
    "range_of",
    "refresh_times",
    "rounded",
    "run_readout",
]
