"""What lies on a bench, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.bench import Bench
from counterproof.kit import KINDS, Instrument
from counterproof.records import Measured, Outcome, Run
from counterproof.records.listing import BenchSummary, RunSummary
from counterproof.texts import text
from counterproof.trials.levels import count_rate
from counterproof.workshop.evidence import evidence_of


def summary_of(bench: Bench) -> BenchSummary:
    """Return what lies on the bench with the suggested next step."""
    items = {kind: len(bench.names(cls)) for kind, cls in KINDS.items()}
    items["run"] = len(bench.names(Run))
    outcomes = bench.list(Outcome)
    return BenchSummary(
        folder=str(bench.folder),
        name=bench.name,
        items=items,
        outcomes={f"{o.instrument}: {o.trial}": o.verdict for o in outcomes},
        next_step=_next_step(bench, items, outcomes),
    )


def _next_step(bench: Bench, items: dict[str, int], outcomes: Sequence[Outcome]) -> str:
    if not items["instrument"]:
        return text("workshop.next_instrument")
    instruments = bench.list(Instrument)
    subject = next((i for i in instruments if i.role == "under test"), instruments[0]).name
    if not items["run"]:
        return text("workshop.next_run", instrument=subject)
    if not outcomes:
        return text("workshop.next_trial", instrument=subject)
    waiting = [o for o in outcomes if o.verdict == "cannot tell yet"]
    for outcome in waiting:
        minutes = [j.more_minutes for j in outcome.judgements if j.more_minutes]
        if minutes:
            return text(
                "workshop.next_longer",
                trial=outcome.trial,
                instrument=outcome.instrument,
                minutes=f"{max(minutes):.0f}",
            )
    return text("workshop.next_dossier", instrument=outcomes[0].instrument)


def run_summary(bench: Bench, run: Run) -> RunSummary:
    """Return a run with its count rate.

    Raises:
        UserError: if a signal's file is missing or unreadable.
    """
    evidence = evidence_of(bench, run)
    level = count_rate(evidence)
    warnings = evidence.pulses.warnings if evidence.pulses else ()
    rate = Measured.of(level.estimate) if level else None
    return RunSummary(run=run, rate_per_s=rate, warnings=warnings)
