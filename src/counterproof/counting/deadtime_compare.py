"""Do several determinations of one dead time agree?

Weighted mean and χ² of homogeneity (Birge test; GUM-style consistency check as in Cox, Metrologia
39 (2002) 589, procedure A). Methods can disagree for a reason: intervals see the shortest dead
time, two sources and ladders the average one, and a moved source or a scattering room spoils only
the methods that rely on them. Zero counts never reach here: the methods refuse them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc, ndtri

from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class DeadTimeComparison:
    """Several dead times against their weighted mean.

    Args:
        common: the weighted mean in seconds, its uncertainty widened by the Birge ratio when the
            methods scatter more than they claim.
        chi2: Σ ((τᵢ - mean)/uᵢ)².
        dof: methods less one.
        p_value: probability of a larger χ² if they agree.
        agree: p ≥ 0.05.
        outlying: methods that lie more than two of their own uncertainties from the mean of the
            *others*, worst first; empty when they agree.
        unresolved: methods whose interval includes 0; they carry little weight.
    """

    common: Estimate
    chi2: float
    dof: int
    p_value: float
    agree: bool
    outlying: tuple[str, ...]
    unresolved: tuple[str, ...]


def compare_dead_times(
    dead_times: Mapping[str, Estimate], coverage: float = 0.95
) -> DeadTimeComparison:
    """Compare dead times by method name: ``{"intervals": …, "two sources": …, …}``.

    Args:
        dead_times: at least two independent estimates in seconds with finite uncertainty.
        coverage: coverage of the common value's interval (normal approximation).

    Raises:
        UserError: for fewer than two usable estimates.
    """
    usable = {k: e for k, e in dead_times.items() if np.isfinite(e.value) and 0.0 < e.u < np.inf}
    if len(usable) < 2:
        raise UserError(text("counting.too_few", what="dead times", needed=2, given=len(usable)))
    names = list(usable)
    tau = np.array([usable[k].value for k in names])
    u = np.array([usable[k].u for k in names])
    weight = 1.0 / u**2
    mean = float(weight @ tau / weight.sum())
    chi2 = float((((tau - mean) / u) ** 2).sum())
    dof = len(names) - 1
    p = float(gammaincc(dof / 2.0, chi2 / 2.0))
    agree = p >= 0.05
    others = (weight @ tau - weight * tau) / (weight.sum() - weight)
    others_u = 1.0 / np.sqrt(weight.sum() - weight)
    distance = np.abs(tau - others) / np.hypot(u, others_u)
    outlying = [] if agree else [i for i in np.argsort(-distance) if distance[i] > 2.0]
    spread = 1.0 / np.sqrt(weight.sum()) * max(1.0, np.sqrt(chi2 / dof))
    z = float(ndtri(0.5 + coverage / 2.0))
    common = Estimate(
        mean,
        float(spread),
        mean - z * float(spread),
        mean + z * float(spread),
        coverage,
        "s",
        None,
        "weighted mean of " + ", ".join(names),
    )
    return DeadTimeComparison(
        common,
        chi2,
        dof,
        p,
        agree,
        tuple(names[i] for i in outlying),
        tuple(k for k in names if usable[k].low <= 0.0),
    )
