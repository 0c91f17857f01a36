"""Sensitivity from counts at several distances, with what is not exactly known as nuisances.

Model of the count rate at distance d (dead time non-paralysable)::

    true rate  R = b + S·a·H·[(D/(d + o))² + f]
    counted    m = R/(1 + R·τ)

S sensitivity, b background, H the reference's dose rate at distance D, a its relative error,
o effective-centre offset, f room scatter as a fraction of H, equal at every distance.
The counts are Poisson (the loss of variance by dead time is neglected); o, f, τ and ln a have
normal priors. Interval: Laplace, from the information at the maximum of the posterior density.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.quantities import Estimate

Floats = NDArray[np.float64]
_NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Prior:
    """Value and standard uncertainty of a nuisance; ``u = 0`` holds it fixed."""

    value: float
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class Ladder:
    """Counts of a ladder; arrays of shape (levels,).

    Args:
        distance_mm: distances, positive.
        counts: counts at each.
        live_s: counting time at each.
        background_counts: counts without source, at least 1.
        background_s: time of it.
        reference_usv_h: the source's dose rate at ``reference_mm``.
        reference_mm: distance of the reference value.
    """

    distance_mm: Floats
    counts: Floats
    live_s: Floats
    background_counts: float
    background_s: float
    reference_usv_h: float
    reference_mm: float


@dataclass(frozen=True, slots=True)
class LadderFit:
    """Result: sensitivity in cps per µSv/h, deviance and its degrees of freedom."""

    sensitivity: Estimate
    offset_mm: float
    scatter: float
    deviance: float
    dof: int


def _expected(ladder: Ladder, p: Floats) -> Floats:
    ln_s, ln_b, offset, scatter, ln_a, tau = p
    shape = (ladder.reference_mm / (ladder.distance_mm + offset)) ** 2 + scatter
    rate = np.append(
        math.exp(ln_s + ln_a) * ladder.reference_usv_h * shape + math.exp(ln_b), math.exp(ln_b)
    )
    return np.asarray(rate / (1.0 + rate * tau) * np.append(ladder.live_s, ladder.background_s))


def fit_ladder(
    ladder: Ladder,
    *,
    offset_mm: Prior,
    scatter: Prior,
    source: Prior,
    dead_time_s: Prior,
) -> LadderFit:
    """Fit the sensitivity; ``source`` is the prior of ln a, the others in the unit of their name.

    Raises:
        ValueError: if the arrays differ in length, a time or distance is not positive, the
            background has no counts, no level exceeds it, or the fit does not settle.
    """
    d, n, t = ladder.distance_mm, ladder.counts, ladder.live_s
    if not d.shape == n.shape == t.shape or d.size == 0:
        raise ValueError("distances, counts and times must have the same length, at least one")
    if (d <= 0).any() or (t <= 0).any() or ladder.background_s <= 0:
        raise ValueError("distances and times must be positive")
    if ladder.background_counts < 1:
        raise ValueError("the background needs at least one count")
    b = ladder.background_counts / ladder.background_s
    shape = (ladder.reference_mm / (d + offset_mm.value)) ** 2 + scatter.value
    net = float(np.sum(n - b * t) / np.sum(shape * ladder.reference_usv_h * t))
    if net <= 0:
        raise ValueError("no level exceeds the background")
    priors = (offset_mm, scatter, source, dead_time_s)
    p = np.array([math.log(net), math.log(b), *(q.value for q in priors)])
    free = np.array([True, True, *(q.u > 0 for q in priors)])
    steps = np.array([1e-5, 1e-5, 1e-3, 1e-6, 1e-5, 1e-9])
    weight = np.array([0.0, 0.0, *(1.0 / q.u**2 if q.u > 0 else 0.0 for q in priors)])
    centre = p.copy()
    seen = np.append(n, ladder.background_counts)
    for _ in range(100):
        mu = _expected(ladder, p)
        columns = [
            (_expected(ladder, p + e) - _expected(ladder, p - e)) / (2.0 * e.sum())
            for e in np.diag(steps)[free]
        ]
        jac = np.stack(columns, axis=1)
        # offset and dead time differ by orders of magnitude: invert in scaled form
        info = jac.T @ (jac / mu[:, None]) + np.diag(weight[free])
        slope = jac.T @ (seen / mu - 1.0) - weight[free] * (p - centre)[free]
        scale = 1.0 / np.sqrt(np.diag(info))
        cov = np.linalg.inv(info * scale[:, None] * scale) * scale[:, None] * scale
        move = cov @ slope
        p[free] += move
        if float(np.max(np.abs(move * np.sqrt(np.diag(info))))) < 1e-6:
            break
    else:
        raise ValueError("the fit does not settle; check distances and priors")
    mu = _expected(ladder, p)
    logs = seen * np.log(np.where(seen > 0, seen, 1.0) / mu)
    deviance = 2.0 * float(np.sum(logs - seen + mu))
    u = math.sqrt(float(cov[0, 0]))
    value = math.exp(float(p[0]))
    return LadderFit(
        Estimate(
            value,
            value * u,
            value * math.exp(-_NORMAL_95 * u),
            value * math.exp(_NORMAL_95 * u),
            0.95,
            "cps/(µSv/h)",
            float(n.sum()),
            "joint Poisson likelihood with priors, Laplace interval of the logarithm",
        ),
        float(p[2]),
        float(p[3]),
        deviance,
        int(d.size - 1),
    )
