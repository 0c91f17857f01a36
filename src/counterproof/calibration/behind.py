"""A display's factors from the counts behind its readings, where both were recorded.

A display shows the very counts that were recorded beside it, so counts over reading tells its
factor far better than the dose rate tells the reading's error: the counting scatter cancels. What
is left is that the display's window began before the run, and its rounding. With a boxcar window W
and a run of length T at the rate r, the relative variance of counts over the mean reading is
2·W/(3·r·T²) (integral of the squared difference of the two weightings, W < T).

So where clicks and display are both there, the sensitivity comes from the counts, the factors from
the readings, and their ratio is the response. The fit of the counts is turned into one of the
display, exactly: ln(response) = ln S − ln K.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from counterproof.calibration.choice import NEEDED, Weighed
from counterproof.calibration.fit import LN_RATIO_U, Fit
from counterproof.calibration.problem import Counted, Problem

WINDOW_S = 60.0
"""Where the display's window is not known; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Behind:
    """Counts per second behind one displayed unit: one factor, or two with a switch.

    Args:
        ln_k: logarithms of the factors.
        u: their standard uncertainties.
        switch: reading from which the second holds; ``nan`` without one.
        log_odds: natural logarithm of the odds of two factors against one.
    """

    ln_k: tuple[float, ...]
    u: tuple[float, ...]
    switch: float
    log_odds: float


def counts_behind(
    display: Problem, counts: Problem, window_s: float | None, quantum: float
) -> Behind | None:
    """Return the display's factors, or ``None`` where a level lacks either signal.

    Args:
        display: the levels as displayed.
        counts: the same levels as counted.
        window_s: of the display, ``None`` if unknown.
        quantum: the display's step in its unit, 0 if unknown.
    """
    if [x.label for x in display.levels] != [x.label for x in counts.levels]:
        return None
    seen = [(x.seen, y.seen) for x, y in zip(display.levels, counts.levels, strict=True)]
    seen.append((display.background, counts.background))
    if any(s.cps_per_unit <= 0.0 or s.rate <= 0.0 for s, _ in seen):
        return None
    window = window_s or WINDOW_S
    ln_k = np.array([math.log(s.cps_per_unit) for s, _ in seen])
    u = np.array([_relative_u(s, c, window, quantum) for s, c in seen])
    readings = np.array([s.rate for s, _ in seen])
    single, u_single = _mean(ln_k, u)
    splits = []
    ordered = sorted(set(readings.tolist()))
    for low, high in pairwise(ordered):
        switch = math.sqrt(low * high)
        up = readings >= switch
        (k0, u0), (k1, u1) = _mean(ln_k[~up], u[~up]), _mean(ln_k[up], u[up])
        # evidence of a step with a normal prior of its logarithm against none (Savage–Dickey)
        spread2, apart2 = u0**2 + u1**2, (k1 - k0) ** 2
        wide2 = spread2 + LN_RATIO_U**2
        gain = 0.5 * (math.log(spread2 / wide2) + apart2 / spread2 - apart2 / wide2)
        splits.append((gain, switch, (k0, k1), (u0, u1)))
    if splits:
        gain, switch, ks, us = max(splits, key=lambda s: s[0])
        odds = gain - math.log(len(splits))
        if odds > math.log(NEEDED):
            return Behind(ks, us, switch, odds)
        return Behind((single,), (u_single,), math.nan, odds)
    return Behind((single,), (u_single,), math.nan, -math.inf)


def _relative_u(shown: Counted, counted: Counted, window_s: float, quantum: float) -> float:
    rate, seconds = max(counted.rate, 1e-9), counted.seconds
    overlap = 2.0 * min(window_s, seconds) / (3.0 * rate * seconds**2)
    return math.sqrt(overlap + (quantum / math.sqrt(12.0) / shown.rate) ** 2 + 1e-8)


def _mean(values: np.ndarray, u: np.ndarray) -> tuple[float, float]:
    weight = 1.0 / u**2
    mean = float(np.sum(weight * values) / np.sum(weight))
    chi2 = float(np.sum(weight * (values - mean) ** 2))
    # readings that agree worse than they should make the mean less sure (Birge)
    excess = max(1.0, chi2 / (values.size - 1)) if values.size > 1 else 1.0
    return mean, math.sqrt(excess / float(np.sum(weight)))


def as_display(counted: Fit, display: Problem, behind: Behind) -> tuple[Fit, tuple[Weighed, ...]]:
    """Return the fit of the counts as one of the display, and what was weighed.

    Args:
        counted: one factor, fitted to the counts.
        display: the same levels as displayed.
        behind: the display's factors.
    """
    two = len(behind.ln_k) == 2
    extra = 1 if two else 0
    size = counted.parameters.size + extra
    parameters = np.zeros(size)
    parameters[0] = counted.parameters[0] - behind.ln_k[0]
    parameters[1 + extra :] = counted.parameters[1:]
    covariance = np.zeros((size, size))
    keep = [0, *range(1 + extra, size)]
    covariance[np.ix_(keep, keep)] = counted.covariance
    covariance[0, 0] += behind.u[0] ** 2
    n_obs = len(counted.observed)
    parts = np.zeros((size, n_obs + len(behind.u) + size))
    parts[np.ix_(keep, range(n_obs))] = counted.parts[:, :n_obs]
    columns = [n_obs + len(behind.u) + k for k in keep]
    parts[np.ix_(keep, columns)] = counted.parts[:, n_obs:]
    parts[0, n_obs] = -behind.u[0]
    if two:
        parameters[1] = behind.ln_k[0] - behind.ln_k[1]
        covariance[1, 1] = behind.u[0] ** 2 + behind.u[1] ** 2
        covariance[0, 1] = covariance[1, 0] = -(behind.u[0] ** 2)
        parts[1, n_obs], parts[1, n_obs + 1] = behind.u[0], -behind.u[1]
    found = replace(
        counted,
        problem=display,
        model="two factors" if two else "one factor",
        switch=behind.switch,
        parameters=parameters,
        covariance=covariance,
        parts=parts,
        observed=(*counted.observed, *("readings" for _ in behind.u)),
        counts=(*counted.counts, *(math.nan for _ in behind.u)),
    )
    weighed = (Weighed("one factor", 0.0), Weighed("two factors", behind.log_odds))
    return found, weighed
