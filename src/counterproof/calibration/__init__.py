"""Calibration: what a counter shows against what is true, how sure, and how much may be said.

What to use when:

- :func:`calibrate` for the whole of it: runs in, a record out;
- :func:`says` for its sentences, in the words that its standing allows;
- ``fit`` and ``choice`` for the likelihood alone: a ``Problem`` in, factor and evidence out.
"""

from counterproof.calibration.advice import Dial
from counterproof.calibration.calibrate import calibrate
from counterproof.calibration.evidence import Assumptions
from counterproof.calibration.saying import says

__all__ = ["Assumptions", "Dial", "calibrate", "says"]
