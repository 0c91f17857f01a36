"""Compare many counters over many sources: ratios to truth, grades, and a ranking with its odds.

Counters are ranked by how far their readings deviate: the root mean square over the sources of
x = ln(indicated/true). A short run scatters more and would look worse than it is, so what was seen
is first freed of its own scatter: with the deviations of all counters spread as N(0, s²), s² from
the data, x seen as x̂ ± u is distributed N(x̂·s²/(s²+u²), s²u²/(s²+u²)) (normal–normal model with
an estimated prior; Efron and Morris, J. Am. Stat. Assoc. 70 (1975) 311). Drawing from that gives
the ranking and the probability that it is right, whatever the durations; before a source that a
counter never saw it is drawn from N(0, s²). What all counters share,
the uncertainty of the truth, does not enter the ranking; it enters the grades.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.texts import text

Floats = NDArray[np.float64]
DRAWS = 20_000
GRADES: tuple[tuple[str, float], ...] = (("A", 0.10), ("B", 0.20), ("C", 0.30))
"""Our own grades for low-cost meters: every source within ± this of the truth."""
BELOW = text("compare.no_grade")


@dataclass(frozen=True, slots=True)
class Seen:
    """ln(indicated/true) of one counter before one source.

    Args:
        x: observed.
        u: standard uncertainty from the counter's own scatter.
        truth_u: relative standard uncertainty of what was true, shared by all counters there.
    """

    x: float
    u: float
    truth_u: float = 0.0


@dataclass(frozen=True, slots=True)
class Ranked:
    """A counter's place, as :class:`counterproof.records.comparison.Placing` tells it."""

    name: str
    deviation: float
    low: float
    high: float
    first: float
    before_next: float
    grade: str
    at_best: str
    worst_source: str
    sources: int


@dataclass(frozen=True, slots=True)
class Ranking:
    """Counters from the least to the largest deviation, and the odds of the whole order."""

    placings: tuple[Ranked, ...]
    order_probability: float


def rank(seen: Mapping[str, Mapping[str, Seen]], seed: int = 0, draws: int = DRAWS) -> Ranking:
    """Rank counters.

    Args:
        seen: by counter, then by source; a counter may lack a source.
        seed: of the draws; the same seed gives the same result.
        draws: how many.

    Raises:
        UserError: if no counter has a ratio.
    """
    names = [n for n, by_source in seen.items() if by_source]
    if not names:
        raise UserError(text("compare.nothing"))
    spread2 = _spread2(seen)
    rng = np.random.default_rng(seed)
    sources = list(dict.fromkeys(s for by_source in seen.values() for s in by_source))
    drawn = np.stack([_deviations(seen[n], sources, spread2, rng, draws) for n in names])
    mean = drawn.mean(axis=1)
    order = np.argsort(mean, kind="stable")
    drawn = drawn[order]
    best = np.argmin(drawn, axis=0)
    placings = []
    for place, i in enumerate(order):
        name = names[i]
        low, high = np.quantile(drawn[place], [0.025, 0.975])
        following = drawn[place + 1] if place + 1 < len(order) else None
        grade, at_best = _grades(seen[name], rng, draws)
        placings.append(
            Ranked(
                name,
                float(mean[i]),
                float(low),
                float(high),
                float(np.mean(best == place)),
                math.nan if following is None else float(np.mean(drawn[place] < following)),
                grade,
                at_best,
                max(seen[name], key=lambda s: abs(seen[name][s].x)),
                len(seen[name]),
            )
        )
    right = np.all(np.diff(drawn, axis=0) > 0, axis=0) if len(names) > 1 else np.ones(1)
    return Ranking(tuple(placings), float(np.mean(right)))


def _spread2(seen: Mapping[str, Mapping[str, Seen]]) -> float:
    """s²: maximum likelihood of the spread of all deviations, their scatter taken out."""
    x = np.array([s.x for by_source in seen.values() for s in by_source.values()])
    u2 = np.array([s.u**2 for by_source in seen.values() for s in by_source.values()])
    grid = np.geomspace(1e-5, 4.0, 400)
    total = grid[:, None] + u2
    likelihood = -0.5 * np.sum(np.log(total) + x**2 / total, axis=1)
    return float(grid[int(np.argmax(likelihood))])


def _deviations(
    by_source: Mapping[str, Seen],
    sources: Sequence[str],
    spread2: float,
    rng: np.random.Generator,
    draws: int,
) -> Floats:
    """Draws of the root mean square deviation; a source not seen counts as the others do."""
    x = np.array([by_source[s].x if s in by_source else 0.0 for s in sources])
    u2 = np.array([by_source[s].u ** 2 if s in by_source else math.inf for s in sources])
    keep = spread2 / (spread2 + u2)
    drawn = rng.normal(x * keep, np.sqrt((1.0 - keep) * spread2), (draws, x.size))
    return np.asarray(np.sqrt(np.mean(drawn**2, axis=1)))


def _grades(by_source: Mapping[str, Seen], rng: np.random.Generator, draws: int) -> tuple[str, str]:
    """The grade that holds with at least 95 %, and the best that is possible with 5 %."""
    x = np.array([s.x for s in by_source.values()])
    u = np.array([math.hypot(s.u, s.truth_u) for s in by_source.values()])
    ratios = np.exp(rng.normal(x, u, (draws, x.size)))
    worst = np.max(np.abs(ratios - 1.0), axis=1)
    share = {letter: float(np.mean(worst <= bound)) for letter, bound in GRADES}
    sure = next((letter for letter, _ in GRADES if share[letter] >= 0.95), BELOW)
    possible = next((letter for letter, _ in GRADES if share[letter] >= 0.05), BELOW)
    return sure, possible


def schedule_places(counters: Sequence[str], places: int, blocks: int) -> list[tuple[str, ...]]:
    """Return who stands where in each block: everybody at every place equally often.

    Cyclic rows as in a Latin square; with more counters than places, they take turns.

    Raises:
        UserError: without counters, places or blocks.
    """
    if not counters or places < 1 or blocks < 1:
        raise UserError(text("compare.no_schedule"))
    k = len(counters)
    used = min(places, k)
    return [tuple(counters[(b + p) % k] for p in range(used)) for b in range(blocks)]
