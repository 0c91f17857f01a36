"""Listen live: from a microphone or a serial line to a running rate, stored as it goes.

Sound is first gathered until the click's shape can be learned (or taken as taught), then what was
gathered is searched and the detector goes on with what comes. Pulses reach the bench as soon as
they are certain; if the process dies, the run is there up to the last second.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.bench import LiveRun
from counterproof.counting.planning import time_for_relative
from counterproof.counting.poisson import rate_estimate
from counterproof.quantities import Estimate
from counterproof.records import Run
from counterproof.signals.clicks import ClickDetector, ClickShape
from counterproof.signals.clicks.believe import believed
from counterproof.signals.clicks.conclude import conclude
from counterproof.signals.clicks.front import Front, working_band
from counterproof.signals.clicks.learn import Learned, learn
from counterproof.signals.live import Gap, LiveSource, PulseBatch, ReadingBatch, SoundBlock
from counterproof.signals.mapping import QUANTITIES, Mapping
from counterproof.signals.pulsefile import train_notes
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text
from counterproof.trials.levels import pulse_rate

Floats = NDArray[np.float64]

LEARN_AT_S = (10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 600.0)
ENOUGH_CLICKS = 20
WANTED = 0.05


@dataclass(frozen=True)
class Now:
    """How the listening stands.

    Args:
        seconds: time listened so far.
        count: pulses so far.
        rate_per_s: running estimate; ``None`` while nothing can be said.
        more_s: further seconds to 5 % standard uncertainty at this rate.
        learning: whether the click's shape is still being learned.
        reading: the last number that the instrument sent.
    """

    seconds: float
    count: int
    rate_per_s: Estimate | None
    more_s: float | None
    learning: bool = False
    reading: float | None = None


class Listener:
    """Turn live events into pulses, and keep them.

    Args:
        source: opened; its events are iterated once.
        live: where to store; ``None`` to store nothing.
        taught: the click's shape, if it is known.
        mapping: what a serial line's numbers mean.
    """

    def __init__(
        self,
        source: LiveSource,
        live: LiveRun | None = None,
        *,
        taught: ClickShape | None = None,
        mapping: Mapping | None = None,
    ) -> None:
        """Begin with nothing heard."""
        self._source, self._live, self._mapping = source, live, mapping
        self._parts: list[Floats] = []
        self._gaps: list[tuple[float, float]] = []
        self._reasons: list[str] = []
        self._until = 0.0
        self._count = 0
        self._reading: float | None = None
        self._sound = _Sound(source.sample_rate_hz, taught) if source.sample_rate_hz else None

    def run(self, tell: Callable[[Now], bool], stop_after_s: float | None = None) -> PulseTrain:
        """Listen until the source ends, ``tell`` answers ``False`` or the time is up.

        Args:
            tell: called after each event with how it stands; ``False`` ends the listening.
            stop_after_s: seconds to listen.

        Returns:
            The pulses heard, with what the detection says of itself.
        """
        for event in self._source:
            self._take(event)
            enough = stop_after_s is not None and event.until_s >= stop_after_s
            if not tell(self.now(event.until_s)) or enough:
                self._source.close()
                break
        self._end()
        return self.train()

    def now(self, seconds: float) -> Now:
        """Return how it stands."""
        learning = self._sound is not None and self._sound.detector is None
        live = self._until - sum(b - a for a, b in self._gaps)
        if learning or live <= 0.0 or (self._mapping and self._mapping.role not in _PULSES):
            return Now(seconds, self._count, None, None, learning, self._reading)
        estimate = rate_estimate(self._count, live)
        more = None
        if estimate.value > 0.0:
            more = max(0.0, time_for_relative(estimate.value, WANTED) - live)
        return Now(seconds, self._count, estimate, more, False, self._reading)

    @property
    def detector(self) -> ClickDetector | None:
        """What finds the clicks; ``None`` until their shape is learned and for what is no sound."""
        return None if self._sound is None else self._sound.detector

    @property
    def shape(self) -> ClickShape | None:
        """The click's shape as learned, ``None`` before and for what is no sound."""
        return None if self.detector is None else self.detector.learned.shapes[0]

    @property
    def counted_s(self) -> float:
        """Up to where the pulses are certain; sound is searched a little behind."""
        if self._sound is None:
            return self._until
        return 0.0 if self.detector is None else self.detector.seconds

    def loudest(self) -> float:
        """Return the largest amplitude since the last call, where clicks are searched for."""
        if self._sound is None:
            return 0.0
        found, self._sound.loudest = self._sound.loudest, 0.0
        return found

    def train(self) -> PulseTrain:
        """Return the pulses heard so far."""
        if self._sound is not None:
            return self._sound.train(self._until, self._gaps, self._reasons)
        times = np.concatenate([np.empty(0), *self._parts])
        warnings = (*self._source.warnings, *dict.fromkeys(self._reasons))
        return PulseTrain(times, self._until, gaps_s=_gap_array(self._gaps), warnings=warnings)

    def _take(self, event: SoundBlock | PulseBatch | ReadingBatch | Gap) -> None:
        if isinstance(event, Gap):
            self._gaps.append((event.start_s, event.until_s))
            self._reasons.append(event.reason)
            if self._live is not None and self._sound is None:
                self._live.gap(event.start_s, event.until_s)
            self._until = max(self._until, event.until_s)
        elif isinstance(event, SoundBlock):
            assert self._sound is not None
            for times in self._sound.push(event.samples):
                self._pulses(times, self._sound.certain_s)
            self._until = max(self._until, event.until_s)
        elif isinstance(event, PulseBatch):
            self._pulses(event.times_s, event.until_s)
            self._until = max(self._until, event.until_s)
        else:
            self._readings(event)

    def _pulses(self, times: Floats, until_s: float) -> None:
        self._parts.append(times)
        self._count += times.size
        if self._live is not None:
            self._live.append(times, max(until_s, self._live.reached_s))

    def _readings(self, event: ReadingBatch) -> None:
        self._until = max(self._until, event.until_s)
        if event.values.size:
            self._reading = float(event.values[-1])
        if self._live is None or self._mapping is None:
            return
        quantity = QUANTITIES[self._mapping.role]
        for at, value in zip(event.times_s.tolist(), event.values.tolist(), strict=True):
            self._live.reading(at, value, quantity, self._mapping.unit, self._mapping.field)

    def _end(self) -> None:
        if self._sound is not None:
            rest = np.concatenate([np.empty(0), *self._sound.finish()])
            self._pulses(rest, max(self._until, float(rest[-1]) if rest.size else 0.0))

    def finish(self) -> Run | None:
        """End the stored run with what the detection says of itself; ``None`` if none is stored."""
        if self._live is None:
            return None
        return self._live.finish(train_notes(self.train()))


_PULSES = ("pulse", "byte")


class _Sound:
    """Click detection on live sound: gather, learn, then detect block by block."""

    def __init__(self, sample_rate_hz: int, taught: ClickShape | None) -> None:
        self.detector: ClickDetector | None = None
        self.certain_s = 0.0
        self._rate = sample_rate_hz
        self._band = working_band(sample_rate_hz)
        self._front = Front(self._band)
        self._taught = taught
        self._held: list[NDArray[np.float32]] = []
        self._held_s = 0.0
        self._tries = list(LEARN_AT_S)
        self._seen = 0
        self.loudest = 0.0

    def push(self, samples: NDArray[np.float32]) -> list[Floats]:
        """Take samples; return arrays of onset times that became certain."""
        ready = self._front.push(samples)
        if ready.size:
            self.loudest = max(self.loudest, float(np.abs(ready).max()))
        if self.detector is not None:
            return self._detected([ready])
        self._held.append(ready)
        self._held_s += samples.size / self._rate
        if self._tries and self._held_s >= self._tries[0]:
            self._tries.pop(0)
            return self._try_to_learn(last=not self._tries)
        return []

    def _try_to_learn(self, last: bool) -> list[Floats]:
        seeds = () if self._taught is None else (self._taught,)
        learned: Learned = learn(np.concatenate(self._held), self._band, seeds=seeds)
        heard = sum(s.count for s in learned.shapes)
        if not learned.shapes or (heard < ENOUGH_CLICKS and not last and not seeds):
            return []
        self.detector = ClickDetector(learned, self._rate)
        held, self._held = self._held, []
        return self._detected(held)

    def _detected(self, pieces: list[NDArray[np.float32]]) -> list[Floats]:
        assert self.detector is not None
        for piece in pieces:
            self.detector.push_working(piece)
        return [self._news()]

    def _news(self) -> Floats:
        """Onsets of the first voice since the last call, ascending and none before the last."""
        assert self.detector is not None
        times, voices = self.detector.times, self.detector.voices
        first = [t[v == 0] for t, v in zip(times[self._seen :], voices[self._seen :], strict=True)]
        self._seen = len(times)
        found = np.sort(np.concatenate([np.empty(0), *first]))
        found = found[found > self.certain_s]
        if found.size:
            self.certain_s = float(found[-1])
        return found

    def finish(self) -> list[Floats]:
        """End the stream; return what became certain by it."""
        if self.detector is None:
            self._held.append(self._front.finish())
            found = self._try_to_learn(last=True)
            if self.detector is None:
                return []
        else:
            found = self._detected([self._front.finish()])
        self.detector.finish_working()
        return [*found, self._news()]

    def train(
        self, until_s: float, gaps: list[tuple[float, float]], reasons: list[str]
    ) -> PulseTrain:
        notes = tuple(dict.fromkeys(reasons))
        if self.detector is None:
            warnings = (text("clicks.none"), *notes)
            return PulseTrain(np.empty(0), until_s, gaps_s=_gap_array(gaps), warnings=warnings)
        voices = believed(self.detector) or [0]
        found = conclude(self.detector, until_s, voices).train
        return PulseTrain(
            found.times_s,
            until_s,
            found.resolving_time_s,
            found.efficiency,
            found.efficiency_u,
            found.false_rate_per_s,
            _gap_array(gaps),
            (*found.warnings, *notes),
        )


def _gap_array(gaps: list[tuple[float, float]]) -> Floats:
    return np.array(gaps, dtype=np.float64).reshape(-1, 2)


def rate_of(train: PulseTrain) -> Estimate | None:
    """Return the true rate behind what was heard; ``None`` when nothing could be counted."""
    if train.live_s <= 0.0 or (train.count == 0 and train.warnings):
        return None
    return pulse_rate(train)
