"""Running the Monte Carlo: chunks on threads, adaptive until the wanted precision.

A point (one energy, one source) is a pilot run that learns the importance, then rounds of chunks
of equal size. Every chunk has its own stream and its own shift of the low-discrepancy sequence, so
the scatter of the chunks is the statistical uncertainty. The compiled code releases the
interpreter; threads share nothing but the tables.
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from counterproof.physics.tube import history_kernel, source_kernel
from counterproof.physics.tube.cells import fine, learned, with_reach
from counterproof.physics.tube.geometry import Tube, grid
from counterproof.physics.tube.layout import Array, Grid, Tables
from counterproof.physics.tube.source_kernel import BEAM, Source
from counterproof.physics.tube.stream import stream_key
from counterproof.physics.tube.tables import Settings, tables
from counterproof.progress import Report, silent, step

CHUNKS = 16
PILOT = 600
_FIRST = 400  # histories per chunk in the first round


@dataclass(frozen=True)
class Score:
    """What one point gives: per particle (disc) or in cm² (beam, rotation).

    Args:
        counts: mean score of counts.
        u_counts: its statistical standard uncertainty.
        entries: mean score of electrons of at least 1 keV entering or starting in the gas.
        u_entries: its statistical standard uncertainty.
        histories: source particles followed.
        cpu_s: processor time used.
    """

    counts: float
    u_counts: float
    entries: float
    u_entries: float
    histories: int
    cpu_s: float


@dataclass(frozen=True)
class Body:
    """A tube made ready for the compiled code."""

    tube: Tube
    grid: Grid
    tables: Tables


def body(tube: Tube, settings: Settings | None = None) -> Body:
    """Cut the tube into cells and tabulate its materials."""
    t = tables(tube.materials, settings or Settings())
    return Body(tube, with_reach(grid(tube), t), t)


def beam(b: Body, energy_kev: float, angle_deg: float = 90.0, electrons: bool = False) -> Source:
    """A parallel beam at an angle to the axis."""
    return Source(
        BEAM, int(electrons), np.array([energy_kev]), np.array([1.0]), math.radians(angle_deg),
        float(b.grid.r[-1]), float(b.grid.z[0]), float(b.grid.z[-1]), 0.0, 0.0, 0.0, 0,
    )  # fmt: skip


def workers() -> int:
    """Threads to use: ``COUNTERPROOF_THREADS`` or the processors this process may run on."""
    given = os.environ.get("COUNTERPROOF_THREADS", "")
    if given.isdigit() and int(given) > 0:
        return int(given)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def simulate(
    b: Body,
    source: Source,
    *,
    enough: Callable[[float, float], bool],
    seed: int = 1,
    sites: int = 2,
    rounds: int = 12,
    limit: int = 50_000_000,
) -> Score:
    """Follow source particles until ``enough(mean, u)``; one thread, same result everywhere.

    Args:
        b: the tube.
        source: where the particles come from.
        enough: told mean and standard uncertainty of the counts; true ends the run.
        seed: of the streams.
        sites: collisions made per source photon.
        rounds: at most so many rounds.
        limit: at most so many histories.
    """
    began = time.thread_time()
    top = float(source.energy.max())
    cells, importance = fine(b.grid, b.tables, top)
    tag = int(1e3 * top) ^ (source.kind << 40) ^ (source.kind_of_particle << 44)
    learn = np.zeros((*importance.shape, 2))
    scratch = np.zeros(5)
    if source.kind_of_particle == 0:
        for pilot in range(2):
            history_kernel.run_chunk(
                b.grid, cells, b.tables, importance, source, stream_key(seed, tag, 1 << 30, pilot),
                PILOT // 3 if pilot == 0 else PILOT, sites, learn, scratch,
            )  # fmt: skip
            importance = learned(importance, learn, 0.02)
    sums = np.zeros((0, 5))
    means = np.zeros((0, 3))
    size = _FIRST
    for turn in range(rounds):
        for chunk in range(CHUNKS):
            total = np.zeros(5)
            history_kernel.run_chunk(
                b.grid, cells, b.tables, importance, source, stream_key(seed, tag, turn, chunk),
                size, sites, learn, total,
            )  # fmt: skip
            means = np.vstack([means, [total[0] / size, total[1] / size, size]])
            sums = np.vstack([sums, total])
        count, u_count, entry, u_entry = _pooled(means)
        done = int(means[:, 2].sum())
        if enough(count, u_count) or done >= limit:
            break
        # how many more: from the uncertainty so far, at most four times what is done
        grow = 1.0
        for _ in range(12):
            if enough(count, u_count / math.sqrt(1.0 + grow)):
                break
            grow *= 1.3
            if grow > 4.0:
                break
        size = max(64, math.ceil(grow * done / CHUNKS))
    return Score(
        count, u_count, entry, u_entry, int(means[:, 2].sum()), time.thread_time() - began
    )


def _pooled(means: Array) -> tuple[float, float, float, float]:
    """Weighted mean and uncertainty of chunks of unequal size."""
    n = means[:, 2]
    share = n / n.sum()
    out: list[float] = []
    for column in (0, 1):
        x = means[:, column]
        mean = float(share @ x)
        # Var(chunk) = σ²/n: σ² from the weighted squares, then σ²/N
        sigma2 = float((n * (x - mean) ** 2).sum()) / max(x.size - 1, 1)
        out += [mean, math.sqrt(sigma2 / n.sum())]
    return out[0], out[1], out[2], out[3]


def simulate_many(
    b: Body,
    sources: Sequence[Source],
    *,
    enough: Callable[[float, float], bool],
    seed: int = 1,
    sites: int = 2,
    report: Report = silent,
) -> list[Score]:
    """Many points on all threads, in the order given.

    Raises:
        Cancelled: if ``report`` says so.
    """
    out: list[Score] = []
    with ThreadPoolExecutor(workers()) as pool:
        jobs = [
            pool.submit(simulate, b, s, enough=enough, seed=seed, sites=sites) for s in sources
        ]
        try:
            for k, job in enumerate(jobs):
                out.append(job.result())
                step(report, k + 1, len(jobs))
        except BaseException:
            for job in jobs:
                job.cancel()
            raise
    return out


__all__ = ["Body", "Score", "beam", "body", "simulate", "simulate_many", "source_kernel", "workers"]
