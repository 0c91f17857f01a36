"""The signals of a run as files: pulse trains packed, count and reading logs as JSON.

Every file is written whole or not at all, and named after its run.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np

from counterproof.bench.faults import plainly
from counterproof.bench.places import place
from counterproof.errors import UserError
from counterproof.progress import Report, silent, step
from counterproof.records import Signal
from counterproof.safefile import atomic_write
from counterproof.signals.pulsefile import read_pulses, write_pulses
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.texts import text

AnySignal = PulseTrain | CountLog | ReadingLog

_CHUNK = 1 << 22


def sha256_of(path: Path) -> str:
    """Return a file's SHA-256 in hexadecimal."""
    with plainly(path), path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def signal_name(stem: str, signal: AnySignal) -> str:
    """Return where a signal is stored, relative to the bench."""
    return f"pulses/{stem}.pulses" if isinstance(signal, PulseTrain) else f"logs/{stem}.json"


def recording_name(stem: str, source: Path) -> str:
    """Return where a recording's copy is stored, relative to the bench."""
    return f"recordings/{stem}{source.suffix.lower()}"


def store_signal(bench: Path, stem: str, signal: AnySignal, report: Report = silent) -> Signal:
    """Write a signal under ``bench`` and return its description.

    Args:
        bench: the bench's folder.
        stem: file name without suffix, such as ``"run-0001-1"``.
        signal: what was recorded.
        report: asked while a long train is written.

    Raises:
        UserError: if the disk refuses; nothing is left behind.
        Cancelled: if ``report`` answers ``False``.
    """
    name = signal_name(stem, signal)
    if isinstance(signal, PulseTrain):
        write_pulses(bench / name, signal, report=report)
        return Signal(
            form="pulse_train",
            file=name,
            sha256=sha256_of(bench / name),
            count=signal.count,
            duration_s=signal.duration_s,
        )
    body = json.dumps(_log_body(signal), ensure_ascii=False, indent=None).encode()
    with atomic_write(bench / name) as stream:
        stream.write(body)
    digest = hashlib.sha256(body).hexdigest()
    if isinstance(signal, CountLog):
        end = float(signal.starts_s[-1] + signal.durations_s[-1]) if signal.starts_s.size else 0.0
        return Signal(
            form="count_log", file=name, sha256=digest, count=signal.count, duration_s=end
        )
    return Signal(
        form="reading_log",
        file=name,
        sha256=digest,
        count=int(signal.values.size),
        duration_s=float(signal.times_s[-1]) if signal.times_s.size else 0.0,
        quantity=signal.quantity,
        unit=signal.unit,
        field=signal.field,  # type: ignore[arg-type]  # pydantic checks it
    )


def store_recording(bench: Path, stem: str, source: Path, report: Report = silent) -> Signal:
    """Copy a recording under ``bench``, reckoning its checksum on the way.

    Raises:
        UserError: if it cannot be read, or the disk refuses or has no room.
        Cancelled: if ``report`` answers ``False``; nothing is left behind.
    """
    with plainly(source):
        size = source.stat().st_size
    with plainly(bench):
        free = shutil.disk_usage(bench).free
    if size > free:
        raise UserError(text("bench.disk_full", path=bench))
    name = recording_name(stem, source)
    digest = hashlib.sha256()
    with plainly(source), source.open("rb") as stream, atomic_write(bench / name) as target:
        done = 0
        while chunk := stream.read(_CHUNK):
            digest.update(chunk)
            target.write(chunk)
            done += len(chunk)
            step(report, done, size)
    return Signal(
        form="recording",
        file=name,
        sha256=digest.hexdigest(),
        note=text("bench.copy_of", name=source.name),
    )


def load_signal(bench: Path, signal: Signal) -> AnySignal:
    """Read a stored signal back.

    Raises:
        UserError: if its file is missing, damaged or a recording (which a reader must decode).
    """
    path = place(bench, signal.file)
    if signal.form == "recording":
        raise UserError(text("bench.is_recording", file=signal.file))
    if not path.is_file():
        raise UserError(text("bench.file_missing", file=signal.file))
    if signal.form == "pulse_train":
        return read_pulses(path)
    with plainly(path):
        content = path.read_bytes()
    try:
        return _log_of(json.loads(content))
    except (ValueError, KeyError, TypeError):
        raise UserError(text("bench.file_damaged", file=signal.file)) from None


def _log_body(log: CountLog | ReadingLog) -> dict[str, Any]:
    body: dict[str, Any] = {"version": 1, "warnings": list(log.warnings)}
    if isinstance(log, CountLog):
        return body | {
            "form": "count_log",
            "starts_s": log.starts_s.tolist(),
            "durations_s": log.durations_s.tolist(),
            "counts": log.counts.tolist(),
        }
    return body | {
        "form": "reading_log",
        "quantity": log.quantity,
        "unit": log.unit,
        "field": log.field,
        "quantum": log.quantum,
        "times_s": log.times_s.tolist(),
        "values": log.values.tolist(),
    }


def _log_of(body: dict[str, Any]) -> CountLog | ReadingLog:
    warnings = tuple(body["warnings"])
    if body["form"] == "count_log":
        return CountLog(
            np.asarray(body["starts_s"], dtype=np.float64),
            np.asarray(body["durations_s"], dtype=np.float64),
            np.asarray(body["counts"], dtype=np.int64),
            warnings=warnings,
        )
    return ReadingLog(
        np.asarray(body["times_s"], dtype=np.float64),
        np.asarray(body["values"], dtype=np.float64),
        quantity=body["quantity"],
        unit=body["unit"],
        field=body["field"],
        quantum=body["quantum"],
        warnings=warnings,
    )
