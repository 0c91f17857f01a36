"""Repeatability: equal runs, again and again, scatter as counting makes them scatter or more.

The coefficient of variation of the runs is set against the one that the counts alone explain.
With counts the ratio squared is the index of dispersion, whose interval comes from the χ²
distribution; with readings alone the runs' means are compared with their own uncertainties.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import gammaincinv

from counterproof.counting.planning import time_for_relative
from counterproof.quantities import Estimate
from counterproof.records import Chart, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.signals.trains import CountLog
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.background import binned
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import agreement_chart
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import plan_of

NAME = "repeatability"
FEWEST = 4


def plan(ask: Ask) -> Plan:
    """Plan equal runs, each as precise as wanted."""
    rate = ask.background_per_s + ask.source_per_s
    minutes = time_for_relative(rate, ask.relative_u) / 60.0
    run = PlannedRun(
        instrument=ask.subject.name,
        what=text("trials.repeatability.run"),
        minutes=minutes,
        sources=ask.sources[:1],
        reason=text("trials.plan_reason", percent=f"{100 * ask.relative_u:g}"),
    )
    expected = text("trials.repeatability.expected", repeats=ask.repeats)
    return plan_of(TRIAL, (run,) * ask.repeats, expected)


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Judge the scatter of equal runs of the subject.

    A single run with clicks or a count log serves too: it is cut into equal stretches.

    Args:
        subject: the counter under test.
        evidence: equal runs; those of other counters or other places than the commonest of the
            subject's are left aside.
        profile: its ``excess_cv`` criterion judges measured over statistical variation.
    """
    own = _commonest([e for e in evidence if e.counter.name == subject.name])
    warnings: list[str] = []
    levels, kind = _levels(own)
    judgements = []
    rows: list[Row] = []
    charts: list[Chart] = []
    if len(levels) < FEWEST:
        warnings.append(text("trials.repeatability.too_few", have=len(levels), need=FEWEST))
    else:
        excess, measured_cv, expected_cv = excess_variation([x.estimate for x in levels])
        seconds = sum(x.seconds for x in levels)
        quantity = text("trials.repeatability.excess", subject=subject.name)
        judgements.append(judge(quantity, excess, profile.criterion("excess_cv"), seconds))
        rows.append(
            Row(
                label=subject.name,
                instrument=subject.name,
                values={
                    "runs": len(levels),
                    "from": kind,
                    "coefficient of variation in %": 100.0 * measured_cv,
                    "statistical one in %": 100.0 * expected_cv,
                    "ratio": Measured.of(excess),
                },
            )
        )
        shown = [(str(i + 1), x.estimate) for i, x in enumerate(levels[:40])]
        charts.append(
            agreement_chart(
                text("trials.repeatability.question_scatter"),
                shown,
                levels[0].estimate.unit,
                subject.name,
            )
        )
    verdict = worst([j.verdict for j in judgements]) if judgements else "cannot tell yet"
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=verdict,
        statement=judgements[0].statement
        if judgements
        else text("trials.repeatability.nothing", instrument=subject.name),
        runs=tuple(e.run.id for e in own),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=tuple(charts),
        warnings=tuple(warnings),
        method=text("trials.repeatability.method"),
    )


def excess_variation(runs: Sequence[Estimate]) -> tuple[Estimate, float, float]:
    """Measured over statistical coefficient of variation of equal runs.

    With s² the sample variance and u² the mean squared standard uncertainty, (k-1)s²/u² follows
    χ² with k-1 degrees of freedom when nothing but counting scatters them; the interval of the
    ratio s/u comes from its quantiles.

    Args:
        runs: at least two estimates of the same thing.

    Returns:
        The ratio with its 95 % interval, the measured and the statistical coefficient.
    """
    values = np.array([r.value for r in runs])
    mean = float(values.mean())
    counts = [r.counts for r in runs]
    if all(c is not None for c in counts) and mean > 0:
        # for counts the variance is the mean itself; each run's own √n would lean on its scatter
        exposure = [r.counts / r.value if r.counts else 1.0 / r.u for r in runs]
        own = [(r.counts or 1.0) / t**2 for r, t in zip(runs, exposure, strict=True)]
        beyond = [max(r.u**2 - v, 0.0) for r, v in zip(runs, own, strict=True)]
        expected = math.sqrt(mean / float(np.mean(exposure)) + float(np.mean(beyond)))
    else:
        expected = math.sqrt(float(np.mean([r.u**2 for r in runs])))
    k = len(runs) - 1
    s = float(values.std(ddof=1))
    ratio = s / expected
    low = ratio * math.sqrt(k / (2.0 * float(gammaincinv(k / 2.0, 0.975))))
    high = ratio * math.sqrt(k / (2.0 * float(gammaincinv(k / 2.0, 0.025))))
    estimate = Estimate(
        ratio,
        ratio / math.sqrt(2.0 * k),
        low,
        high,
        0.95,
        "",
        sum(c for c in counts if c is not None) or None,
        "χ² limits of the variance",
    )
    scale = mean if mean else math.nan
    return estimate, s / scale, expected / scale


def _commonest(own: Sequence[Evidence]) -> list[Evidence]:
    """Return the runs of the most frequent source, position and conditions."""
    groups: dict[object, list[Evidence]] = {}
    for e in own:
        p = e.run.position
        where = (p.distance_mm, p.angle_deg, p.absorbers)
        conditions = frozenset(e.run.conditions.items())
        groups.setdefault((e.run.sources, where, conditions), []).append(e)
    return max(groups.values(), key=len, default=[])


def _levels(own: Sequence[Evidence]) -> tuple[list[lv.Level], str]:
    """Levels of the runs; one long run with counts is cut into stretches."""
    if len(own) == 1 or (own and len(own) < FEWEST):
        log = binned(max(own, key=lambda e: e.seconds))
        if log is not None and log.counts.size >= FEWEST:
            one = [slice(i, i + 1) for i in range(log.counts.size)]
            cut = [
                lv.counted_level(CountLog(log.starts_s[i], log.durations_s[i], log.counts[i]))
                for i in one
            ]
            return cut, text("trials.repeatability.one_run_cut")
    for level in (lv.count_rate, lv.indicated_dose_rate):
        found = [x for x in (level(e) for e in own) if x is not None]
        if len(found) == len(own) and found:
            return found, found[0].how
    return [], ""


TRIAL = Trial(
    name=NAME,
    question=text("trials.repeatability.question"),
    needs=(text("trials.repeatability.need"),),
    bench_substitute="",
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
)
