"""What lies on a bench, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from counterproof.bench import Bench
from counterproof.kit import KINDS, Instrument
from counterproof.records import Measured, Outcome, Run
from counterproof.records.listing import BenchSummary, RunSummary
from counterproof.texts import text
from counterproof.trials.levels import count_rate
from counterproof.trials.shape import Evidence
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
        next_step=_in_words(next_step(bench)),
    )


@dataclass(frozen=True)
class Step:
    """The suggested next step.

    Args:
        what: describe an instrument, record a run, judge a trial, record longer, publish.
        instrument: of which counter; empty if there is none.
        trial: which trial needs longer.
        minutes: how much longer.
    """

    what: Literal["instrument", "run", "trial", "longer", "dossier"]
    instrument: str = ""
    trial: str = ""
    minutes: float = 0.0


def next_step(bench: Bench) -> Step:
    """Return what to do next on a bench."""
    instruments = bench.list(Instrument)
    if not instruments:
        return Step("instrument")
    subject = next((i for i in instruments if i.role == "under test"), instruments[0]).name
    if not bench.names(Run):
        return Step("run", subject)
    outcomes = bench.list(Outcome)
    if not outcomes:
        return Step("trial", subject)
    for outcome in outcomes:
        minutes = [j.more_minutes for j in outcome.judgements if j.more_minutes]
        if outcome.verdict == "cannot tell yet" and minutes:
            return Step("longer", outcome.instrument, outcome.trial, max(minutes))
    return Step("dossier", outcomes[0].instrument)


def _in_words(step: Step) -> str:
    return text(
        f"workshop.next_{step.what}",
        instrument=step.instrument,
        trial=step.trial,
        minutes=f"{step.minutes:.0f}",
    )


def run_summary(bench: Bench, run: Run) -> RunSummary:
    """Return a run with its count rate.

    Raises:
        UserError: if a signal's file is missing or unreadable.
    """
    evidence = evidence_of(bench, run)
    warnings = evidence.pulses.warnings if evidence.pulses else ()
    return RunSummary(run=run, rate_per_s=rate_of(evidence), warnings=warnings)


def rate_of(evidence: Evidence) -> Measured | None:
    """Return a run's count rate, where it counts."""
    level = count_rate(evidence)
    return Measured.of(level.estimate) if level else None
