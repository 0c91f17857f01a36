"""A recording that belongs to no bench: its clicks, counted."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from counterproof.errors import UserError
from counterproof.progress import Report, silent
from counterproof.records import Measured, PulsesReport
from counterproof.signals.audio import open_audio
from counterproof.signals.clicks import ClickShape, detect_clicks, learn_shape
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text
from counterproof.trials.levels import pulse_rate


def train_of_file(
    path: Path,
    *,
    channel: int | None = None,
    taught: ClickShape | None = None,
    report: Report = silent,
) -> PulseTrain:
    """Return the clicks of a recording as a pulse train.

    Args:
        path: recording or video with sound.
        channel: which channel to hear, counted from 0; the mean of all when ``None``.
        taught: a click shape learned elsewhere, for a recording with few clicks.
        report: progress.

    Raises:
        UserError: if the file cannot be read as sound.
        Cancelled: if ``report`` says so.
    """
    with open_audio(path, channel=channel) as recording:
        expected = round((recording.duration_s or 0.0) * recording.sample_rate_hz)
        found = detect_clicks(
            recording.blocks(),
            recording.sample_rate_hz,
            taught=taught,
            report=report,
            total_samples=expected,
        ).train
        gaps, warnings = recording.gaps_s, tuple(recording.warnings)
    if not gaps.size and not warnings:
        return found
    inside = np.zeros(found.times_s.size, dtype=bool)
    for start, end in gaps:
        inside |= (found.times_s >= start) & (found.times_s < end)
    return PulseTrain(
        found.times_s[~inside],
        found.duration_s,
        found.resolving_time_s,
        found.efficiency,
        found.efficiency_u,
        found.false_rate_per_s,
        np.concatenate([found.gaps_s.reshape(-1, 2), gaps.reshape(-1, 2)]),
        (*found.warnings, *warnings),
    )


def taught_shape(path: Path) -> ClickShape:
    """Return the click shape learned from a teaching run, for example near a source.

    Raises:
        UserError: if the file cannot be read as sound or holds no clicks to learn from.
    """
    with open_audio(path) as recording:
        learned = learn_shape(recording.blocks(), recording.sample_rate_hz)
    if not learned.shapes:
        raise UserError(text("workshop.nothing_to_learn", path=path))
    return learned.shapes[0]


def pulses_of_file(
    path: Path,
    *,
    channel: int | None = None,
    taught: ClickShape | None = None,
    report: Report = silent,
) -> PulsesReport:
    """Count the clicks of a recording and say how sure the rate is.

    Raises:
        UserError: if the file cannot be read as sound.
        Cancelled: if ``report`` says so.
    """
    train = train_of_file(path, channel=channel, taught=taught, report=report)
    return pulses_report(path, train)


def pulses_report(path: Path, train: PulseTrain) -> PulsesReport:
    """Return the record of a pulse train found in ``path``.

    Nothing found with a warning is not a rate of zero: the rate is left open.
    """
    silent_file = train.count == 0 and bool(train.warnings)
    rate = None if silent_file else Measured.of(pulse_rate(train))
    return PulsesReport(
        file=str(path),
        count=train.count,
        duration_s=train.duration_s,
        live_s=train.live_s,
        rate_per_s=rate,
        resolving_time_s=train.resolving_time_s,
        efficiency=train.efficiency,
        efficiency_u=train.efficiency_u,
        false_rate_per_s=train.false_rate_per_s,
        times_s=[round(float(t), 6) for t in train.times_s],
        warnings=list(train.warnings),
    )
