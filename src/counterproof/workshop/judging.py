"""Run a trial on what the bench holds, and keep its outcome there."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.bench import Bench
from counterproof.kit import Instrument
from counterproof.progress import Report, silent, step
from counterproof.records import Outcome, Plan
from counterproof.trials.criteria import DEFAULT_PROFILE, Profile, profile
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.workshop.counters import counter_of
from counterproof.workshop.evidence import gather
from counterproof.workshop.expected import expected_background_usv_h
from counterproof.workshop.predicted import with_predictions
from counterproof.workshop.registry import TRIALS, trial


def judge_trial(
    bench: Bench,
    name: str,
    instrument: str,
    *,
    profile_name: str = DEFAULT_PROFILE,
    runs: Sequence[str] = (),
    report: Report = silent,
) -> Outcome:
    """Analyse one trial of an instrument and store the outcome.

    Args:
        bench: opened for writing.
        name: the trial's name.
        instrument: the counter under test.
        profile_name: a shipped acceptance profile or the path of one's own.
        runs: only these runs; all that serve when empty.
        report: progress of what physics predicts, where the trial sets it beside its points.

    Raises:
        UserError: if trial, instrument, profile or a run is unknown.
        Cancelled: if ``report`` answers ``False``; nothing is stored then.
    """
    chosen, criteria = trial(name), profile(profile_name)
    evidence = gather(bench, instrument, runs)
    subject = counter_of(bench.get(Instrument, instrument))
    return _judged(bench, chosen, subject, evidence, criteria, report)


def _judged(
    bench: Bench,
    chosen: Trial,
    subject: Counter,
    evidence: Sequence[Evidence],
    criteria: Profile,
    report: Report,
) -> Outcome:
    notes: tuple[str, ...] = ()
    if chosen.serves(subject, evidence):
        subject, notes = with_predictions(bench, subject, chosen.name, evidence, report)
    outcome = chosen.analyse(subject, evidence, criteria)
    outcome = outcome.model_copy(update={"warnings": (*outcome.warnings, *notes)})
    # one outcome per trial and instrument: the latest judgement stands, earlier ones are history
    key = f"{chosen.name} of {subject.name}".replace(" ", "-")
    outcome = outcome.model_copy(update={"id": key})
    bench.put(outcome)
    return outcome


def judge_all(
    bench: Bench,
    instrument: str,
    *,
    profile_name: str = DEFAULT_PROFILE,
    report: Report = silent,
) -> list[Outcome]:
    """Analyse every trial that has at least one run of the instrument to go by.

    Raises:
        UserError: as :func:`judge_trial`.
        Cancelled: if ``report`` answers ``False``.
    """
    evidence, criteria = gather(bench, instrument), profile(profile_name)
    subject = counter_of(bench.get(Instrument, instrument))
    outcomes = []
    for done, each in enumerate(TRIALS):
        step(report, done, len(TRIALS))
        if each.serves(subject, evidence):
            outcomes.append(_judged(bench, each, subject, evidence, criteria, silent))
    step(report, len(TRIALS), len(TRIALS))
    return outcomes


def plan_trial(
    bench: Bench,
    name: str,
    instrument: str,
    *,
    sources: Sequence[str] = (),
    relative_u: float = 0.05,
    background_per_s: float | None = None,
    source_per_s: float | None = None,
    evidence: Sequence[Evidence] | None = None,
) -> Plan:
    """Plan a trial; expected rates come from runs on the bench where there are any.

    Else the background follows from a stated factor at an ordinary place. ``evidence`` is what
    :func:`.evidence.gather` returned, where it is at hand.

    Raises:
        UserError: if trial, instrument or a source is unknown.
    """
    from counterproof.kit import Source
    from counterproof.trials.levels import count_rate, pool

    chosen = trial(name)
    subject = counter_of(bench.get(Instrument, instrument))
    for source in sources:
        bench.get(Source, source)
    references = tuple(
        counter_of(i)
        for i in bench.list(Instrument)
        if i.name != instrument and (i.calibration or i.role == "reference")
    )
    held = gather(bench, instrument) if evidence is None else evidence
    own = [e for e in held if e.counter.name == instrument]
    background = pool([e for e in own if e.run.is_background], count_rate)
    gross = pool([e for e in own if e.run.with_source], count_rate)
    guess = Ask(subject)
    known = background.estimate.value if background else _ordinary(subject)
    at_background = background_per_s or known or guess.background_per_s
    net = gross.estimate.value - at_background if gross else guess.source_per_s
    return chosen.plan(
        Ask(
            subject,
            references,
            tuple(sources),
            relative_u,
            at_background,
            source_per_s or (net if net > 0 else guess.source_per_s),
        )
    )


def _ordinary(subject: Counter) -> float | None:
    """Count rate that a stated factor gives at an ordinary background; ``None`` without one."""
    factors = subject.stated_cpm_per_usv_h
    return factors[0] / 60.0 * expected_background_usv_h().value if factors else None
