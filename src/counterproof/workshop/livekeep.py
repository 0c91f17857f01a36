"""What happens to a live run's sound: kept as recordings, or used to mend what a crash cut off."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from counterproof.bench import Bench
from counterproof.bench.livesound import BEHIND_S, Piece, discard, pieces, stretches
from counterproof.progress import Report, silent, step
from counterproof.records import Run
from counterproof.signals.pulsefile import train_notes
from counterproof.signals.trains import PulseTrain


def keep_sound(bench: Bench, run: Run) -> Run:
    """Pack a live run's sound without loss and attach it to the run, a file per stretch.

    Raises:
        UserError: if the disk refuses; the pieces stay then.
    """
    import soundfile

    groups = stretches(pieces(bench.folder, run.id))
    if not groups:
        return run
    with TemporaryDirectory() as scratch:
        files = []
        for number, group in enumerate(groups):
            path = Path(scratch) / f"{number}.flac"
            with soundfile.SoundFile(
                path, "w", group[0].sample_rate_hz, 1, subtype="PCM_16", format="FLAC"
            ) as packed:
                for piece in group:
                    packed.write(piece.read())
            files.append(path)
        run = bench.attach_recordings(run.id, files)
    discard(bench.folder, run.id)
    return run


def drop_sound(bench: Bench, run: Run) -> Run:
    """Delete a live run's sound; what it gave is counted."""
    discard(bench.folder, run.id)
    return run


def interrupted_runs(bench: Bench) -> list[Run]:
    """Return the runs that were cut off."""
    return [r for r in bench.list(Run) if r.interrupted]


def recover(bench: Bench, run_id: str, report: Report = silent) -> Run:
    """Count what a crash left uncounted, from the sound on the disk; the run stays interrupted.

    Raises:
        UserError: if the run was not interrupted or the disk refuses.
        Cancelled: if ``report`` says so; it can be done again.
    """
    from counterproof.signals.clicks import detect_clicks

    live = bench.resume_live(run_id)
    try:
        groups = stretches(pieces(bench.folder, run_id))
        for done, group in enumerate(groups):
            step(report, done, len(groups))
            used = _needed(group, live.reached_s)
            if not used:
                continue
            samples = np.concatenate([p.read() for p in used])
            train = detect_clicks(samples, used[0].sample_rate_hz).train
            if train.count == 0 and train.warnings:
                continue  # no click was learned: nothing can be said of this stretch
            start, end = used[0].start_s, used[-1].end_s
            reached = live.reached_s
            if start > reached + 0.5:
                live.gap(reached, start)
            times = train.times_s + start
            live.append(times[times > reached + train.resolving_time_s], end)
            live.note(train_notes(train))
    finally:
        live.abandon()
    return bench.get(Run, run_id)


def _needed(group: list[Piece], reached_s: float) -> list[Piece]:
    """The pieces that reach beyond what is counted, and some before to learn from."""
    if group[-1].end_s <= reached_s + 0.05:
        return []
    return [p for p in group if p.end_s > reached_s - BEHIND_S and p.samples]


def close_interrupted(bench: Bench, run_id: str, with_sound: bool = True) -> Run:
    """End an interrupted run with what there is.

    Raises:
        UserError: if it was not interrupted or the disk refuses.
    """
    run = bench.resume_live(run_id).finish()
    return keep_sound(bench, run) if with_sound else drop_sound(bench, run)


def earlier_train(bench: Bench, run: Run) -> PulseTrain | None:
    """Return what was counted of an interrupted run, ``None`` if nothing was."""
    if not any(s.form == "pulse_train" for s in run.signals):
        return None
    return replace(bench.load_train(run), warnings=())
