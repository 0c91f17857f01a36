"""What matters to the person: bounds and weights, a ranking, and what stands in the way.

A wish names one figure of a candidate (:data:`FIGURES`); it may bound it, weigh it, or both. The
ranking keeps every figure beside the score, as one number would hide the trade.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from counterproof.errors import UserError
from counterproof.records import CandidateOutlook
from counterproof.records.outlook import Binding, Ranked, Wish
from counterproof.texts import text

Value = float | None


def _beta(c: CandidateOutlook) -> Value:
    found = [s.beta_efficiency.value for s in c.sources if s.beta_efficiency]
    return max((v for v in found if v is not None), default=None)


def _gain(c: CandidateOutlook) -> Value:
    """Geometric mean of the gains over all sources."""
    found = [s.gain.value for s in c.sources if s.gain and s.gain.value]
    if not found:
        return 1.0 if c.today and c.sources else None
    return math.exp(sum(math.log(v) for v in found if v) / len(found))


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that can be wished for.

    Args:
        read: takes it from a candidate, ``None`` where it is not known.
        more_is_better: which way is up.
        unit: that a bound is typed in.
    """

    read: Callable[[CandidateOutlook], Value]
    more_is_better: bool
    unit: str


def by_name(found: Sequence[CandidateOutlook], name: str) -> CandidateOutlook:
    """Return the candidate that a ranking names."""
    return next(c for c in found if c.name == name)


def _size(value: Value) -> Value:
    return None if value is None else abs(value)


def _departure(value: Value) -> Value:
    return None if not value else math.exp(abs(math.log(value)))


FIGURES: dict[str, Figure] = {
    "sensitivity": Figure(lambda c: _scaled(c.sensitivity.value, 60.0), True, "cpm/(µSv/h)"),
    "gain": Figure(_gain, True, ""),
    "beta": Figure(_beta, True, ""),
    "time": Figure(lambda c: c.time_to_10_percent.value, False, "s"),
    "detection": Figure(lambda c: c.detection_limit.value, False, "µSv/h"),
    "top": Figure(lambda c: c.top_of_range.value, True, "µSv/h"),
    "energy": Figure(lambda c: _departure(c.energy_departure.value), False, ""),
    "display": Figure(lambda c: _size(c.worst_error.value), False, ""),
    "endurance": Figure(lambda c: c.endurance_h.value if c.endurance_h else None, True, "h"),
}
DEFAULT = ("gain", "beta", "time", "energy", "display")


def _scaled(value: Value, factor: float) -> Value:
    return None if value is None else value * factor


_WISH = re.compile(r"^\s*([a-z]+)\s*(?:(<=|>=)\s*([0-9.eE+-]+)\s*(%?))?\s*(?:\*\s*([0-9.]+))?\s*$")


def parse_wish(written: str) -> Wish:
    """Read a wish such as ``"beta*2"``, ``"display<=20%"`` or ``"sensitivity>=120 * 3"``.

    Raises:
        UserError: if it cannot be read or names no figure.
    """
    match = _WISH.match(written)
    names = ", ".join(FIGURES)
    if match is None:
        raise UserError(text("retrofit.bad_wish", given=written, known=names))
    key, sign, number, percent, weight = match.groups()
    if key not in FIGURES:
        raise UserError(text("retrofit.unknown_wish", given=key, known=names))
    try:
        bound = None if number is None else float(number) * (0.01 if percent else 1.0)
        weighed = 1.0 if weight is None else float(weight)
    except ValueError:
        raise UserError(text("retrofit.bad_wish", given=written, known=names)) from None
    unit = FIGURES[key].unit
    statement = text(f"retrofit.figure.{key}")
    if bound is not None:
        said = f"{'≤' if sign == '<=' else '≥'} {bound:g} {unit}".rstrip()
        statement = f"{statement} {said}"
    return Wish(
        key=key,
        statement=statement,
        weight=weighed,
        low=bound if sign == ">=" else None,
        high=bound if sign == "<=" else None,
    )


def default_wishes() -> tuple[Wish, ...]:
    """Return the wishes of a person who has stated none: alike, without bounds."""
    return tuple(parse_wish(key) for key in DEFAULT)


def breaks(wish: Wish, candidate: CandidateOutlook) -> bool:
    """Whether a candidate's figure lies outside the wish's bounds; an unknown figure does."""
    if wish.low is None and wish.high is None:
        return False
    value = FIGURES[wish.key].read(candidate)
    if value is None:
        return True
    return (wish.low is not None and value < wish.low) or (
        wish.high is not None and value > wish.high
    )


def rank(candidates: Sequence[CandidateOutlook], wishes: Sequence[Wish]) -> tuple[Ranked, ...]:
    """Rank candidates: those that break nothing first, then by score.

    A wish's score runs from 0 (the worst candidate) to 1 (the best), evenly in the logarithm of
    its figure; the score is their weighted mean. A candidate that does not fit the box breaks
    ``"fit"``.
    """
    columns = {w.key: _scores(candidates, w.key) for w in wishes}
    weights = sum(w.weight for w in wishes)
    found = []
    for i, c in enumerate(candidates):
        by_wish = {key: column[i] for key, column in columns.items()}
        total = sum(w.weight * (by_wish[w.key] or 0.0) for w in wishes)
        broken = [w.key for w in wishes if breaks(w, c)]
        if c.verdict == "does not fit":
            broken.insert(0, "fit")
        score = total / weights if weights > 0 else None
        found.append(
            Ranked(
                candidate=c.name, score=score, by_wish=by_wish, breaks=tuple(dict.fromkeys(broken))
            )
        )
    return tuple(sorted(found, key=lambda r: (len(r.breaks) > 0, len(r.breaks), -(r.score or 0.0))))


def _scores(candidates: Sequence[CandidateOutlook], key: str) -> list[Value]:
    figure = FIGURES[key]
    values = [figure.read(c) for c in candidates]
    logs = [None if v is None or v <= 0.0 else math.log(v) for v in values]
    known = [v for v in logs if v is not None]
    if not known:
        return [None] * len(values)
    low, high = min(known), max(known)

    def score(v: Value, raw: Value) -> Value:
        if raw is None:
            return None
        if v is None:  # a figure of zero: the end of the scale
            return 0.0 if figure.more_is_better else 1.0
        share = 1.0 if high == low else (v - low) / (high - low)
        return share if figure.more_is_better or high == low else 1.0 - share

    return [score(v, raw) for v, raw in zip(logs, values, strict=True)]


def binding(candidates: Sequence[CandidateOutlook], wishes: Sequence[Wish]) -> tuple[Binding, ...]:
    """Say which wishes keep every candidate out, and what giving way would buy.

    Empty if some candidate other than today's tube breaks none. Each wish is relaxed alone first;
    where no single one helps, those that the nearest candidate breaks are named together.
    """
    proposed = [c for c in candidates if not c.today]
    bounded = [w for w in wishes if w.low is not None or w.high is not None]
    broken = {c.name: [w for w in bounded if breaks(w, c)] for c in proposed}
    unfit = {c.name for c in proposed if c.verdict == "does not fit"}
    if any(not broken[c.name] and c.name not in unfit for c in proposed) or not proposed:
        return ()
    out = []
    for wish in bounded:
        alone = [c for c in proposed if c.name not in unfit and broken[c.name] == [wish]]
        if alone:
            out.append(_relaxed(wish, alone, ()))
    out += [_unfit(c) for c in proposed if c.name in unfit and not broken[c.name]]
    if out:
        return tuple(out)
    nearest = min(proposed, key=lambda c: len(broken[c.name]) + (c.name in unfit))
    together = tuple(w.key for w in broken[nearest.name])
    out = [_relaxed(w, [nearest], together) for w in broken[nearest.name]]
    if nearest.name in unfit:
        out.insert(0, _unfit(nearest))
    return tuple(out)


def _relaxed(
    wish: Wish, admitted: Sequence[CandidateOutlook], together: tuple[str, ...]
) -> Binding:
    figure = FIGURES[wish.key]
    known = [(v, c) for c in admitted if (v := figure.read(c)) is not None]
    names = tuple(c.name for c in admitted)
    if not known:
        said = text("retrofit.binds_unknown", wish=wish.statement, names=", ".join(names))
        return Binding(wish=wish.key, relaxed_to=None, admits=names, statement=said)
    value = (max if wish.low is not None else min)(v for v, _ in known)
    names = tuple(c.name for v, c in known if v == value)
    key = "retrofit.binds_together" if len(together) > 1 else "retrofit.binds"
    others = ", ".join(k for k in together if k != wish.key)
    said = text(
        key, wish=wish.statement, value=f"{value:.3g} {figure.unit}".rstrip(),
        names=", ".join(names), others=others,
    )  # fmt: skip
    return Binding(wish=wish.key, relaxed_to=value, admits=names, statement=said)


def _unfit(c: CandidateOutlook) -> Binding:
    why = " ".join(x.statement for x in c.checks if x.verdict == "does not fit")
    return Binding(
        wish="fit",
        relaxed_to=None,
        admits=(c.name,),
        statement=text("retrofit.binds_fit", name=c.name, why=why),
    )
