"""What every trial of an instrument still needs, and how long that takes."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.bench import Bench
from counterproof.kit import Instrument
from counterproof.records import Outcome
from counterproof.records.plan import Agenda, Standing
from counterproof.texts import text
from counterproof.trials.shape import Counter, Evidence, Trial
from counterproof.workshop.counters import counter_of
from counterproof.workshop.evidence import gather
from counterproof.workshop.judging import plan_trial
from counterproof.workshop.registry import TRIALS


def agenda_of(
    bench: Bench, instrument: str, *, sources: Sequence[str] = (), relative_u: float = 0.05
) -> Agenda:
    """Return how far each trial has come, from the runs and the outcomes on the bench.

    Args:
        bench: opened for reading.
        instrument: the counter under test.
        sources: check sources to plan with, by name.
        relative_u: wanted relative standard uncertainty of each rate.

    Raises:
        UserError: if the instrument or a source is unknown, or a signal cannot be read.
    """
    evidence = gather(bench, instrument)
    subject = counter_of(bench.get(Instrument, instrument))
    judged = {o.trial: o for o in bench.list(Outcome, instrument)}

    def planned(trial: Trial) -> float:
        return plan_trial(
            bench,
            trial.name,
            instrument,
            sources=sources,
            relative_u=relative_u,
            evidence=evidence,
        ).total_minutes

    standings = []
    for trial in TRIALS:
        outcome = judged.get(trial.name)
        if outcome is not None:
            standings.append(_judged(trial, outcome))
        else:
            standings.append(_recorded(trial, subject, evidence, planned(trial)))
    return Agenda(
        instrument=instrument,
        trials=tuple(standings),
        total_minutes=sum(s.minutes or 0.0 for s in standings),
    )


def _judged(trial: Trial, outcome: Outcome) -> Standing:
    """A trial with an outcome: decided, or open with the time and the things it misses."""
    if outcome.verdict != "cannot tell yet":
        return Standing(
            trial=trial.name,
            question=trial.question,
            state="decided",
            verdict=outcome.verdict,
            minutes=0.0,
        )
    more = [j.more_minutes for j in outcome.judgements if j.more_minutes is not None]
    undecided = [j.statement for j in outcome.judgements if j.verdict == "cannot tell yet"]
    return Standing(
        trial=trial.name,
        question=trial.question,
        state="open",
        verdict=outcome.verdict,
        minutes=max(more) if more else None,
        missing=tuple(dict.fromkeys((*undecided, *outcome.warnings))),
    )


def _recorded(
    trial: Trial, subject: Counter, evidence: Sequence[Evidence], minutes: float
) -> Standing:
    """A trial without an outcome: nothing recorded for it, or only to be judged."""
    if trial.serves(subject, evidence):
        return Standing(
            trial=trial.name,
            question=trial.question,
            state="not judged",
            minutes=0.0,
            missing=(text("workshop.agenda_judge", trial=trial.name, instrument=subject.name),),
        )
    return Standing(
        trial=trial.name,
        question=trial.question,
        state="nothing recorded",
        minutes=minutes,
        missing=trial.needs,
    )
