"""One factor, two factors or a curve: chosen by the evidence of each.

The evidence of a model is the probability of the counts under it, averaged over what its
parameters could have been. A second factor or a slope has to pay for its freedom; where the switch
lies is shared out among the gaps between the levels. A more complicated factor is chosen only when
it is at least :data:`NEEDED` times likelier than one factor ("strong" on Jeffreys' scale, Theory of
Probability, 1961, appendix B).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from counterproof.calibration.fit import FactorModel, Fit, fit
from counterproof.calibration.problem import Problem
from counterproof.errors import UserError

NEEDED = 10.0


@dataclass(frozen=True, slots=True)
class Weighed:
    """A form of the factor and its evidence: natural logarithm relative to one factor."""

    model: FactorModel
    log_odds: float


def choose(problem: Problem) -> tuple[Fit, tuple[Weighed, ...]]:
    """Return the fit with the best supported form of the factor, and what was weighed.

    Raises:
        UserError: as :func:`counterproof.calibration.fit.fit` for one factor.
    """
    plain = fit(problem)
    found: list[tuple[float, Fit]] = [(plain.log_evidence, plain)]
    if len(problem.levels) >= 2:
        found += [f for f in (_two(problem), _curve(problem)) if f is not None]
    weighed = tuple(Weighed(f.model, e - plain.log_evidence) for e, f in found)
    best_evidence, best = max(found, key=lambda pair: pair[0])
    if best_evidence - plain.log_evidence < math.log(NEEDED):
        best = plain
    return best, weighed


def _two(problem: Problem) -> tuple[float, Fit] | None:
    """Two factors, the switch in each gap between neighbouring signals in turn."""
    rates = sorted({lv.seen.rate for lv in problem.levels} | {problem.background.rate})
    gaps = [math.sqrt(low * high) for low, high in pairwise(rates) if low > 0]
    fits = []
    for switch in gaps:
        try:
            fits.append(fit(problem, "two factors", switch))
        except UserError:
            continue
    if not fits:
        return None
    best = max(fits, key=lambda f: f.log_evidence)
    # averaged over where the switch may lie, each gap alike beforehand
    top = best.log_evidence
    total = top + math.log(sum(math.exp(f.log_evidence - top) for f in fits) / len(gaps))
    return total, best


def _curve(problem: Problem) -> tuple[float, Fit] | None:
    try:
        found = fit(problem, "curve")
    except UserError:
        return None
    return found.log_evidence, found
