"""The invented Hollow Lane story, told through the same path as anybody's recordings.

``simulate`` writes real sound files and reading logs; they are detected, stored, compared and
gathered by the use cases that serve every bench. Every run carries ``simulated``.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument, loads_item
from counterproof.progress import Report, silent
from counterproof.records import Outcome, Publication
from counterproof.simulate import hollow_lane
from counterproof.texts import text
from counterproof.trials.criteria import DEFAULT_PROFILE, profile
from counterproof.workshop.capture import add_run
from counterproof.workshop.demo_after import PAUSE, READINGS, SUBJECT, finish, run_of
from counterproof.workshop.findings import draw_findings, keep_findings
from counterproof.workshop.judging import judge_all
from counterproof.workshop.publishing import publication_of

FIRST_RUN = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
BUILT = datetime(2026, 3, 18, 18, 0, tzinfo=UTC)

TABLES = {
    "sound": READINGS,
    "register": replace(READINGS, role="dose", unit="µSv", field="accumulated", quantum=0.001),
    "counts": replace(READINGS, role="counts", unit="", interval_s=60.0),
}
"""What the columns mean of the tables that are kept of a run."""

Stage = Callable[[str], Report]


@dataclass(frozen=True)
class Told:
    """What the demonstration left behind; ``untold`` says what of the story failed."""

    folder: Path
    outcomes: tuple[Outcome, ...]
    publication: Publication
    untold: tuple[str, ...] = ()


def tell(folder: Path, stage: Stage = lambda _: silent, seed: int = hollow_lane.SEED) -> Told:
    """Make the bench of the Hollow Lane workshop, judge Lantern and gather its dossier.

    Args:
        folder: a new or empty folder, or one that an earlier demonstration made.
        stage: called with the words for each stage; gives the report for its progress.
        seed: another seed tells the same story with other counts.

    Raises:
        UserError: if the folder holds something else.
        Cancelled: if a report says so.
    """
    _clear(folder)
    with Bench.create(folder, hollow_lane.PLACE) as bench, TemporaryDirectory() as scratch:
        kit = sorted(files(__package__).joinpath("hollow_lane").iterdir(), key=lambda p: p.name)
        with bench.transaction():
            for item in kit:
                bench.add(loads_item(item.read_text(encoding="utf-8"), item.name))
        recording = stage(text("demo.recording"))
        written = hollow_lane.write_runs(scratch, seed=seed, report=recording)
        listening = stage(text("demo.listening"))
        total = int(sum(w.run.duration_s for w in written if w.audio))
        heard, start = 0.0, FIRST_RUN
        for each in written:
            listening(int(heard), total)
            tables = [t for t in (each.readings, each.counts) if t is not None]
            add_run(
                bench,
                run_of(each.run, start),
                recordings=[each.audio] if each.audio else [],
                tables=[(t, TABLES[each.run.kept]) for t in tables],
            )
            heard += each.run.duration_s if each.audio else 0.0
            start += timedelta(seconds=each.run.duration_s) + PAUSE
        listening(total, total)
        outcomes = judge_all(bench, SUBJECT, report=stage(text("demo.judging")))
        keep_findings(bench, draw_findings(bench, SUBJECT, stage(text("demo.weighing"))))
        untold = finish(bench, stage, start, seed)
        content = publication_of(
            bench, SUBJECT, built=BUILT, profile_title=profile(DEFAULT_PROFILE).title
        )
    return Told(folder, tuple(o for o in outcomes if o.runs), content, untold)


def _clear(folder: Path) -> None:
    """Remove an earlier demonstration; refuse to touch anything else."""
    if not folder.exists() or not any(folder.iterdir()):
        return
    try:
        with Bench.open(folder, write=False) as old:
            ours = old.name == hollow_lane.PLACE and all(
                i.name in hollow_lane.COUNTERS for i in old.list(Instrument)
            )
    except UserError:
        ours = False
    if not ours:
        raise UserError(text("demo.not_ours", folder=folder))
    shutil.rmtree(folder)
