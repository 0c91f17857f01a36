"""Endurance: how long a battery lasts in each mode, against the claim.

A run until the battery is empty is a measurement; one that was ended earlier gives a lower bound;
a current read with a meter over the stated capacity gives an estimate.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Criterion, Judgement, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import agreement_chart
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import normal, not_yet, plan_of

NAME = "endurance"
CHARGE_U = 0.05  # from one charge or cell to the next; common practice, no source
CAPACITY_U = 0.10  # stated over usable capacity; common practice, no source
PLANNED_HOURS = 24.0


def plan(ask: Ask) -> Plan:
    """Plan one run until the battery is empty, as long as the claim where there is one."""
    hours = ask.subject.claims.get("endurance_h", PLANNED_HOURS)
    run = PlannedRun(
        instrument=ask.subject.name,
        what=text("trials.endurance.run"),
        minutes=60.0 * hours,
        reason=text("trials.endurance.until_empty"),
    )
    return plan_of(TRIAL, [run], text("trials.endurance.expected"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [
        e
        for e in evidence
        if e.counter.name == subject.name
        and (e.word("battery_empty") is not None or e.number("current_ma") is not None)
    ]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether any run tells of the battery."""
    return bool(_used(subject, evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Give the hours in each mode and hold them against the claim.

    Args:
        subject: the counter under test; its ``claims["endurance_h"]`` is the criterion unless the
            profile has an ``endurance_h``, its ``capacity_mah`` turns a current into hours.
        evidence: runs with ``battery_empty`` or ``current_ma``, and ``mode``.
        profile: may bring its own ``endurance_h``.
    """
    runs = _used(subject, evidence)
    criterion = profile.criterion("endurance_h") or _claim(subject)
    warnings: list[str] = []
    if criterion is None:
        warnings.append(text("trials.endurance.no_claim"))
    if any(e.word("mode") is None for e in runs):
        warnings.append(text("trials.endurance.no_mode"))
    judgements: list[Judgement] = []
    rows: list[Row] = []
    shown: list[tuple[str, Estimate]] = []
    for mode in dict.fromkeys(e.word("mode") or "" for e in runs):
        group = [e for e in runs if (e.word("mode") or "") == mode]
        label = mode or text("trials.endurance.unnamed")
        found = hours_of(subject, group)
        if found is None:
            warnings.append(text("trials.endurance.no_capacity", mode=label))
            continue
        hours, how = found
        rows.append(
            Row(
                label=label,
                instrument=subject.name,
                values={
                    "hours": Measured.of(hours),
                    "hours, from": text(f"trials.endurance.{how}"),
                },
            )
        )
        if how == "at_least":
            warnings.append(text("trials.endurance.not_emptied", mode=label))
        shown.append((label, hours))
        quantity = text("trials.endurance.hours", instrument=subject.name, mode=label)
        judgements.append(_judged(quantity, hours, criterion, group))
    method = text("trials.endurance.method")
    if not judgements:
        if not runs:
            warnings = [text("trials.no_runs", instrument=subject.name, what=NAME)]
        nothing = text("trials.endurance.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, warnings, method)
    bounded = [(label, e) for label, e in shown if math.isfinite(e.high)]
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=worst([j.verdict for j in judgements]),
        statement=_statement(subject, rows, shown),
        runs=tuple(e.run.id for e in runs),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=(agreement_chart(text("trials.endurance.question_hours"), bounded, "h"),)
        if bounded
        else (),
        warnings=tuple(warnings),
        method=method,
    )


def _claim(subject: Counter) -> Criterion | None:
    hours = subject.claims.get("endurance_h")
    if hours is None:
        return None
    return Criterion(
        name=text("trials.makers_claim"),
        statement=text("trials.endurance.claim", hours=f"{hours:g}"),
        source=text("trials.makers_claim"),
        low=hours,
    )


def hours_of(subject: Counter, group: Sequence[Evidence]) -> tuple[Estimate, str] | None:
    """Return hours of one mode and what they rest on, ``None`` when nothing gives any.

    Emptied batteries come first, then current and capacity, then the longest run that was ended
    before; a measured lower bound above the calculated value replaces it.
    """
    emptied = [e.seconds / 3600.0 for e in group if e.word("battery_empty") in ("1", "1.0")]
    if emptied:
        mean = sum(emptied) / len(emptied)
        u = CHARGE_U * mean / math.sqrt(len(emptied))
        if len(emptied) > 1:
            scatter = sum((h - mean) ** 2 for h in emptied) / (len(emptied) - 1)
            u = max(u, math.sqrt(scatter / len(emptied)))
        return normal(mean, u, "h"), "measured"
    longest = max(
        (e.seconds / 3600.0 for e in group if e.word("battery_empty") in ("0", "0.0")), default=0.0
    )
    currents = [c for e in group if (c := e.number("current_ma")) is not None and c > 0.0]
    if currents and subject.capacity_mah is not None:
        hours = subject.capacity_mah / (sum(currents) / len(currents))
        if hours > longest:
            return normal(hours, CAPACITY_U * hours, "h"), "calculated"
    if longest > 0.0:
        return Estimate(longest, math.inf, longest, math.inf, 0.95, "h"), "at_least"
    return None


def _judged(
    quantity: str, hours: Estimate, criterion: Criterion | None, group: Sequence[Evidence]
) -> Judgement:
    seconds = sum(e.seconds for e in group) or 1.0
    open_below = math.isinf(hours.high) and criterion is not None and criterion.low is not None
    if open_below and criterion is not None and hours.value < (criterion.low or 0.0):
        minutes = 60.0 * ((criterion.low or 0.0) - hours.value)
        return Judgement(
            quantity=quantity,
            measured=Measured.of(hours),
            criterion=criterion,
            verdict="cannot tell yet",
            more_minutes=minutes,
            statement=text(
                "trials.cannot_tell",
                quantity=quantity,
                criterion=criterion.statement,
                minutes=max(1, math.ceil(minutes)),
            ),
        )
    return judge(quantity, hours, criterion, seconds, hours.u)


def _statement(subject: Counter, rows: Sequence[Row], shown: Sequence[tuple[str, Estimate]]) -> str:
    parts = [
        text(
            "trials.endurance.part",
            mode=label,
            hours=format_estimate(hours) if math.isfinite(hours.high) else f"> {hours.low:.3g} h",
            how=row.values["hours, from"],
        )
        for row, (label, hours) in zip(rows, shown, strict=True)
    ]
    return f"{subject.name}: " + "; ".join(parts) + "."


TRIAL = Trial(
    name=NAME,
    question=text("trials.endurance.question"),
    needs=(text("trials.endurance.need_battery"),),
    bench_substitute=text("trials.endurance.substitute"),
    cautions=(text("trials.endurance.caution"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
