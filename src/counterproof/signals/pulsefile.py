"""Pulse trains on disk: small, fast, checked, and readable after a crash.

What to use when: :func:`write_pulses` and :func:`read_pulses` for a whole train;
:class:`PulseWriter` while pulses arrive (every appended block is on the disk when ``append``
returns); :func:`summary` for count and length without unpacking; :func:`compact` after a live run,
because many small blocks take more room than few large ones.

The format (version 1, little endian) is written down in ``docs/formats.md``: times are whole
ticks (1 µs unless asked otherwise), a block holds the differences as 1-, 2-, 4- or 8-byte numbers,
shuffled by byte and packed with Zstandard; head and body of each block carry a CRC-32. Blocks do
not depend on each other, so a damaged one costs its own stretch, which becomes a gap.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.progress import Report, silent, step
from counterproof.safefile import atomic_write, sync_folder
from counterproof.signals.closing import Closing
from counterproof.signals.pulseblocks import (
    GAP,
    MAX_TICKS,
    NOTES,
    PULSES,
    Block,
    file_head,
    pack_block,
    pulse_block,
    read_blocks,
    read_file_head,
    ticks_of,
)
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text

TICKS_PER_S = 1_000_000
"""Default resolution: 1 µs, a twentieth of a sample of sound."""

_BLOCK_PULSES = 1 << 17


@dataclass(frozen=True)
class Summary:
    """What a pulse file holds, told without unpacking it.

    Args:
        count: number of pulses in complete blocks.
        duration_s: time up to which blocks reach.
        ticks_per_s: resolution of the times.
        notes: what the writer noted, as JSON.
        complete: no block is damaged or cut off.
    """

    count: int
    duration_s: float
    ticks_per_s: int
    notes: dict[str, Any]
    complete: bool


def _load(path: Path) -> memoryview:
    try:
        if path.is_dir():
            raise UserError(text("signals.is_directory", path=path))
        return memoryview(path.read_bytes())
    except FileNotFoundError:
        raise UserError(text("signals.not_found", path=path)) from None
    except PermissionError:
        raise UserError(text("signals.not_readable", path=path)) from None
    except (OSError, ValueError) as fault:
        raise UserError(text("signals.read_failed", path=path, reason=fault)) from None


def read_pulses(path: str | Path, report: Report = silent) -> PulseTrain:
    """Read all complete blocks of a pulse file.

    What is damaged becomes a gap and a warning.

    Raises:
        UserError: if the file is missing, unreadable, no pulse file, or written by a newer version.
        Cancelled: if ``report`` answers ``False``.
    """
    path = Path(path)
    data = _load(path)
    per_s, notes, at = read_file_head(path, data)
    times = np.empty(sum(block.count for block in read_blocks(data, at) if block.sound))
    filled = 0
    spans: list[tuple[int, int]] = []
    gaps: list[tuple[int, int]] = []
    whole, duration, last = True, 0, 0
    for block in read_blocks(data, at):
        whole = whole and block.at == at
        at = block.end
        step(report, at, len(data))
        if block.kind == NOTES:
            notes |= _read_notes(block)
            continue
        duration = max(duration, block.until)
        ticks = ticks_of(block) if block.kind == PULSES and block.sound else None
        if block.kind == GAP and block.sound:
            gaps.append((block.start, block.until))
        elif ticks is None or (ticks.size and ticks[0] < last):
            whole = False
        else:
            spans.append((block.start, block.until))
            np.divide(ticks, per_s, out=times[filled : filled + ticks.size])
            filled += ticks.size
            last = int(ticks[-1]) if ticks.size else last
    whole = whole and at == len(data)
    warnings = _sentences(notes)
    if not whole:
        warnings.append(text("signals.pulse_file_damaged", path=path, duration=duration / per_s))
    return PulseTrain(
        times_s=times[:filled],
        duration_s=duration / per_s,
        resolving_time_s=_number(notes, "resolving_time_s", 0.0),
        efficiency=_number(notes, "efficiency", 1.0),
        efficiency_u=_number(notes, "efficiency_u", 0.0),
        false_rate_per_s=_number(notes, "false_rate_per_s", 0.0),
        gaps_s=_all_gaps(spans, gaps, duration) / per_s,
        warnings=tuple(warnings),
    )


def _number(notes: dict[str, Any], name: str, default: float) -> float:
    value = notes.get(name, default)
    return float(value) if isinstance(value, int | float) else default


def _sentences(notes: dict[str, Any]) -> list[str]:
    found = notes.get("warnings", [])
    return [str(sentence) for sentence in found] if isinstance(found, list) else []


def _read_notes(block: Block) -> dict[str, Any]:
    if not block.sound:
        return {}
    try:
        found = json.loads(bytes(block.body))
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _all_gaps(
    spans: list[tuple[int, int]], gaps: list[tuple[int, int]], duration: int
) -> NDArray[np.float64]:
    """Join the noted gaps and the stretches that no block covers."""
    holes = list(gaps)
    reached = 0
    for start, until in sorted(spans):
        if start > reached:
            holes.append((reached, start))
        reached = max(reached, until)
    if reached < duration:
        holes.append((reached, duration))
    joined: list[list[int]] = []
    for start, until in sorted(holes):
        if joined and start <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], until)
        elif until > start:
            joined.append([start, until])
    return np.array(joined, dtype=np.float64).reshape(-1, 2)


def summary(path: str | Path) -> Summary:
    """Count the pulses of a file and tell its length without unpacking them.

    Raises:
        UserError: as :func:`read_pulses`.
    """
    path = Path(path)
    data = _load(path)
    per_s, notes, at = read_file_head(path, data)
    count = duration = 0
    whole = True
    for block in read_blocks(data, at):
        whole = whole and block.sound
        whole = whole and block.at == at
        at = block.end
        if block.kind == NOTES:
            notes |= _read_notes(block)
            continue
        duration = max(duration, block.until)
        count += block.count if block.kind == PULSES and block.sound else 0
    return Summary(count, duration / per_s, per_s, notes, whole and at == len(data))


def _to_ticks(times_s: NDArray[np.float64], per_s: int) -> NDArray[np.int64]:
    ticks = np.rint(np.asarray(times_s, dtype=np.float64) * per_s)
    if ticks.size and not (np.isfinite(ticks).all() and ticks[0] >= 0 and ticks[-1] < MAX_TICKS):
        raise ValueError("pulse times must be finite, not negative and below 2**53 ticks")
    return ticks.astype(np.int64)


def train_notes(train: PulseTrain) -> dict[str, Any]:
    """Return what a detection says of itself, as a pulse file notes it."""
    return {
        "resolving_time_s": train.resolving_time_s,
        "efficiency": train.efficiency,
        "efficiency_u": train.efficiency_u,
        "false_rate_per_s": train.false_rate_per_s,
        "warnings": list(train.warnings),
    }


def write_pulses(
    path: str | Path,
    train: PulseTrain,
    *,
    ticks_per_s: int = TICKS_PER_S,
    notes: Mapping[str, Any] | None = None,
    report: Report = silent,
) -> None:
    """Write a whole train, atomically: the old file stays until the new one is complete.

    Args:
        path: the file, replaced if it is there.
        train: the pulses; times are rounded to the nearest tick.
        ticks_per_s: resolution.
        notes: anything else that JSON can hold; found again by :func:`summary`.
        report: asked between blocks.

    Raises:
        UserError: if the place cannot be written.
        Cancelled: if ``report`` answers ``False``; the old file is untouched.
        ValueError: if a time exceeds 2**53 ticks.
    """
    ticks = _to_ticks(train.times_s, ticks_per_s)
    duration = round(train.duration_s * ticks_per_s)
    duration = max(duration, int(ticks[-1]) if ticks.size else 0)
    with atomic_write(path) as stream:
        stream.write(file_head(ticks_per_s, {**(notes or {}), **train_notes(train)}))
        for start, end in np.rint(train.gaps_s * ticks_per_s).astype(np.int64):
            stream.write(pack_block(GAP, int(start), int(end)))
        covered = 0
        for at in range(0, max(ticks.size, 1), _BLOCK_PULSES):
            part = ticks[at : at + _BLOCK_PULSES]
            last = at + _BLOCK_PULSES >= ticks.size
            until = duration if last else int(part[-1])
            stream.write(pulse_block(part, covered, until))
            covered = until
            step(report, min(at + _BLOCK_PULSES, ticks.size), ticks.size)


def compact(path: str | Path) -> None:
    """Rewrite a file that a live run left in many small blocks into few large ones.

    Raises:
        UserError: as :func:`read_pulses` and :func:`write_pulses`.
    """
    found = summary(path)
    write_pulses(path, read_pulses(path), ticks_per_s=found.ticks_per_s, notes=found.notes)


class PulseWriter(Closing):
    """Append pulses as they arrive; whatever ``append`` returned from survives a crash.

    Args:
        path: a new file, or with ``resume=True`` one that is carried on after its last complete
            block.
        ticks_per_s: resolution of a new file.
        notes: anything that JSON can hold, for the head of a new file.
        resume: carry on with an existing file.

    Raises:
        UserError: if the file is there already (without ``resume``), is no pulse file (with it),
            or cannot be written.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        ticks_per_s: int = TICKS_PER_S,
        notes: Mapping[str, Any] | None = None,
        resume: bool = False,
    ) -> None:
        """Create the file with its head, or find the end of an existing one."""
        self.path = Path(path)
        self._per_s = ticks_per_s
        self._reached = 0
        self._last = 0
        if resume:
            self._stream = self._carry_on()
        else:
            self._stream = self._begin(notes or {})

    def _begin(self, notes: Mapping[str, Any]) -> BinaryIO:
        try:
            stream = self.path.open("xb", buffering=0)
            stream.write(file_head(self._per_s, notes))
            os.fsync(stream.fileno())
            sync_folder(self.path.parent)
        except FileExistsError:
            raise UserError(text("signals.pulse_file_exists", path=self.path)) from None
        except OSError as fault:
            raise self._unwritable(fault) from fault
        return stream

    def _carry_on(self) -> BinaryIO:
        data = _load(self.path)
        self._per_s, _, end = read_file_head(self.path, data)
        for block in read_blocks(data, end):
            end = block.end
            self._reached = max(self._reached, block.until)
            self._last = max(self._last, block.start)
            ticks = ticks_of(block) if block.kind == PULSES and block.sound else None
            if ticks is not None and ticks.size:
                self._last = max(self._last, int(ticks[-1]))
        try:
            stream = self.path.open("r+b", buffering=0)
            stream.truncate(end)
            stream.seek(end)
        except OSError as fault:
            raise self._unwritable(fault) from fault
        return stream

    def _unwritable(self, fault: OSError) -> UserError:
        reason = fault.strerror or str(fault)
        return UserError(text("files.not_writable", path=self.path, reason=reason))

    @property
    def reached_s(self) -> float:
        """Time up to which the file covers the run, in seconds."""
        return self._reached / self._per_s

    def append(self, times_s: NDArray[np.float64], until_s: float) -> None:
        """Write the pulses of the stretch that ends at ``until_s``; on the disk on return.

        Args:
            times_s: ascending, none before the last pulse written; may be empty.
            until_s: end of the stretch that has been listened to; never before the last one.

        Raises:
            ValueError: if times step back.
            UserError: if the disk refuses.
        """
        ticks = _to_ticks(times_s, self._per_s)
        until = max(round(until_s * self._per_s), self._reached)
        if ticks.size:
            if ticks[0] < self._last or bool((np.diff(ticks) < 0).any()):
                raise ValueError("pulse times must ascend from block to block")
            until = max(until, int(ticks[-1]))
        start = min(self._reached, int(ticks[0])) if ticks.size else self._reached
        for at in range(0, max(ticks.size, 1), _BLOCK_PULSES):
            part = ticks[at : at + _BLOCK_PULSES]
            end = until if at + part.size == ticks.size else int(part[-1])
            self._put(pulse_block(part, start, end))
            start = self._reached = end
            self._last = int(part[-1]) if part.size else self._last

    def gap(self, start_s: float, end_s: float) -> None:
        """Note that nothing could be heard from ``start_s`` to ``end_s``.

        Raises:
            ValueError: if the gap ends before it starts.
            UserError: if the disk refuses.
        """
        start, end = round(start_s * self._per_s), round(end_s * self._per_s)
        if not 0 <= start <= end:
            raise ValueError("a gap must not end before it starts")
        self._put(pack_block(GAP, start, end))
        self._reached = max(self._reached, end)

    def note(self, notes: Mapping[str, Any]) -> None:
        """Add notes; later ones win (``resolving_time_s``, ``efficiency``, ``warnings``, …)."""
        body = json.dumps(dict(notes), ensure_ascii=False, sort_keys=True).encode()
        self._put(pack_block(NOTES, self._reached, self._reached, body=body))

    def _put(self, block: bytes) -> None:
        try:
            view = memoryview(block)
            while view:
                view = view[self._stream.write(view) :]
            os.fsync(self._stream.fileno())
        except OSError as fault:
            raise self._unwritable(fault) from fault

    def close(self) -> None:
        """Close the file; nothing is pending."""
        self._stream.close()
