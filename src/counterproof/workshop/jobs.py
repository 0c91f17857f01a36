"""Long work in the background of a face that must go on answering: progress, cancel, result."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count
from typing import Literal

from counterproof.errors import Cancelled, UserError
from counterproof.progress import Report
from counterproof.texts import text
from counterproof.workshop.logbook import LOGGER

State = Literal["working", "done", "failed", "stopped"]
_KEPT = 50


@dataclass(eq=False)
class Job:
    """One piece of work.

    Args:
        number: from 1.
        title: what is being done, in words.
        origin: the path of the page on which it can be asked for again; may be empty.
        done: how far, out of ``total``.
        total: 0 while unknown.
        state: how it stands.
        result: where the result is shown: the path of a page; empty until done.
        sentence: what went wrong.
    """

    number: int
    title: str
    origin: str = ""
    done: int = 0
    total: int = 0
    state: State = "working"
    result: str = ""
    sentence: str = ""
    began: float = field(default_factory=time.monotonic)
    _cancel: threading.Event = field(default_factory=threading.Event)

    def report(self, done: int, total: int) -> bool:
        """Take progress; ``False`` when the person wants to stop."""
        self.done, self.total = done, total
        return not self._cancel.is_set()

    def cancel(self) -> None:
        """Ask the work to stop at its next chance."""
        self._cancel.set()

    @property
    def share(self) -> float | None:
        """How much is done, 0 to 1; ``None`` while unknown."""
        return min(1.0, self.done / self.total) if self.total else None

    @property
    def left_s(self) -> float | None:
        """Seconds that it will still take at this pace; ``None`` while unknown."""
        if not self.share or self.share < 0.02:
            return None
        return (time.monotonic() - self.began) * (1.0 - self.share) / self.share


class Jobs:
    """Runs one piece of work after another, in a thread."""

    def __init__(self) -> None:
        """Begin with nothing to do."""
        self._numbers = count(1)
        self._jobs: dict[int, Job] = {}
        self._turn = threading.Lock()

    def start(self, title: str, work: Callable[[Report], str], origin: str = "") -> Job:
        """Start ``work(report)``, which returns the path of the page that shows its result."""
        job = Job(next(self._numbers), title, origin)
        self._jobs[job.number] = job
        for old in list(self._jobs)[:-_KEPT]:
            if self._jobs[old].state != "working":
                del self._jobs[old]
        threading.Thread(target=self._run, args=(job, work), name=title, daemon=True).start()
        return job

    def get(self, number: int) -> Job | None:
        """Return a job, ``None`` if it is no longer known."""
        return self._jobs.get(number)

    def working(self) -> list[Job]:
        """Return what is being done now."""
        return [j for j in self._jobs.values() if j.state == "working"]

    def stop(self) -> None:
        """Ask everything to stop."""
        for job in self.working():
            job.cancel()

    def _run(self, job: Job, work: Callable[[Report], str]) -> None:
        try:
            with self._turn:
                job.began = time.monotonic()
                job.result = work(job.report)
            job.state = "done"
        except UserError as error:
            job.sentence, job.state = error.message, "failed"
        except Cancelled:
            job.sentence, job.state = text("cli.stopped"), "stopped"
        except Exception:  # noqa: BLE001  the last resort of a thread: logged whole
            LOGGER.exception("defect in: %s", job.title)
            job.sentence, job.state = text("workshop.job_defect"), "failed"
