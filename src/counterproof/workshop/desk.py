"""The desk of a face that stays open: one bench, its background work, the run being recorded.

A command opens a bench, works and closes it; a page comes and goes while the bench stays open.
The desk holds what must outlive a page: the bench's lock, jobs, the live run, and the last edits
so that they can be undone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from counterproof.bench import Bench, LiveRun
from counterproof.errors import UserError
from counterproof.kit import Instrument
from counterproof.progress import Report
from counterproof.records import Position, Run
from counterproof.texts import text
from counterproof.workshop.jobs import Jobs
from counterproof.workshop.logbook import LOGGER
from counterproof.workshop.settings import load_settings

if TYPE_CHECKING:
    from pydantic import BaseModel

    from counterproof.signals.live import LiveSource
    from counterproof.signals.mapping import Mapping
    from counterproof.signals.trains import PulseTrain
    from counterproof.workshop.filmwork import Film
    from counterproof.workshop.livework import LiveSession, Way

_REMEMBERED = 200
_PATIENCE_S = 60.0
T = TypeVar("T")


@dataclass(frozen=True)
class Remark:
    """What was just done, with a way back if there is one."""

    number: int
    sentence: str
    undo: Callable[[], None] | None = None


@dataclass(frozen=True)
class LiveWish:
    """What a person wants recorded.

    Args:
        instrument: its name; one that is not on the bench yet is put there.
        way: where the pulses come from.
        sources: names of the sources present.
        distance_mm: to the tube's effective centre.
        note: free words.
        keep_sound: keep the sound with the run.
        planned_s: how long it is meant to last.
        port: of a serial line.
        baud: of a serial line.
        mapping: what the line means.
    """

    instrument: str
    way: Way
    sources: tuple[str, ...] = ()
    distance_mm: float | None = None
    note: str = ""
    keep_sound: bool = True
    planned_s: float | None = None
    port: str = ""
    baud: int = 9600
    mapping: Mapping | None = None


def usual_bench() -> Path | None:
    """Return the bench that settings, environment or the current folder name, if any."""
    folder = load_settings().bench
    if folder is None and (Path.cwd() / "bench.sqlite").is_file():
        folder = Path.cwd()
    return folder


class Desk:
    """What a face that stays open works at.

    Args:
        folder: the bench to open; ``None`` to choose one later.

    Raises:
        UserError: if it cannot be opened for writing.
    """

    def __init__(self, folder: Path | None = None) -> None:
        """Open the bench, if one is named."""
        self.jobs = Jobs()
        self.live: LiveSession | None = None
        self._bench: Bench | None = None
        self._guard = threading.RLock()
        self._numbers = count(1)
        self._remarks: dict[int, Remark] = {}
        self._known: dict[tuple[str, ...], Any] = {}
        self.films: dict[int, Film] = {}
        self._mending: dict[str, threading.Event] = {}
        if folder is not None:
            self.open(folder)

    # -- the bench

    @property
    def bench(self) -> Bench | None:
        """The open bench, ``None`` before one is chosen."""
        return self._bench

    def open(self, folder: Path) -> Bench:
        """Open a bench in place of the one that is open.

        Raises:
            UserError: if it cannot be opened or a run is being recorded; what was open stays open.
        """
        self._none_live()
        return self._take(Bench.open(folder))

    def create(self, folder: Path, name: str = "") -> Bench:
        """Make a new bench and open it.

        Raises:
            UserError: if the folder holds anything or cannot be written.
        """
        self._none_live()
        return self._take(Bench.create(folder, name))

    def _take(self, bench: Bench) -> Bench:
        with self._guard:
            if self._bench is not None:
                self._leave()
            self._bench = bench
            self._known.clear()
        self._mend()
        return bench

    def _mend(self) -> None:
        """Count what a crash left uncounted."""
        from counterproof.bench.livesound import pieces
        from counterproof.workshop.livekeep import interrupted_runs, recover

        bench = self._bench
        assert bench is not None
        for run in interrupted_runs(bench):
            if pieces(bench.folder, run.id):
                self._mending[run.id] = threading.Event()

                def work(report: Report, run_id: str = run.id) -> str:
                    try:
                        recover(bench, run_id, report)
                    finally:
                        self._mending.pop(run_id).set()
                    return f"/runs/{run_id}"

                self.jobs.start(text("workshop.mending", run=run.id), work)

    def _mended(self, run_id: str) -> None:
        """Wait until what a crash left of a run is counted."""
        mending = self._mending.get(run_id)
        if mending is not None and not mending.wait(_PATIENCE_S):
            raise UserError(text("workshop.still_mending", run=run_id))

    def _leave(self) -> None:
        if self.live is not None:
            self.live.leave()
            self.live = None
        if self._bench is not None:
            self._bench.close()
            self._bench = None

    def close(self) -> None:
        """Stop the work, leave a live run as interrupted, close the bench."""
        self.jobs.stop()
        for film in self.films.values():
            film.discard()
        with self._guard:
            self._leave()

    # -- remarks and undoing

    def remark(self, sentence: str, undo: Callable[[], None] | None = None) -> int:
        """Remember what was done; return its number."""
        number = next(self._numbers)
        self._remarks[number] = Remark(number, sentence, undo)
        self._remarks.pop(number - _REMEMBERED, None)
        return number

    def remembered(self, number: int) -> Remark | None:
        """Return a remark, ``None`` when it is forgotten."""
        return self._remarks.get(number)

    def undo(self, number: int) -> int:
        """Take back what a remark tells of; return the number of the remark that says so.

        Raises:
            UserError: if it is forgotten or cannot be undone.
        """
        found = self._remarks.get(number)
        if found is None or found.undo is None:
            raise UserError(text("workshop.nothing_to_undo"))
        found.undo()
        self._remarks[number] = Remark(number, found.sentence)
        return self.remark(text("workshop.undone", sentence=found.sentence))

    def way_back(self, cls: type[BaseModel], name: str) -> Callable[[], None]:
        """Return what brings an item on the bench back to the state that it is in now.

        Raises:
            UserError: if there never was one.
        """
        bench = self._bench
        assert bench is not None
        last = bench.history(cls, name)[-1].number

        def back() -> None:
            bench.restore(cls, name, last)

        return back

    def once(self, key: tuple[str, ...], make: Callable[[], T]) -> T:
        """Return what was made under ``key``, which names everything that it depends on."""
        if key not in self._known:
            if len(self._known) > _REMEMBERED * 20:
                self._known.clear()
            self._known[key] = make()
        found: T = self._known[key]
        return found

    # -- recording

    @property
    def recording(self) -> str:
        """The id of the run that is being recorded, empty when none is."""
        live = self.live  # once: another thread may end it meanwhile
        return "" if live is None else live.live.run.id

    def named_instrument(self, name: str) -> str:
        """Return an instrument's name; one that is not on the bench yet is put there.

        Raises:
            UserError: if no name is given.
        """
        bench = self._bench
        assert bench is not None
        name = name.strip()
        if not name:
            raise UserError(text("workshop.which_counter"))
        known = bench.names(Instrument)
        if name not in known:
            bench.add(Instrument(name=name, role="other" if known else "under test"))
        return name

    def begin(self, wish: LiveWish) -> LiveSession:
        """Begin to record a run.

        Raises:
            UserError: if another is being recorded, or a source, port or microphone is missing.
        """
        from counterproof.workshop.capture import now

        bench = self._bench
        assert bench is not None
        with self._guard:
            self._none_live()
            return self._listen(
                wish,
                lambda source: bench.start_live(
                    Run(
                        id="",
                        instrument=self.named_instrument(wish.instrument),
                        position=Position(distance_mm=wish.distance_mm),
                        sources=wish.sources,
                        started_utc=now() if source is None else source.started,
                        duration_s=0.0,
                        note=wish.note,
                    )
                ),
            )

    def carry_on(self, run_id: str, wish: LiveWish) -> LiveSession:
        """Go on with an interrupted run.

        Raises:
            UserError: as :meth:`begin`, or if the run was not interrupted.
        """
        from counterproof.workshop.livekeep import earlier_train

        bench = self._bench
        assert bench is not None
        self._mended(run_id)
        with self._guard:
            self._none_live()
            earlier = earlier_train(bench, bench.get(Run, run_id))
            return self._listen(wish, lambda _: bench.resume_live(run_id), earlier)

    def _listen(
        self,
        wish: LiveWish,
        opened: Callable[[LiveSource | None], LiveRun],
        earlier: PulseTrain | None = None,
    ) -> LiveSession:
        """Listen to what is wished for and write the run that ``opened`` gives for it."""
        from counterproof.workshop.livework import LiveSession

        bench = self._bench
        assert bench is not None
        source = _opened(wish)
        try:
            live = opened(source)
        except BaseException:
            if source is not None:
                source.close()
            raise
        self.live = LiveSession(
            bench,
            live,
            wish.way,
            source=source,
            mapping=wish.mapping,
            keep_sound=wish.keep_sound,
            units=units_of(bench.get(Instrument, live.run.instrument)),
            planned_s=wish.planned_s,
            at_end=self._over,
            earlier=earlier,
        )
        return self.live

    def close_run(self, run_id: str) -> Run:
        """End a run that was cut off with what there is.

        Raises:
            UserError: if it was not cut off, or the disk refuses.
        """
        from counterproof.workshop.livekeep import close_interrupted

        bench = self._bench
        assert bench is not None
        self._mended(run_id)
        return close_interrupted(bench, run_id)

    def finish(self) -> Run:
        """End the run that is being recorded and return it as stored.

        Raises:
            UserError: if none is, or the disk refuses.
        """
        from counterproof.workshop.livekeep import drop_sound, keep_sound

        with self._guard:
            if self.live is None:
                raise UserError(text("workshop.not_live"))
            run = self.live.finish(keep_sound if self.live.keeps_sound else drop_sound)
            self.live = None
            return run

    def _over(self) -> None:
        """The planned time of a run is over: keep it, whoever watches."""
        try:
            self.finish()
        except UserError as error:
            LOGGER.error("a run could not be finished: %s", error.message)

    def _none_live(self) -> None:
        if self.recording:
            raise UserError(text("workshop.one_run", run=self.recording))


def units_of(instrument: Instrument) -> dict[str, tuple[str, str]]:
    """Return quantity and unit of each field that an instrument's display has."""
    found: dict[str, tuple[str, str]] = {
        d.field: (d.quantity, d.unit) for d in reversed(instrument.display)
    }
    usual = {
        "momentary": ("dose_rate", "µSv/h"),
        "average": ("dose_rate", "µSv/h"),
        "accumulated": ("dose", "µSv"),
    }
    return {field: found.get(field, other) for field, other in usual.items()}


def _opened(wish: LiveWish) -> LiveSource | None:
    """Open what is listened to on this computer; a page's microphone comes later."""
    if wish.way == "serial":
        from counterproof.signals.mapping import Mapping
        from counterproof.signals.serialline import SerialSource

        return SerialSource(wish.port, wish.mapping or Mapping(role="byte"), baud=wish.baud)
    if wish.way == "card":
        from counterproof.signals.microphone import MicrophoneSource

        return MicrophoneSource()
    return None
