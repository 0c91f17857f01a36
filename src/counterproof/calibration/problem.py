"""What a calibration is fitted to: levels, references, backgrounds and what is not exactly known.

Observations are counts in a time. A displayed mean enters as the counts that its scatter is worth,
``n = (reading/u)²``, in the time ``n/reading``: then a response in reading per true dose rate takes
the place of a sensitivity in counts per second per µSv/h, and one likelihood serves both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

from counterproof.errors import UserError
from counterproof.texts import text

Kind = Literal["A", "B"]
Shape = Literal["normal", "rectangular", "triangular"]
PRACTICE = text("calibration.practice")


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a nuisance beforehand.

    Args:
        value: best estimate.
        u: standard uncertainty; 0 holds it fixed, ``inf`` leaves it free.
        kind: GUM type of that knowledge.
        distribution: its shape, for the budget; the fit takes a normal one of the same u.
        dof: degrees of freedom of u.
        source: where it comes from.
    """

    value: float
    u: float = 0.0
    kind: Kind = "B"
    distribution: Shape = "normal"
    dof: float = math.inf
    source: str = ""

    @classmethod
    def within(cls, value: float, half_width: float, source: str = "") -> Prior:
        """Return a prior known only by its bounds (rectangular, GUM 4.3.7)."""
        return cls(value, half_width / math.sqrt(3.0), "B", "rectangular", math.inf, source)


@dataclass(frozen=True, slots=True)
class Counted:
    """Counts in a time.

    Args:
        counts: observed (or worth), at least 0.
        seconds: time of counting, such that counts/seconds is the rate in the signal's unit.
        cps_per_unit: counts per second behind one unit of the signal, for dead time; 0 if unknown.
    """

    counts: float
    seconds: float
    cps_per_unit: float = 1.0

    @property
    def rate(self) -> float:
        """Observed rate in the signal's unit."""
        return self.counts / self.seconds


@dataclass(frozen=True, slots=True)
class Level:
    """One place of one source, as the subject and perhaps references saw it.

    Args:
        label: what it is called in tables.
        seen: what the subject counted there, background included.
        distance_mm: from the source; ``None`` when it was not noted.
        distance_u_mm: standard uncertainty of placing, independent from level to level.
        source: which of the problem's sources; ``None`` for one of unknown strength and distance.
        nominal_usv_h: dose rate of that source at this distance as stated or, for a source of
            unknown strength, its shape alone (any scale).
        references: what each reference counted at the same place, by its name.
        runs: ids of the runs behind it.
    """

    label: str
    seen: Counted
    distance_mm: float | None = None
    distance_u_mm: float = 0.0
    source: str | None = None
    nominal_usv_h: float = math.nan
    references: dict[str, Counted] = field(default_factory=dict)
    runs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reference:
    """A counter whose sensitivity is known.

    Args:
        name: as in :attr:`Level.references`.
        cps_per_usv_h: its sensitivity.
        background: its counts without source.
        relative: prior of its sensitivity's relative error.
        offset_mm: prior of its effective centre's offset.
        dead_time_s: prior of its dead time.
    """

    name: str
    cps_per_usv_h: float
    background: Counted
    relative: Prior
    offset_mm: Prior = Prior(0.0)
    dead_time_s: Prior = Prior(0.0)


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything that a calibration is fitted to.

    Args:
        levels: places with a source, at least one.
        background: the subject's counts without source, at least 1.
        sources: prior of the relative error of each source's stated dose rate; ``u = inf`` where
            only its shape over distance is known.
        references: counters beside it.
        offset_mm: how far the subject's effective centre lies behind the point that distances are
            measured to.
        scatter_per_m: dose rate scattered by air, table and room as a fraction of the direct one,
            per metre of distance.
        dead_time_s: the subject's, non-paralysable.
        gain: relative error that all of the subject's signals share (efficiency of detection).
        unit: of the subject's signal: ``"1/s"`` or ``"µSv/h"``.
    """

    levels: tuple[Level, ...]
    background: Counted
    sources: dict[str, Prior] = field(default_factory=dict)
    references: tuple[Reference, ...] = ()
    offset_mm: Prior = Prior(0.0)
    scatter_per_m: Prior = Prior(0.0)
    dead_time_s: Prior = Prior(0.0)
    gain: Prior = Prior(0.0)
    unit: str = "1/s"

    @property
    def has_scale(self) -> bool:
        """Whether anything ties the levels to µSv/h."""
        tied = any(
            lv.source is not None and math.isfinite(self.sources[lv.source].u) for lv in self.levels
        )
        return tied or any(lv.references for lv in self.levels)


def checked(problem: Problem) -> Problem:
    """Return the problem if it can be fitted.

    A source of unknown strength that no reference saw is held at its arbitrary scale: the result
    is then a relative one.

    Raises:
        UserError: for no levels, times or distances that are not positive, negative counts, an
            empty background, or no level above it.
    """
    if not problem.levels:
        raise UserError(text("calibration.no_levels"))
    seen = [(lv.label, lv.seen) for lv in problem.levels]
    seen += [(lv.label, c) for lv in problem.levels for c in lv.references.values()]
    seen += [(text("calibration.background"), problem.background)]
    seen += [(r.name, r.background) for r in problem.references]
    for label, c in seen:
        if not (math.isfinite(c.counts) and c.counts >= 0 and c.seconds > 0):
            raise UserError(text("calibration.bad_counts", level=label))
    for lv in problem.levels:
        if lv.distance_mm is not None and not lv.distance_mm > 0:
            raise UserError(text("calibration.bad_distance", level=lv.label))
    if problem.background.counts < 1:
        raise UserError(text("calibration.no_background"))
    priors = [*problem.sources.values(), problem.offset_mm, problem.scatter_per_m]
    priors += [problem.dead_time_s, problem.gain, *(r.relative for r in problem.references)]
    if any(not p.u >= 0 for p in priors):
        raise UserError(text("calibration.bad_prior"))
    floor = problem.background.rate
    if not any(lv.seen.rate > floor for lv in problem.levels):
        raise UserError(text("calibration.no_excess"))
    return _held(problem)


def _held(problem: Problem) -> Problem:
    """Hold the scale of sources that nothing else ties down."""
    tied = {lv.source for lv in problem.levels if lv.references}
    sources = {
        name: replace(p, u=0.0) if math.isinf(p.u) and name not in tied else p
        for name, p in problem.sources.items()
    }
    return replace(problem, sources=sources)
