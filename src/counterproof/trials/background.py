"""Background: long runs without a source, beside other counters.

Answers what the counter shows where nothing is, whether references in the same place agree,
whether its counts scatter as counts must, and how small a source it could notice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from counterproof.counting.dispersion import Dispersion, dispersion_test
from counterproof.counting.iso11929 import characteristics, counted
from counterproof.counting.planning import time_for_relative
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.signals.trains import CountLog, PulseTrain
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import agreement_chart, interval_chart, rate_strip
from counterproof.trials.shape import Ask, Counter, Evidence, Trial

NAME = "background"
SAMPLE_S = 600.0  # the counting time that detection limits are stated for


def plan(ask: Ask) -> Plan:
    """Plan runs long enough for the wanted uncertainty of each counter."""
    minutes = time_for_relative(ask.background_per_s, ask.relative_u) / 60.0
    runs = tuple(
        PlannedRun(
            instrument=counter.name,
            what=text("trials.background.run"),
            minutes=minutes,
            reason=text("trials.plan_reason", percent=f"{100 * ask.relative_u:g}"),
        )
        for counter in (ask.subject, *ask.references)
    )
    return Plan(
        trial=NAME,
        question=TRIAL.question,
        runs=runs,
        total_minutes=minutes,
        expected=text("trials.background.expected", percent=f"{100 * ask.relative_u:g}"),
        needs=TRIAL.needs,
        bench_substitute=TRIAL.bench_substitute,
        cautions=TRIAL.cautions,
    )


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether it was recorded without a source."""
    return any(e.counter.name == subject.name and e.run.is_background for e in evidence)


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Compare the subject's background with the references' and test its counts.

    Args:
        subject: the counter under test.
        evidence: background runs of the subject and of any references; runs with sources are
            left aside.
        profile: its ``ratio`` criterion judges indicated over reference dose rate.
    """
    runs = [e for e in evidence if e.run.is_background]
    own = [e for e in runs if e.counter.name == subject.name]
    others = [e for e in runs if e.counter.name != subject.name]
    warnings = list(dict.fromkeys(w for e in own if e.pulses for w in e.pulses.warnings))
    rows = [_row(name, group) for name, group in lv.by_counter(own + others)]
    indicated = lv.pool(own, lv.indicated_dose_rate)
    judgements = []
    pairs = []
    for name, group in lv.by_counter([e for e in others if e.counter.is_reference]):
        reference = lv.pool(group, lv.reference_dose_rate)
        if indicated is None or reference is None or reference.estimate.value <= 0.0:
            continue
        ratio = lv.over(indicated.estimate, reference.estimate)
        pairs.append((name, ratio))
        judgements.append(
            judge(
                text("trials.background.ratio", subject=subject.name, reference=name),
                ratio,
                profile.criterion("ratio"),
                min(indicated.seconds, reference.seconds),
                lv.fixed_u_of_ratio(ratio, indicated, reference),
            )
        )
    if not own:
        warnings.append(text("trials.no_runs", instrument=subject.name, what=NAME))
    elif indicated is None:
        warnings.append(text("trials.no_indication", instrument=subject.name))
    if own and not judgements:
        warnings.append(text("trials.no_reference"))
    expected = lv.expected_dose_rate(own)
    if expected is not None:
        rows.append(_ordinary(subject.name, expected))
        shown = None if indicated is None else indicated.estimate
        if shown is not None and (shown.low > expected.high or shown.high < expected.low):
            warnings.append(
                text(
                    "trials.background.unusual",
                    shown=format_estimate(shown),
                    low=f"{expected.low:.2g}",
                    high=f"{expected.high:.2g}",
                )
            )
    rows += _limits(own)
    scatter = _scatter(own)
    if scatter is not None:
        rows.append(_scatter_row(subject.name, scatter))
        if scatter.scatter != "as Poisson":
            warnings.append(
                text("trials.background.scatter", word=scatter.scatter, p=f"{scatter.p_value:.2g}")
            )
    verdict = worst([j.verdict for j in judgements]) if own else "cannot tell yet"
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=verdict,
        statement=_statement(subject, indicated, pairs, verdict),
        runs=tuple(e.run.id for e in runs),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=tuple(_charts(own, rows)),
        warnings=tuple(warnings),
        method=text("trials.background.method"),
    )


def _row(name: str, group: Sequence[Evidence]) -> Row:
    values: dict[str, Measured | str | float | int | None] = {
        "minutes": round(sum(e.seconds for e in group) / 60.0, 1)
    }
    for key, level in (
        ("count rate", lv.count_rate),
        ("indicated dose rate", lv.indicated_dose_rate),
        ("dose rate by calibration", lv.reference_dose_rate),
    ):
        found = lv.pool(group, level)
        if found is not None:
            values[key] = Measured.of(found.estimate)
            values[f"{key}, from"] = found.how
    return Row(label=name, instrument=name, values=values)


def _ordinary(name: str, expected: Estimate) -> Row:
    """What natural background is at an ordinary place: a plausibility, never a verdict."""
    return Row(
        label=text("trials.background.ordinary"),
        instrument=name,
        values={"dose rate": Measured.of(expected)},
    )


def _limits(own: Sequence[Evidence]) -> list[Row]:
    """Decision threshold and detection limit of a ten-minute count against this background."""
    rate = lv.pool(own, lv.count_rate)
    if rate is None or rate.estimate.counts is None or rate.estimate.value <= 0.0:
        return []
    exposure = rate.estimate.counts / rate.estimate.value
    gross = counted(rate.estimate.value * SAMPLE_S, SAMPLE_S)
    limits = characteristics(gross, counted(rate.estimate.counts, exposure))
    return [
        Row(
            label=text("trials.background.limits", minutes=f"{SAMPLE_S / 60:g}"),
            instrument=own[0].counter.name,
            values={
                "decision threshold": limits.decision_threshold,
                "detection limit": limits.detection_limit,
                "unit": "1/s",
            },
        )
    ]


def binned(evidence: Evidence, mean: float = 10.0) -> CountLog | None:
    """Return counts in equal intervals that hold ``mean`` counts or more on average."""
    if evidence.counts is not None:
        return evidence.counts
    train = evidence.pulses
    if train is None or train.count < 5 * mean or train.gaps_s.size:
        return None
    k = min(int(train.count / mean), 400)
    edges = np.linspace(0.0, train.duration_s, k + 1)
    counts = np.histogram(train.times_s, edges)[0].astype(np.int64)
    return CountLog(edges[:-1], np.diff(edges), counts)


def _scatter(own: Sequence[Evidence]) -> Dispersion | None:
    logs = [b for b in (binned(e) for e in own) if b is not None and b.counts.size > 1]
    if not logs:
        return None
    log = max(logs, key=lambda b: b.count)
    return dispersion_test(log.counts, log.durations_s) if log.count else None


def _scatter_row(name: str, d: Dispersion) -> Row:
    return Row(
        label=text("trials.background.dispersion"),
        instrument=name,
        values={
            "intervals": d.intervals,
            "counts": d.counts,
            "mean": d.mean,
            "variance": d.variance,
            "chi-squared": d.chi2,
            "index of dispersion": d.index,
            "p": d.p_value,
            "reads": d.scatter,
            "would have noticed above": d.seen_over,
            "would have noticed below": d.seen_under,
        },
    )


def _statement(
    subject: Counter,
    indicated: lv.Level | None,
    pairs: Sequence[tuple[str, Estimate]],
    verdict: str,
) -> str:
    if indicated is None:
        return text("trials.background.nothing", instrument=subject.name)
    shown = format_estimate(indicated.estimate)
    if not pairs:
        return text("trials.background.alone", instrument=subject.name, shown=shown)
    name, ratio = pairs[0]
    return text(
        "trials.background.statement",
        instrument=subject.name,
        shown=shown,
        ratio=format_estimate(ratio),
        reference=name,
        verdict=verdict,
    )


def _charts(own: Sequence[Evidence], rows: Sequence[Row]) -> list[Chart]:
    charts = []
    doses: list[tuple[str, Estimate]] = []
    for row in rows:
        for key in ("dose rate by calibration", "indicated dose rate"):
            value = row.values.get(key)
            if isinstance(value, Measured):
                doses.append((row.label, value.estimate()))
                break
    if doses:
        charts.append(
            agreement_chart(text("trials.background.question_agree"), doses, lv.DOSE_RATE)
        )
    trains: list[tuple[str, PulseTrain]] = [
        (e.counter.name, e.pulses) for e in own if e.pulses is not None and e.pulses.count > 20
    ]
    for name, train in trains[:1]:
        charts.append(rate_strip(text("trials.background.question_steady", name=name), name, train))
        charts.append(interval_chart(text("trials.background.question_random"), name, train))
    return charts


TRIAL = Trial(
    name=NAME,
    question=text("trials.background.question"),
    needs=(text("trials.background.need_place"), text("trials.background.need_reference")),
    bench_substitute=text("trials.background.substitute"),
    cautions=(),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
