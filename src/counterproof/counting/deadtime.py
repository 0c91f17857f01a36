"""Dead-time models: observed rate m from true rate n, and back.

========================  ==================================  =====================================
model                     m(n)                                dead times per event
========================  ==================================  =====================================
non-paralysable           n / (1 + nτ)                        τ after each *accepted* event
paralysable               n e^(-nτ)                           τ after *every* event
hybrid                    n e^(-nτ_P) / (1 + nτ_N)            τ_N, then τ_P (two parameters)
========================  ==================================  =====================================

The hybrid form is that of Lee & Gardner, Appl. Radiat. Isot. 53 (2000) 731; the other two are its
limits (Knoll, Radiation Detection and Measurement, ch. 4 VII). A paralysable counter shows every
rate below its maximum for *two* true rates: :func:`true_rate` returns the lower and says so.

Zero counts: an observed rate of 0 gives a true rate of 0 in every model.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from counterproof.counting.checks import Floats


def impose_dead_time(times_s: ArrayLike, tau_s: float) -> Floats:
    """Keep the events that a non-paralysable counter of dead time ``tau_s`` would accept.

    Makes the resolving time of a list definite: afterwards no two events are closer than
    ``tau_s``, and the rate may be corrected with exactly that value. An empty list stays empty.

    Args:
        times_s: event times in seconds, ascending, shape (n,).
        tau_s: dead time in seconds, ≥ 0.

    Returns:
        The accepted times, shape (k,), k ≤ n.
    """
    t = np.asarray(times_s, dtype=np.float64)
    if tau_s <= 0.0 or t.size == 0:
        return t
    kept = []
    at = 0
    # jump from one accepted event to the next: one search per accepted event, none per loss
    while at < t.size:
        kept.append(at)
        following = at + 1
        if following < t.size and t[following] - t[at] < tau_s:
            following = int(np.searchsorted(t, t[at] + tau_s, side="left"))
            following = max(following, at + 1)
        at = following
    return t[np.asarray(kept, dtype=np.intp)]
