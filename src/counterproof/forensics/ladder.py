"""Factors from readings alone: a silent box on a ladder of predicted dose rates.

Without clicks no factor can be had in counts, but a change of factor can: the display divided by
the predicted dose rate is one constant as long as one factor holds, and steps where it changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.quantities import Estimate

NEEDED = 3
"""Levels that are needed before a step can be told from scatter."""
LEAD = 3.0
"""Log likelihood ratio, its penalty taken off, from which a step is stated."""
POWER_Z = 0.84
"""Normal quantile of 80 %."""


@dataclass(frozen=True)
class LadderFit:
    """What the levels say.

    Args:
        response: display over prediction below the step (or everywhere), without unit.
        step: response above over response below; the factor above is the factor below divided by
            it. ``None`` if one constant does.
        switch_usv_h: displayed dose rates of the levels that enclose the step; ``None`` if none.
        log_lead: natural logarithm of the likelihood ratio of one step to none, after a penalty
            for its two parameters.
        chi2: of the chosen hypothesis.
        dof: its degrees of freedom.
        seen: change of the response, as a share, that these levels would have shown with a
            probability of 80 % wherever it lay between them.
    """

    response: Estimate
    step: Estimate | None
    switch_usv_h: tuple[float, float] | None
    log_lead: float
    chi2: float
    dof: int
    seen: float


def fit_ladder(displayed: Sequence[Estimate], predicted: Sequence[Estimate]) -> LadderFit | None:
    """Look for a step of the response over levels of dose rate.

    Args:
        displayed: mean displayed dose rate of each level, µSv/h.
        predicted: predicted dose rate of each level; a common scale may be unknown.

    Returns:
        The fit; ``None`` for fewer than three levels with numbers above 0.

    Raises:
        ValueError: if the two differ in length.
    """
    pairs = list(zip(displayed, predicted, strict=True))
    pairs = sorted(
        (p for p in pairs if p[0].value > 0 and p[1].value > 0), key=lambda p: p[1].value
    )
    if len(pairs) < NEEDED:
        return None
    y = np.log([d.value / p.value for d, p in pairs])
    w = 1.0 / np.array([max(d.relative_u**2 + p.relative_u**2, 1e-8) for d, p in pairs])
    n = y.size
    flat, flat_chi2 = _constant(y, w)
    best: tuple[float, int] = (np.inf, 0)
    for cut in range(1, n):
        chi2 = _constant(y[:cut], w[:cut])[1] + _constant(y[cut:], w[cut:])[1]
        best = min(best, (chi2, cut))
    lead = 0.5 * (flat_chi2 - best[0]) - np.log(n)
    seen = _seen(w)
    if lead < LEAD:
        u = float(1.0 / np.sqrt(w.sum()))
        return LadderFit(_exp(flat, u), None, None, float(lead), flat_chi2, n - 1, seen)
    cut = best[1]
    below, above = _constant(y[:cut], w[:cut])[0], _constant(y[cut:], w[cut:])[0]
    u_below, u_above = (float(1.0 / np.sqrt(part.sum())) for part in (w[:cut], w[cut:]))
    scale = float(np.sqrt(max(best[0] / (n - 3), 1.0))) if n > 3 else 1.0
    step = _exp(above - below, float(np.hypot(u_below, u_above)) * scale)
    # the switch in displayed units of the lower range: the level above, as the lower range would
    # have shown it
    enclosed = (pairs[cut - 1][0].value, pairs[cut][0].value / step.value)
    between = (min(enclosed), max(enclosed))
    return LadderFit(_exp(below, u_below * scale), step, between, float(lead), best[0], n - 3, seen)


def _seen(w: np.ndarray) -> float:
    """Smallest step that the worst cut would have shown with a probability of 80 %."""
    cuts = [1.0 / (1.0 / w[:c].sum() + 1.0 / w[c:].sum()) for c in range(1, w.size)]
    needed = np.sqrt(2.0 * (LEAD + np.log(w.size))) + POWER_Z
    return float(np.expm1(needed / np.sqrt(min(cuts))))


def _constant(y: np.ndarray, w: np.ndarray) -> tuple[float, float]:
    mean = float((w * y).sum() / w.sum())
    return mean, float((w * (y - mean) ** 2).sum())


def _exp(log: float, u: float) -> Estimate:
    value = float(np.exp(log))
    return Estimate(
        value,
        value * u,
        float(np.exp(log - 1.96 * u)),
        float(np.exp(log + 1.96 * u)),
        0.95,
        "",
        None,
        "levels compared",
    )
