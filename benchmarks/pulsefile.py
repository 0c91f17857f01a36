"""The pulse file against NumPy's own compressed file, in the same run."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks import Row
from counterproof.signals.pulsefile import read_pulses, write_pulses
from counterproof.signals.trains import PulseTrain

TITLE = "Pulse files"


def _spent(work: Callable[[], object], rounds: int = 3) -> float:
    best = float("inf")
    for _ in range(rounds):
        begin = time.process_time()
        work()
        best = min(best, time.process_time() - begin)
    return best


def measure() -> list[Row]:
    """Store and open two million pulses at 100/s."""
    times = np.cumsum(np.random.default_rng(3).exponential(0.01, 2_000_000))
    train = PulseTrain(times, float(times[-1]))
    ticks = np.rint(times * 1e6).astype(np.int64)  # the same resolution for both
    with tempfile.TemporaryDirectory() as name:
        ours, theirs = Path(name) / "a.pulses", Path(name) / "a.npz"
        write = _spent(lambda: write_pulses(ours, train))
        write_base = _spent(lambda: np.savez_compressed(theirs, ticks=ticks), rounds=1)
        read = _spent(lambda: read_pulses(ours))
        read_base = _spent(lambda: np.load(theirs)["ticks"] / 1e6)
        size, size_base = ours.stat().st_size, theirs.stat().st_size
    base = "numpy.savez_compressed"
    return [
        Row("store 2·10⁶ pulses", f"{write:.3f} s", f"{write_base:.3f} s ({base})",
            f"{write_base / write:.1f} × faster"),
        Row("open 2·10⁶ pulses", f"{read:.3f} s", f"{read_base:.3f} s ({base})",
            f"{read_base / read:.1f} × faster", "ours checks every block and the order"),
        Row("bytes per pulse", f"{size / times.size:.2f}", f"{size_base / times.size:.2f} ({base})",
            f"{size_base / size:.1f} × smaller"),
    ]  # fmt: skip
