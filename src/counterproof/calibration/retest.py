"""Before and after a change: every judged quantity in pairs, and predictions against measurements.

Pairs come from the outcomes of the same trial before and after. Gains and changes carry the
uncertainty of both sides; what both share (the reference, the source) would cancel, so their
intervals err on the wide side.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from counterproof.counting.difference import difference_of
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Judgement, Mark, Measured, Outcome, Predicted, Series
from counterproof.records.retest import Pair, Pull, Turn
from counterproof.retrofit.retest import pull
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Evidence

GIVEN = frozenset({"expected dose rate", "true dose rate", "net dose rate by calibration"})
"""Columns that tell of the source and not of the counter: a change of the counter leaves them."""
_LEVEL = re.compile(r"[0-9.,]+ (?:± [0-9.,]+|\+[0-9.,]+ −[0-9.,]+)(?: \(95 %\))?")


def pairs_of(before: Outcome, after: Outcome) -> list[Pair]:
    """Return every quantity that both outcomes of a trial judged, and every rate they both list."""
    found = []
    later = {_key(j.quantity): j for j in after.judgements}
    for j in before.judgements:
        match = later.get(_key(j.quantity))
        if match is not None:
            found.append(_judged(before.trial, j, match))
    rows = {r.label: r for r in after.table if r.instrument == after.instrument}
    for row in before.table:
        other = rows.get(row.label)
        if other is None or row.instrument != before.instrument:
            continue
        for column, value in row.values.items():
            again = other.values.get(column)
            if not (isinstance(value, Measured) and isinstance(again, Measured)):
                continue
            if column not in GIVEN and _finite(value, again):
                name = f"{row.label}: {column}"
                found.append(_plain(before.trial, name, value, again))
    return found


def _key(quantity: str) -> str:
    """A judged quantity without the level that was measured beside it."""
    return _LEVEL.sub("…", quantity)


def _finite(*values: Measured) -> bool:
    return all(v.value is not None and v.u is not None for v in values)


def _both(a: Measured, b: Measured) -> tuple[Measured | None, Measured]:
    first, second = a.estimate(), b.estimate()
    gain = lv.over(second, first) if first.value > 0.0 else None
    change = difference_of(second, first)
    return (None if gain is None else Measured.of(gain)), Measured.of(change)


def _plain(trial: str, quantity: str, a: Measured, b: Measured) -> Pair:
    gain, change = _both(a, b)
    moved = change.low is not None and change.high is not None
    moved = moved and not (change.low or 0.0) <= 0.0 <= (change.high or 0.0)
    return Pair(
        trial=trial,
        quantity=quantity,
        before=a,
        after=b,
        gain=gain,
        change=change,
        turn="changed" if moved else "no clear change",
    )


def _judged(trial: str, a: Judgement, b: Judgement) -> Pair:
    plain = _plain(trial, a.quantity, a.measured, b.measured)
    return plain.model_copy(
        update={
            "criterion": b.criterion or a.criterion,
            "verdict_before": a.verdict,
            "verdict_after": b.verdict,
            "turn": _turn(a, b, plain),
        }
    )


def _turn(a: Judgement, b: Judgement, pair: Pair) -> Turn:
    if (a.verdict, b.verdict) == ("not met", "met"):
        return "better"
    if (a.verdict, b.verdict) == ("met", "not met"):
        return "worse"
    criterion = b.criterion or a.criterion
    if criterion is None or pair.turn == "no clear change":
        return pair.turn
    far = [_distance(j.measured.estimate(), criterion.low, criterion.high) for j in (a, b)]
    return "better" if far[1] < far[0] else "worse"


def _distance(e: Estimate, low: float | None, high: float | None) -> float:
    """How far a value lies from the middle of its criterion; a one-sided one has only its bound."""
    if low is not None and high is not None:
        if low > 0.0 and e.value > 0.0:
            return abs(math.log(e.value / math.sqrt(low * high)))
        return abs(e.value - (low + high) / 2.0)
    return e.value if low is None else -e.value


def pulls_of(
    predictions: Sequence[Predicted],
    before: Sequence[Evidence],
    after: Sequence[Evidence],
) -> tuple[list[Pull], list[str]]:
    """Hold predictions against the runs made after a change; return what could not be checked too.

    Args:
        predictions: of the probe that is plugged in now.
        before: the instrument's own runs before the change.
        after: its runs after it.
    """
    found, missing = [], []
    for each in predictions:
        measured, runs = _measured(each, before, after)
        if measured is None:
            missing.append(text("retest.unchecked", what=each.statement))
            continue
        distance = each.distance_mm or 0.0
        placed = [e.run.position.distance_u_mm or 0.0 for e in after if e.run.id in runs]
        place_u = 2.0 * max(placed, default=0.0) / distance if distance > 0.0 else 0.0
        far = pull(each, measured, place_u)
        again = each.retest
        inside = (
            again.low is not None
            and again.high is not None
            and again.low <= measured.value <= again.high
        )
        found.append(
            Pull(
                key=each.key,
                statement=each.statement,
                expected=each.expected,
                measured=Measured.of(measured),
                pull=far,
                inside=inside,
                runs=tuple(runs),
            )
        )
    return found, missing


def _measured(
    each: Predicted, before: Sequence[Evidence], after: Sequence[Evidence]
) -> tuple[Estimate | None, list[str]]:
    here, background = _at(each, after), [e for e in after if e.run.is_background]
    runs = [e.run.id for e in (here or background)]
    level: lv.Level | None = None
    if each.quantity == "background count rate":
        level = lv.pool(background, lv.count_rate)
    elif each.quantity == "net count rate":
        level = lv.net(here, background, lv.count_rate) if here else None
    elif each.quantity == "displayed dose rate":
        level = lv.pool(here if each.sources else background, lv.displayed_dose_rate)
    elif each.quantity == "gain":
        old = lv.net(_at(each, before), [e for e in before if e.run.is_background], lv.count_rate)
        new = lv.net(here, background, lv.count_rate) if here else None
        if old is None or new is None or old.estimate.value <= 0.0:
            return None, runs
        return lv.over(new.estimate, old.estimate), runs
    return (None if level is None else level.estimate), runs


def _at(each: Predicted, evidence: Sequence[Evidence]) -> list[Evidence]:
    """Runs with the prediction's sources, at its distance, uncovered and from the front."""
    if not each.sources:
        return []
    return [
        e
        for e in evidence
        if e.run.sources == each.sources
        and e.run.position.is_open
        and (
            each.distance_mm is None
            or abs((e.run.position.distance_mm or 0.0) - each.distance_mm) < 0.5
        )
    ]


def regressions_of(pairs: Sequence[Pair]) -> tuple[str, ...]:
    """Name every quantity that has become worse."""
    return tuple(
        text(
            "retest.regression",
            trial=p.trial,
            quantity=p.quantity,
            before=format_estimate(p.before.estimate()),
            after=format_estimate(p.after.estimate()),
        )
        for p in pairs
        if p.turn == "worse"
    )


def charts_of(pairs: Sequence[Pair], pulls: Sequence[Pull]) -> tuple[Chart, ...]:
    """Return judged quantities before and after, and the pulls of the predictions."""
    charts = []
    judged = [p for p in pairs if p.verdict_before != "no criterion"]
    if judged:
        labels = tuple(f"{p.trial}: {p.quantity}" for p in judged)
        series = tuple(
            Series(
                name=text(f"retest.{when}"),
                x=tuple(None for _ in judged),
                y=tuple(m.value for m in values),
                low=tuple(m.low for m in values),
                high=tuple(m.high for m in values),
                labels=labels,
            )
            for when, values in (
                ("before", [p.before for p in judged]),
                ("after", [p.after for p in judged]),
            )
        )
        charts.append(
            Chart(
                question=text("retest.question_pairs"),
                x_title="",
                y_title=text("retest.axis_pairs"),
                form="intervals",
                series=series,
                marks=(Mark(axis="x", at=1.0, dashed=False),),
            )
        )
    known = [p for p in pulls if p.pull is not None]
    if known:
        charts.append(
            Chart(
                question=text("retest.question_pulls"),
                x_title="",
                y_title=text("retest.axis_pulls"),
                form="intervals",
                series=(
                    Series(
                        name=text("retest.pulls"),
                        x=tuple(None for _ in known),
                        y=tuple(p.pull for p in known),
                        labels=tuple(p.statement for p in known),
                    ),
                ),
                marks=(
                    Mark(axis="x", at=0.0, dashed=False),
                    Mark(axis="x", at=-2.0),
                    Mark(axis="x", at=2.0),
                ),
            )
        )
    return tuple(charts)


def summary(pairs: Sequence[Pair], pulls: Sequence[Pull], names: Mapping[str, str]) -> str:
    """Say in a sentence or two what the change brought."""
    judged = [p for p in pairs if p.verdict_before != "no criterion"]
    better = sum(p.turn == "better" for p in judged)
    worse = sum(p.turn == "worse" for p in pairs)
    said = text("retest.says", better=better, judged=len(judged), worse=worse, **names)
    if pulls:
        missed = sum(not p.inside for p in pulls)
        said += " " + text("retest.says_pulls", n=len(pulls), missed=missed)
    return said
