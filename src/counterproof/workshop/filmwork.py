"""A video on its way to a run: marked, watched once, keyed until everything can be read, kept."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.progress import Report, silent
from counterproof.records import Run
from counterproof.texts import text
from counterproof.workshop.filming import Declared, FromVideo, read_again, read_video


class Film:
    """One video that somebody works on.

    Args:
        path: of a copy in a folder of its own, which :meth:`discard` deletes.
        instrument: the counter that was filmed.
    """

    def __init__(self, path: Path, instrument: str) -> None:
        """Nothing is marked yet."""
        self.path, self.instrument = path, instrument
        self.what: Declared | None = None
        self.found: FromVideo | None = None

    def still(self, at_s: float = 0.0) -> bytes:
        """Return the picture at a time as PNG, to mark the display on.

        Raises:
            UserError: if the file holds no picture there.
        """
        from counterproof.signals.video import open_video
        from counterproof.signals.video.sheet import png_bytes

        with open_video(self.path) as video:
            return png_bytes(video.still(at_s)[1])

    def watch(self, what: Declared, report: Report = silent) -> FromVideo:
        """Go through the video once with the marked display.

        Raises:
            UserError: if the region holds no number.
            Cancelled: if ``report`` says so.
        """
        found = read_video(self.path, what, report=report)
        self.what, self.found = what, found
        return found

    def key(self, typed: Mapping[int, str]) -> FromVideo:
        """Take what a person reads on stills, by their number, and read the video with it.

        Raises:
            UserError: if nothing was watched yet, or what was keyed cannot be.
        """
        from counterproof.signals.video.formats import tidy_key

        if self.found is None or self.what is None:
            raise UserError(text("workshop.not_watched"))
        for still in self.found.sheet.stills:
            if typed.get(still.number, "").strip():
                still.typed = tidy_key(typed[still.number])
        self.found = read_again(self.found, self.what)
        return self.found

    def picture(self, number: int) -> bytes | None:
        """Return a still of the sheet as PNG, ``None`` if there is none of that number."""
        stills = self.found.sheet.stills if self.found is not None else []
        return next((s.png() for s in stills if s.number == number), None)

    def keep(self, bench: Bench, run: Run, report: Report = silent) -> tuple[Run, tuple[str, ...]]:
        """Store readings, clicks and the video as a run; return it with the warnings to show.

        Raises:
            UserError: if nothing can be read yet, or the bench refuses.
        """
        from counterproof.workshop.capture import add_run

        found = self.found
        if found is None or not found.readings:
            raise UserError(text("workshop.not_watched"))
        stored, warnings = add_run(
            bench,
            run,
            recordings=[self.path],
            readings=[r.log() for r in found.readings],
            hear=found.watched.video.has_sound,
            flashes=found.flashes,
            report=report,
        )
        return stored, (*warnings, *found.warnings)

    def discard(self) -> None:
        """Delete the copy."""
        shutil.rmtree(self.path.parent, ignore_errors=True)
