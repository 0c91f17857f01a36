"""A run while it is recorded: listens in a thread of its own, whoever watches.

Watchers come and go: a page may be closed, a phone may type what the display shows, a microphone
may fall silent. The run goes on until it is finished or left; what was heard and typed is on the
disk within a second, and a run that a crash cut off is mended by
:func:`counterproof.workshop.livekeep.recover`.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from counterproof.bench import Bench, LiveRun
from counterproof.bench.livesound import LiveSound
from counterproof.errors import UserError
from counterproof.quantities import Estimate, parse_number
from counterproof.quantities.format import format_estimate, format_interval
from counterproof.records import Run
from counterproof.signals.clicks import ClickDetector, ClickShape
from counterproof.signals.fed import FedSource
from counterproof.signals.live import Event, Gap, LiveSource, SoundBlock
from counterproof.signals.mapping import Mapping
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text
from counterproof.workshop.listening import LEARN_AT_S, Listener, Now, rate_of
from counterproof.workshop.logbook import LOGGER
from counterproof.workshop.strip import Heard

Floats = NDArray[np.float64]
Way = Literal["microphone", "card", "serial", "pad"]
FIELDS = ("momentary", "average", "accumulated")

EVENLY_S = 1.0
"""Sound is drawn this much later than its clicks are certain, so that the picture moves evenly
while blocks of sound are on their way and the rate is computed."""
PAUSED_S = 2.0


class LiveSession:
    """One run being recorded.

    Args:
        bench: opened for writing.
        live: the run's writer.
        way: where its pulses come from; ``"pad"``: only numbers are typed.
        source: of a serial line or sound card, opened; a page's microphone attaches later.
        mapping: what a serial line means.
        keep_sound: keep the sound with the run.
        units: unit and quantity of each field of the display.
        planned_s: how long it is meant to last, ``None`` when open.
        earlier: what was counted before the run was interrupted.
        at_end: called, in a thread of its own, when the planned time is over.
    """

    def __init__(
        self,
        bench: Bench,
        live: LiveRun,
        way: Way,
        *,
        source: LiveSource | None = None,
        mapping: Mapping | None = None,
        keep_sound: bool = True,
        units: dict[str, tuple[str, str]] | None = None,
        planned_s: float | None = None,
        earlier: PulseTrain | None = None,
        at_end: Callable[[], None] | None = None,
    ) -> None:
        """Begin to listen if there is something to listen to."""
        self.bench, self.live, self.way = bench, live, way
        self.units = units or {"momentary": ("dose_rate", "µSv/h")}
        self.planned_s = planned_s
        self.finished: Run | None = None
        self.sentence = ""
        self._keep, self._mapping = keep_sound, mapping
        self._source: LiveSource | None = None
        self._listener: Listener | None = None
        self._sound: LiveSound | None = None
        self._earlier, self._at_end = earlier, at_end
        self._heard = Heard(None if earlier is None else earlier.times_s)
        self._gaps: list[tuple[float, float]] = []
        if earlier is not None:
            self._gaps += [(float(a), float(b)) for a, b in earlier.gaps_s]
        self._zero = 0.0
        self._now = Now(0.0, 0, None, None)
        self._rate: dict[str, Any] = {}
        self._rated_at = -10.0
        self._hist: dict[str, list[float]] = {"x": [], "count": [], "expected": []}
        self._halt = threading.Event()
        self._guard = threading.Lock()
        self._thread: threading.Thread | None = None
        self._peaks: list[float] = []
        if source is not None:
            self._begin(source)

    # -- sound and pulses

    def attach(self, sample_rate_hz: int) -> FedSource:
        """Return where a page's microphone puts its samples.

        Raises:
            UserError: if this run takes no sound from a page, or began with another sample rate.
        """
        with self._guard:
            if self.way != "microphone" or self._halt.is_set():
                raise UserError(text("workshop.no_sound_wanted"))
            if self._source is None:
                self._begin(FedSource(sample_rate_hz))
            source = self._source
            assert isinstance(source, FedSource)
            if source.sample_rate_hz != sample_rate_hz:
                raise UserError(
                    text("workshop.other_rate", rate=sample_rate_hz, first=source.sample_rate_hz)
                )
            return source

    def _begin(self, source: LiveSource) -> None:
        self._source = source
        begins = datetime.now(UTC) if isinstance(source, FedSource) else source.started
        before = self.live.reached_s
        self._zero = max((begins - self.live.run.started_utc).total_seconds(), before, 0.0)
        self.live.carry_on(self._zero)
        if self._zero > before:
            self._gaps.append((before, self._zero))
        if source.sample_rate_hz:
            self._sound = LiveSound(
                self.bench.folder, self.live.run.id, source.sample_rate_hz, self._zero, self._keep
            )
        session = self

        class Watched(Listener):
            def _pulses(self, times: Floats, until_s: float) -> None:
                super()._pulses(times, until_s)
                session._heard.add(times + session._zero)

        self._listener = Watched(_Teed(source, self._tee), self.live, mapping=self._mapping)
        self._thread = threading.Thread(target=self._listen, name="live run", daemon=True)
        self._thread.start()

    def _tee(self, event: Event) -> None:
        if isinstance(event, Gap):
            self._gaps.append((self._zero + event.start_s, self._zero + event.until_s))
        elif isinstance(event, SoundBlock) and self._sound is not None:
            self._sound.append(event.samples)

    def _listen(self) -> None:
        assert self._listener is not None
        try:
            self._listener.run(self._tell, self.planned_s)
            over = self.planned_s is not None and self._now.seconds >= self.planned_s
            if over and self._at_end is not None and not self._halt.is_set():
                threading.Thread(target=self._at_end, name="end of a run", daemon=True).start()
        except UserError as error:
            self.sentence = error.message
        except Exception:  # noqa: BLE001  the last resort of a thread: logged whole
            LOGGER.exception("defect while recording %s", self.live.run.id)
            self.sentence = text("workshop.job_defect")

    def _tell(self, now: Now) -> bool:
        assert self._listener is not None
        self._now = now
        loudest = self._listener.loudest()
        if loudest > 0.0:  # sound is searched in frames: between two there is nothing new
            self._peaks = [*self._peaks, loudest][-240:]
        if now.seconds - self._rated_at >= max(1.0, self._heard.times_s.size / 2e5):
            self._rated_at = now.seconds
            self._hist = self._heard.intervals(self._resolving())
            self._rate = _rate_words(rate_of(self._whole()))
            if self._sound is not None:
                self._sound.release(self._zero + self._listener.counted_s)
        return not self._halt.is_set()

    def _whole(self) -> PulseTrain:
        """All of the run's pulses, those before an interruption too."""
        assert self._listener is not None
        train = self._listener.train()
        gaps = np.array(self._gaps, dtype=np.float64).reshape(-1, 2)
        early = np.empty(0) if self._earlier is None else self._earlier.times_s
        return replace(
            train,
            times_s=np.concatenate([early, train.times_s + self._zero]),
            duration_s=train.duration_s + self._zero,
            gaps_s=gaps,
        )

    @property
    def _detector(self) -> ClickDetector | None:
        return None if self._listener is None else self._listener.detector

    def _resolving(self) -> float:
        detector = self._detector
        return 0.0 if detector is None else detector.resolving_time_s

    # -- the reading pad

    def read(self, given: str, field: str = "momentary", age_s: float = 0.0) -> None:
        """Take a number that the display shows; ``age_s``: how long ago it was typed.

        Raises:
            UserError: if it is no number, there is no such field, or the disk refuses.
        """
        if field not in FIELDS:
            raise UserError(text("workshop.reading_field", given=field))
        try:
            value = parse_number(given.strip())
        except UserError:
            raise UserError(text("workshop.reading_number", given=given)) from None
        if not (np.isfinite(value) and value >= 0.0):
            raise UserError(text("workshop.reading_number", given=given))
        quantity, unit = self.units.get(field, next(iter(self.units.values())))
        with self._guard:
            self.live.reading(max(0.0, self.elapsed_s() - age_s), value, quantity, unit, field)

    def strike(self) -> None:
        """Take back the last number."""
        self.live.strike_reading()

    def elapsed_s(self) -> float:
        """Seconds on the clock that the pulses are timed with."""
        if isinstance(self._source, FedSource):
            return self._source.now_s()
        if self._source is not None:
            return (datetime.now(UTC) - self._source.started).total_seconds()
        return (datetime.now(UTC) - self.live.run.started_utc).total_seconds()

    # -- how it stands

    def state(self) -> dict[str, Any]:
        """Return all that a page shows, as plain numbers, lists and words."""
        listener = self._listener
        seconds = self.elapsed_s() if self._source is not None or self.way == "pad" else 0.0
        counted = listener.counted_s if listener is not None else 0.0
        detector = self._detector
        if detector is not None:
            counted = min(counted, max(0.0, seconds - detector.delay_s - EVENLY_S))
        counted += self._zero
        width, rows = self._heard.strip(counted, self._gaps, self._resolving())
        return {
            "seconds": seconds + self._zero,
            "planned": self.planned_s,
            "word": self._word(seconds),
            "sentence": self.sentence,
            "finished": self.finished is not None,
            "taken": isinstance(self._source, FedSource) and self._source.taken,
            "count": self._heard.before(counted),
            "counted": counted,
            "rate": self._rate,
            "strip": {
                "width": width,
                "rows": [[None if np.isnan(v) else float(f"{v:.5g}") for v in r] for r in rows],
            },
            "recent": [round(float(t), 3) for t in self._recent(counted)],
            "intervals": self._hist,
            "peaks": [float(f"{p:.3g}") for p in self._peaks[-120:]],
            "floor": None if detector is None else float(f"{detector.faintest:.3g}"),
            "last_readings": [
                [round(t, 1), v, u, f] for t, v, _, u, f in self.live.readings()[-5:]
            ],
        }

    def _recent(self, counted: float) -> Floats:
        times = self._heard.times_s
        first, last = np.searchsorted(times, [counted - 10.0, counted])
        return times[first:last][-200:]

    def _word(self, seconds: float) -> str:
        if self.finished is not None:
            return text("web.live.finished")
        if self.way == "pad":
            return text("web.live.pad_only")
        if self._source is None:
            return text("web.live.waiting")
        if isinstance(self._source, FedSource) and seconds - self._source.reached_s > PAUSED_S:
            return text("web.live.paused")
        if self._thread is not None and not self._thread.is_alive():
            return text("web.live.ended")
        if self._now.learning:
            return text("web.live.learning", seconds=f"{LEARN_AT_S[0]:.0f}")
        return text("web.live.counting")

    def shape(self) -> ClickShape | None:
        """The click's shape once it is learned."""
        return self._listener.shape if self._listener is not None else None

    @property
    def halted(self) -> bool:
        """Whether the run takes no more sound."""
        return self._halt.is_set()

    @property
    def listening(self) -> bool:
        """Whether something is being listened to."""
        return self._thread is not None and self._thread.is_alive()

    # -- the end

    def finish(self, keep: Callable[[Bench, Run], Run] | None = None) -> Run:
        """End the run and return it as stored; ``keep`` stores its sound.

        Raises:
            UserError: if the disk refuses; it can be finished again.
        """
        if self.finished is not None:
            return self.finished
        self._still()
        run = self._listener.finish() if self._listener is not None else self.live.finish()
        assert run is not None
        self.finished = run if keep is None else keep(self.bench, run)
        return self.finished

    def leave(self) -> None:
        """Stop listening; the run stays interrupted and can be carried on."""
        if self.finished is None:
            self._still()
            self.live.abandon()

    def _still(self) -> None:
        self._halt.set()
        if self._source is not None:
            self._source.close()
        if self._thread is not None:
            self._thread.join(timeout=30.0)
        if self._sound is not None:
            self._sound.close()

    @property
    def keeps_sound(self) -> bool:
        """Whether the sound stays with the run."""
        return self._keep


class _Teed:
    """A source whose events are seen by somebody else first."""

    def __init__(self, source: LiveSource, see: Callable[[Event], None]) -> None:
        self._source, self._see = source, see
        self.started = source.started
        self.sample_rate_hz = source.sample_rate_hz
        self.warnings = source.warnings

    def __iter__(self) -> Any:
        for event in self._source:
            self._see(event)
            yield event

    def close(self) -> None:
        self._source.close()


def _rate_words(estimate: Estimate | None) -> dict[str, Any]:
    if estimate is None:
        return {}
    per_minute = estimate.scaled(60.0, "min⁻¹")
    return {
        "per_s": format_estimate(estimate.scaled(1.0, "s⁻¹")),
        "per_min": format_estimate(per_minute),
        "interval": format_interval(per_minute.low, per_minute.high, 0.95, "min⁻¹"),
        "relative": estimate.relative_u if estimate.value > 0.0 else None,
    }
