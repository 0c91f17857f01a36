"""The small shape that every trial has: what it asks, what it needs, plan, analyse.

A trial is one module with a ``TRIAL`` of this shape, entered in ``registry.py`` by one line. It is
pure: evidence in, :class:`~counterproof.records.Outcome` out; what is missing is said in the
outcome's warnings and never guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from counterproof.quantities import Estimate
from counterproof.records import Outcome, Plan, Run, Series
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.trials.criteria import Profile


@dataclass(frozen=True)
class Counter:
    """What a trial has to know of an instrument.

    Args:
        name: as on the bench.
        stated_cpm_per_usv_h: factors that the maker or the menu states, lowest range first;
            empty when unknown. Used only where the box gives clicks but no display.
        window_s: the display's averaging window as stated; ``None`` when unknown.
        sensitivity_per_s_per_usv_h: for a reference: true counts per second per µSv/h by nuclide
            (``"any"`` for the rest), each with its uncertainty; empty for a counter under test.
        own_background_per_s: counts that a reference makes without any field.
        dead_time_s: of its tube, ``None`` when unknown.
        claims: what the maker states, in numbers: ``"endurance_h"``, ``"response_s"``; empty
            when nothing is known.
        capacity_mah: of its battery as stated, ``None`` when unknown.
        predicted_energy: what physics predicts of the tube: response per µSv of H*(10) relative
            to Cs-137 (``y``) over photon energy in keV (``x``), with an interval where known.
        predicted_angle: likewise the response relative to 0° over the angle in degrees.
    """

    name: str
    stated_cpm_per_usv_h: tuple[float, ...] = ()
    window_s: float | None = None
    sensitivity_per_s_per_usv_h: Mapping[str, Estimate] = field(default_factory=dict)
    own_background_per_s: float = 0.0
    dead_time_s: float | None = None
    claims: Mapping[str, float] = field(default_factory=dict)
    capacity_mah: float | None = None
    predicted_energy: Series | None = None
    predicted_angle: Series | None = None

    @property
    def is_reference(self) -> bool:
        """Whether its own calibration turns counts into dose rate."""
        return bool(self.sensitivity_per_s_per_usv_h)


@dataclass(frozen=True, eq=False)
class Evidence:
    """One run with its signals loaded.

    Args:
        run: the record.
        counter: the instrument that was recorded.
        pulses: its pulse train, if one was recorded.
        counts: its count log, if one was recorded.
        readings: its reading logs (momentary, average, accumulated).
        nuclides: nuclides of the sources present, main one first.
        expected_usv_h: dose rate that physics predicts at the position, if it was asked; without
            a source that of natural background at an ordinary place.
        cover_mg_cm2: what covers the source, as far as it is known; ``None`` when it is not.
    """

    run: Run
    counter: Counter
    pulses: PulseTrain | None = None
    counts: CountLog | None = None
    readings: tuple[ReadingLog, ...] = ()
    nuclides: tuple[str, ...] = ()
    expected_usv_h: Estimate | None = None
    cover_mg_cm2: float | None = None

    @property
    def seconds(self) -> float:
        """Length of the run in seconds."""
        return self.run.duration_s

    def number(self, condition: str) -> float | None:
        """Return a condition of the run as a number, ``None`` when it was not noted."""
        value = self.run.conditions.get(condition)
        return None if value is None or isinstance(value, str) else float(value)

    def word(self, condition: str) -> str | None:
        """Return a condition of the run as a word, ``None`` when it was not noted."""
        value = self.run.conditions.get(condition)
        return None if value is None else str(value)


@dataclass(frozen=True)
class Ask:
    """What the person wants of a plan.

    Args:
        subject: the counter under test.
        references: counters to compare with.
        sources: check sources by name.
        relative_u: wanted relative standard uncertainty of each rate.
        background_per_s: expected background count rate of the subject.
        source_per_s: expected net count rate from a source.
        repeats: equal runs for the repeatability trial.
    """

    subject: Counter
    references: tuple[Counter, ...] = ()
    sources: tuple[str, ...] = ()
    relative_u: float = 0.05
    background_per_s: float = 0.5
    source_per_s: float = 2.0
    repeats: int = 10


Analyse = Callable[[Counter, Sequence[Evidence], Profile], Outcome]
PlanFor = Callable[[Ask], Plan]
Serves = Callable[[Counter, Sequence[Evidence]], bool]


def any_run(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether the counter under test was recorded at all."""
    return any(e.counter.name == subject.name for e in evidence)


@dataclass(frozen=True)
class Trial:
    """A trial of the bench.

    Args:
        name: one or two words, as typed on the command line (spaces become hyphens).
        question: what it answers, as a sentence.
        needs: what has to be there, in words.
        bench_substitute: what serves where the proper thing is a laboratory's; may be empty.
        cautions: what can hurt, in short.
        plan: makes the plan.
        analyse: turns evidence into an outcome.
        serves: whether the evidence holds anything meant for it; where it does not, the trial is
            skipped when all are judged.
    """

    name: str
    question: str
    needs: tuple[str, ...]
    bench_substitute: str
    cautions: tuple[str, ...]
    plan: PlanFor
    analyse: Analyse
    serves: Serves = any_run
