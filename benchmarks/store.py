"""Storing and reading ten million pulses, beside numpy's own files."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks import Row
from counterproof.signals.pulsefile import read_pulses, summary, write_pulses
from counterproof.signals.trains import PulseTrain

TITLE = "Ten million pulses on disk"


def _spent(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def measure() -> list[Row]:
    """Compare processor time and size with ``numpy.save`` and ``numpy.savez_compressed``."""
    times = np.cumsum(np.random.default_rng(7).exponential(1e-3, 10_000_000))
    train = PulseTrain(times, float(times[-1]))
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours = folder / "ours.pulses"
        stored = _spent(lambda: write_pulses(ours, train))
        read = _spent(lambda: read_pulses(ours))
        told = _spent(lambda: summary(ours))
        baselines: tuple[tuple[str, Path, Callable[[Path], object], Callable[[Path], object]], ...]
        baselines = (
            ("numpy.save", folder / "a.npy", lambda p: np.save(p, times), lambda p: np.load(p)),
            (
                "numpy.savez_compressed",
                folder / "a.npz",
                lambda p: np.savez_compressed(p, times=times),
                lambda p: np.load(p)["times"],
            ),
        )
        for label, path, save, load in baselines:
            theirs_stored = _spent(lambda p=path, s=save: (s(p), os.sync()))  # type: ignore[misc]
            theirs_read = _spent(lambda p=path, f=load: f(p))  # type: ignore[misc]
            size, theirs_size = ours.stat().st_size / 1e7, path.stat().st_size / 1e7
            rows += [
                _row("stored", label, stored, theirs_stored, "s"),
                _row("read", label, read, theirs_read, "s"),
                _row("size per pulse", label, size, theirs_size, "bytes"),
            ]
    note = "count and length only"
    rows.append(Row("told without unpacking", f"{told:.3f} s", f"read {read:.2f} s", "", note))
    return rows


def _row(what: str, label: str, ours: float, theirs: float, unit: str) -> Row:
    note = "processor time" if unit == "s" else "ours in steps of 1 µs"
    return Row(
        what, f"{ours:.2f} {unit}", f"{label} {theirs:.2f} {unit}", f"{theirs / ours:.2f}", note
    )
