"""Pictures of a run (rate, intervals, display) and of an outlook."""

from __future__ import annotations

from counterproof.records import Chart, Mark, Outlook, Series
from counterproof.signals.trains import ReadingLog
from counterproof.texts import text
from counterproof.trials.pictures import interval_chart, rate_strip
from counterproof.trials.shape import Evidence

ENOUGH = 20


def run_questions(evidence: Evidence) -> list[str]:
    """Return the questions that :func:`run_charts` answers, without drawing anything up."""
    run, train = evidence.run.id, evidence.pulses
    found = []
    if train is not None and train.count >= ENOUGH and train.duration_s > 0.0:
        found += [text("workshop.run_strip", run=run), text("workshop.run_intervals", run=run)]
    return found + [
        text("workshop.run_display", run=run, field=log.field)
        for log in evidence.readings
        if log.times_s.size >= 2
    ]


def run_charts(evidence: Evidence) -> list[Chart]:
    """Return the charts that a run's signals allow; none for a run of nothing."""
    charts = []
    questions = run_questions(evidence)
    name, train = evidence.run.instrument, evidence.pulses
    logs = [log for log in evidence.readings if log.times_s.size >= 2]
    if train is not None and len(questions) > len(logs):
        charts.append(rate_strip(questions[0], name, train))
        charts.append(interval_chart(questions[1], name, train))
    charts += [_shown(evidence, log) for log in logs]
    return charts


def _shown(evidence: Evidence, log: ReadingLog) -> Chart:
    return Chart(
        question=text("workshop.run_display", run=evidence.run.id, field=log.field),
        x_title=text("trials.axis_minutes"),
        y_title=log.unit,
        form="points",
        series=(
            Series(
                name=evidence.run.instrument,
                x=tuple(float(t) / 60.0 for t in log.times_s),
                y=tuple(float(v) for v in log.values),
            ),
        ),
    )


def outlook_charts(outlook: Outlook) -> list[Chart]:
    """Return what an outlook shows as pictures: the display before and after, and over energy."""
    charts = [
        Chart(
            question=text("workshop.outlook_display", name=c.name),
            x_title=text("workshop.axis_true"),
            y_title=text("workshop.axis_shown"),
            form="lines",
            log_x=True,
            series=c.display,
            marks=(Mark(axis="y", at=1.0, dashed=False),),
        )
        for c in outlook.candidates
        if c.display
    ]
    curves = tuple(
        c.energy.model_copy(update={"name": c.name, "role": "predicted"})
        for c in outlook.candidates
    )
    if curves:
        charts.append(
            Chart(
                question=text("workshop.outlook_energy"),
                x_title=text("tube.chart_energy"),
                y_title=text("tube.chart_relative"),
                form="lines",
                log_x=True,
                series=curves,
                marks=(Mark(axis="y", at=1.0, dashed=False),),
            )
        )
    return charts
