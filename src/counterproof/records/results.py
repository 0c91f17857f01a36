"""Results as a flat table, for spreadsheets and other programs."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Measured, Number, Part, Record
from counterproof.records.publication import Publication


class ResultRow(Part):
    """One number of a dossier.

    Args:
        chapter: ``"trial"``, ``"calibration"``, ``"budget"``, ``"retest"``, ``"prediction"``,
            ``"comparison"``, ``"finding"`` or ``"run"``.
        item: which trial, calibration, run, …
        quantity: what the number is.
        value: the number, in ``unit``.
        low: lower end of the interval.
        high: upper end.
        coverage: of the interval.
        u: standard uncertainty.
        unit: of the numbers; empty for a pure number.
        counts: counts behind it.
        verdict: where it was judged.
        runs: ids of the runs behind it, separated by spaces.
    """

    chapter: str
    item: str
    quantity: str
    value: Number = None
    low: Number = None
    high: Number = None
    coverage: Number = None
    u: Number = None
    unit: str = ""
    counts: Number = None
    verdict: str = ""
    runs: str = ""


class Results(Record):
    """Every number of a dossier, one row each."""

    kind: Literal["results"] = "results"
    instrument: str
    rows: tuple[ResultRow, ...]


def results_of(p: Publication) -> Results:
    """Return every number of a publication as rows."""
    rows: list[ResultRow] = []

    def add(
        chapter: str,
        item: str,
        quantity: str,
        m: Measured | None,
        verdict: str = "",
        runs: str = "",
    ) -> None:
        if m is not None:
            rows.append(
                ResultRow(
                    chapter=chapter,
                    item=item,
                    quantity=quantity,
                    value=m.value,
                    low=m.low,
                    high=m.high,
                    coverage=m.coverage,
                    u=m.u,
                    unit=m.unit,
                    counts=m.counts,
                    verdict=verdict,
                    runs=runs,
                )
            )

    for o in p.outcomes:
        runs = " ".join(o.runs)
        for j in o.judgements:
            add("trial", o.trial, j.quantity, j.measured, j.verdict, runs)
        for row in o.table:
            for key, value in row.values.items():
                if isinstance(value, Measured):
                    add("trial", o.trial, f"{row.label}, {row.instrument}: {key}", value)
    for f in p.findings:
        add("finding", f.subject, f.statement, f.measured, f.strength, " ".join(f.runs))
    for c in p.calibrations:
        for band in c.bands:
            add("calibration", c.id, f"true over shown, {band.name}", band.factor, c.standing)
            add("calibration", c.id, f"shown over true, {band.name}", band.response, c.standing)
            add("calibration", c.id, f"sensitivity, {band.name}", band.sensitivity, c.standing)
            rows += [
                ResultRow(
                    chapter="budget",
                    item=c.id,
                    quantity=f"{band.name}: {line.name}",
                    value=line.contribution_percent,
                    unit="%",
                    verdict=line.evaluation,
                )
                for line in band.budget
            ]
        for level in c.levels:
            runs = " ".join(level.runs)
            add("calibration", c.id, f"{level.label}: true", level.true, runs=runs)
            add("calibration", c.id, f"{level.label}: shown", level.shown, runs=runs)
    for outlook in p.outlooks:
        for each in outlook.predictions:
            add("prediction", outlook.id, each.statement, each.expected)
    for r in p.retests:
        for pair in r.pairs:
            name = f"{pair.trial}: {pair.quantity}"
            add("retest", r.id, f"{name}, before", pair.before, pair.verdict_before)
            add("retest", r.id, f"{name}, after", pair.after, pair.verdict_after)
            add("retest", r.id, f"{name}, after over before", pair.gain, pair.turn)
        for pull in r.pulls:
            verdict = "inside" if pull.inside else "outside"
            add("retest", r.id, pull.statement, pull.measured, verdict, " ".join(pull.runs))
    for comparison in p.comparisons:
        for ratio in comparison.ratios:
            add("comparison", ratio.instrument, ratio.source, ratio.ratio, ratio.verdict)
    for t in p.tallies:
        add("run", t.run, "true count rate", t.rate, runs=t.run)
        add("run", t.run, "shown", t.shown, runs=t.run)
    return Results(instrument=p.instrument, rows=tuple(rows))
