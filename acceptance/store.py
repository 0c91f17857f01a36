"""The bench on disk: killed while writing, and a run of ten million pulses."""

from __future__ import annotations

import datetime as dt
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

import numpy as np

from acceptance import Row
from acceptance._store_worker import RATE_PER_S
from counterproof.bench import Bench, check
from counterproof.counting.poisson import counts_limits
from counterproof.kit import Instrument
from counterproof.records import Run
from counterproof.signals.trains import PulseTrain

TITLE = "The bench on disk"
SEED = 20260131
LONGEST_S = 0.8


def measure(quick: bool = False) -> list[Row]:
    """Kill a writer 50 times (5 when quick) and store and open a long run."""
    with tempfile.TemporaryDirectory() as folder:
        rows = _killed(Path(folder) / "killed", 5 if quick else 50)
        rows += _long(Path(folder) / "long", quick)
    return rows


def _killed(folder: Path, times: int) -> list[Row]:
    with Bench.create(folder) as bench:
        bench.add(Instrument(name="Lantern"))
    generator = np.random.default_rng(SEED)
    kinds: Counter[str] = Counter()
    healthy = kept = 0
    worst = 0.0
    for seed in range(times):
        promised = _run_and_kill(folder, seed, float(generator.uniform(0.0, LONGEST_S)))
        kinds.update(kind for kind, _, _ in promised)
        with Bench.open(folder) as bench:
            report = check(bench)
            healthy += report.ok and not report.notes
            lost, missing = _compare(bench, promised)
        worst = max(worst, lost)
        kept += not missing
    told = ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()))
    return [
        Row(
            "kill -9 at random instants: opens, check passes without a remark",
            f"{times} of {times}",
            f"{healthy} of {times}",
            healthy == times,
            f"0–{LONGEST_S} s after the first write, one bench throughout",
        ),
        Row(
            "everything whose storing had been confirmed is there",
            f"{times} of {times}",
            f"{kept} of {times}",
            kept == times,
            f"confirmed: {told}",
        ),
        Row(
            "pulses of a live run lost by a kill",
            "at most 1 s",
            f"{worst:.2f} s",
            worst <= 1.0,
            "worst case, from what had been handed over",
        ),
    ]


def _run_and_kill(folder: Path, seed: int, delay_s: float) -> list[tuple[str, str, float]]:
    """Start the writer, kill it and return what it had been promised."""
    command = [sys.executable, "-m", "acceptance._store_worker", str(folder), str(seed)]
    lines: list[str] = []
    root = Path(__file__).parents[1]
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=root, env=environment
    ) as process:
        assert process.stdout is not None
        lines.append(process.stdout.readline())
        reader = threading.Thread(target=lambda: lines.extend(process.stdout))  # type: ignore[arg-type]
        reader.start()
        time.sleep(delay_s)
        process.send_signal(signal.SIGKILL)
        reader.join()
    whole = [line.split() for line in lines if line.endswith("\n")]
    if not whole:
        raise RuntimeError("the writer died before it wrote anything")
    return [(kind, name, float(amount)) for kind, name, amount in whole]


def _compare(bench: Bench, promised: list[tuple[str, str, float]]) -> tuple[float, list[str]]:
    """Return the longest stretch of live pulses lost and the names of what is missing."""
    missing = []
    lost = 0.0
    revisions = {name: amount for kind, name, amount in promised if kind == "item"}
    for name, number in revisions.items():
        if bench.history(Instrument, name)[-1].number < number:
            missing.append(name)
    for kind, name, amount in promised:
        if kind == "run" and bench.load_train(name).count != amount:
            missing.append(name)
    (live,) = {name for kind, name, _ in promised if kind == "live"}
    handed = max(amount for kind, _, amount in promised if kind == "live")
    run = bench.get(Run, live)
    if not run.interrupted:
        missing.append(live)
    if run.signals:
        train = bench.load_train(run)
        lost = handed - train.duration_s
        if abs(train.count - train.duration_s * RATE_PER_S) > 1:
            missing.append(live)
    else:
        lost = handed
    return lost, missing


def _long(folder: Path, quick: bool) -> list[Row]:
    """Time a long run; the suite (quick) shares its cores: there processor time alone judges."""
    times = np.cumsum(np.random.default_rng(SEED).exponential(1e-3, 10_000_000))
    train = PulseTrain(times, float(times[-1]))
    with Bench.create(folder) as bench:
        bench.add(Instrument(name="Lantern"))
        run = Run(id="", instrument="Lantern", started_utc=dt.datetime.now(dt.UTC), duration_s=0)
        start, used = time.perf_counter(), time.process_time()
        stored = bench.add_run(run, [train])
        storing, storing_cpu = time.perf_counter() - start, time.process_time() - used
    start, used = time.perf_counter(), time.process_time()
    with Bench.open(folder) as bench:
        back = bench.load_train(bench.list(Run)[0])
        low, high = (float(x) for x in counts_limits(back.count))
        counts = np.bincount(back.times_s.astype(np.int64))
        dispersion = counts.var(ddof=1) / counts.mean()
    opening, opening_cpu = time.perf_counter() - start, time.process_time() - used
    size = (folder / stored.signals[0].file).stat().st_size / back.count
    assert back.count == train.count
    assert float(np.abs(back.times_s - times).max()) <= 0.51e-6
    told = (
        f"rate {back.count / back.live_s:.1f}/s "
        f"({low / back.live_s:.1f} … {high / back.live_s:.1f}), "
        f"index of dispersion of {counts.size} seconds {dispersion:.3f}"
    )
    return [
        Row(
            "ten million pulses stored",
            "under 5 s",
            f"{storing:.2f} s ({storing_cpu:.2f} s of processor)",
            (storing_cpu if quick else storing) < 5.0,
            f"{size:.2f} bytes a pulse at 1000/s, checksum included",
        ),
        Row(
            "ten million pulses opened and summarised",
            "under 1 s",
            f"{opening:.2f} s ({opening_cpu:.2f} s of processor)",
            (opening_cpu if quick else opening) < 1.0,
            told,
        ),
    ]
