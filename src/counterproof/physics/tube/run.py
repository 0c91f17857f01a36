"""Running the Monte Carlo: chunks on threads, adaptive until the wanted precision.

A point (one energy, one source) is a few strata, each run in rounds of chunks of equal size. Every
chunk has its own stream and its own shift of the low-discrepancy sequence, so the scatter of the
chunks is the statistical uncertainty. The compiled code releases the interpreter; threads share
nothing but the tables.
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from counterproof.physics.tube import direct_kernel, history_kernel, source_kernel
from counterproof.physics.tube.cells import electron_range, fine, with_reach
from counterproof.physics.tube.geometry import Tube, grid
from counterproof.physics.tube.layout import GAS, HC, MC2, Array, Grid, Tables
from counterproof.physics.tube.source_kernel import BEAM, DISC, ROTATION, Source
from counterproof.physics.tube.stream import stream_key
from counterproof.physics.tube.tables import Settings, tables
from counterproof.progress import Report, silent, step

CHUNKS = 16
PLACES = 8
"""How often each electron path is laid into the wall."""
_RAY_COST, _PATH_COST = 12.0, 16.0  # µs, as measured; only their ratio steers the work
_MOST_RAYS, _MOST_PATHS = 4_000_000, 4_000_000


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


def beam(
    b: Body, energy_kev: float, angle_deg: float | None = 90.0, electrons: bool = False
) -> Source:
    """A parallel beam at an angle to the axis, or (``None``) a field that turns."""
    return Source(
        ROTATION if angle_deg is None else BEAM, int(electrons), np.array([energy_kev]),
        np.array([1.0]), math.radians(angle_deg or 0.0), float(b.grid.r[-1]), float(b.grid.z[0]),
        float(b.grid.z[-1]), 0.0, 0.0, 0.0, 0,
    )  # fmt: skip


def disc(
    b: Body,
    energy_kev: float,
    x_cm: float,
    z_cm: float,
    radius_cm: float = 0.0,
    end_on: bool = False,
    electrons: bool = False,
) -> Source:
    """A disc (or point) beside the tube at ``x_cm`` from the axis, or in front of an end."""
    return Source(
        DISC, int(electrons), np.array([energy_kev]), np.array([1.0]), 0.0, float(b.grid.r[-1]),
        float(b.grid.z[0]), float(b.grid.z[-1]), x_cm, z_cm, radius_cm, int(end_on),
    )  # fmt: skip


def workers() -> int:
    """Threads to use: ``COUNTERPROOF_THREADS`` or the processors this process may run on."""
    given = os.environ.get("COUNTERPROOF_THREADS", "")
    if given.isdigit() and int(given) > 0:
        return int(given)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@dataclass
class _Stratum:
    """One part of the score with its chunks so far."""

    play: Callable[[int, Array, Array], None]  # how many, stream, sums
    cost: float
    size: int
    name: int
    means: Array

    def add(self, size: int, seed: int, tag: int) -> None:
        """Run one more round of chunks of ``size``."""
        turn = self.means.shape[0] // CHUNKS
        rows = []
        for chunk in range(CHUNKS):
            total = np.zeros(5)
            self.play(size, stream_key(seed, tag, self.name, turn, chunk), total)
            rows.append([total[0] / size, total[1] / size, float(size)])
        self.means = np.vstack([self.means, rows])

    @property
    def done(self) -> float:
        return float(self.means[:, 2].sum())

    def spread(self) -> float:
        """Standard deviation of the counts of one history."""
        return _pooled(self.means)[1] * math.sqrt(self.done)


def mean_recoil(t: Tables, m: int, energy: float) -> float:
    """Mean energy of the electrons of incoherent scattering in material ``m``, keV."""
    s = (np.arange(800) + 0.5) / 800.0  # sin(θ/2), in which the scattering function is smooth
    one_minus = 2.0 * s * s
    eps = 1.0 / (1.0 + energy / MC2 * one_minus)
    cos = 1.0 - one_minus
    x = energy / HC * s
    grid_x = t.x_lo + np.arange(t.bound.shape[1]) / t.x_inv
    lnx = np.log(x)
    bound = np.interp(lnx, grid_x, t.bound[m])
    bound = np.where(lnx < grid_x[0], t.bound[m, 0] * np.exp(2.0 * (lnx - grid_x[0])), bound)
    density = eps**2 * (eps + 1.0 / eps - 1.0 + cos**2) * bound * s
    return float((energy * (1.0 - eps) * density).sum() / density.sum())


def _direct_cells(b: Body, energy: float) -> list[tuple[int, int, int]]:
    """Cells from which an electron of ``energy`` can reach the gas: ring, slice, end."""
    g = b.grid
    out = []
    for i in range(g.r.size - 1):
        for k in range(g.z.size - 1):
            m = int(g.material[i, k])
            if m <= GAS:
                continue
            beside = g.z[k] >= -g.gas_z - 1e-12 and g.z[k + 1] <= g.gas_z + 1e-12
            end = 0
            if beside:
                if g.r[i] < g.gas_r - 1e-12:
                    continue
            elif g.r[i + 1] <= g.gas_r + 1e-12 and g.r[i] >= g.anode_r - 1e-12:
                end = 1 if g.z[k] >= g.gas_z - 1e-12 else -1
            else:
                continue
            need = electron_range(b.tables, m, float(g.reach[i, k]))
            if electron_range(b.tables, m, energy) > need:
                out.append((i, k, end))
    return out


def _strata(b: Body, source: Source, direct: bool) -> list[_Stratum]:
    top = float(source.energy.max())
    parts = fine(b.grid, b.tables, top)
    chosen = _direct_cells(b, top) if direct and source.kind_of_particle == 0 else []
    strata = []
    for n, (i, k, end) in enumerate(chosen):
        m = int(b.grid.material[i, k])
        recoil = mean_recoil(b.tables, m, top)
        favour = min(1.0, max(0.02, (2.0 * recoil / top) ** 1.5))

        def lay(
            size: int, stream: Array, total: Array,
            i: int = i, k: int = k, end: int = end, favour: float = favour, recoil: float = recoil,
        ) -> None:  # fmt: skip
            direct_kernel.run_direct(
                b.grid, b.tables, source, i, k, end, favour, recoil, stream, size, PLACES, total
            )

        strata.append(_Stratum(lay, _PATH_COST, 24 if end == 0 else 8, n + 1, np.zeros((0, 3))))
    # electrons of unscattered photons in those cells are scored there
    own = parts.skins[0].copy()
    for i, k, _ in chosen:
        own[np.ix_(parts.ring == i, parts.slice == k)] = 0.0

    def trace(size: int, stream: Array, total: Array) -> None:
        history_kernel.run_chunk(
            b.grid, parts.cells, b.tables, parts.first, own, parts.skins, top, source, stream,
            size, total,
        )  # fmt: skip

    # behind thick layers few histories score much: too few to begin with would hide the scatter
    shielded = bool(parts.first[parts.cells.material >= 0].min() < 0.3)
    size = 60 if chosen and not shielded else 400
    strata.append(_Stratum(trace, _RAY_COST, size, 0, np.zeros((0, 3))))
    return strata


def simulate(
    b: Body,
    source: Source,
    *,
    enough: Callable[[float, float], bool],
    seed: int = 1,
    rounds: int = 12,
    direct: bool = True,
) -> Score:
    """Follow source particles until ``enough(mean, u)``; one thread, same result everywhere.

    Args:
        b: the tube.
        source: where the particles come from.
        enough: told mean and standard uncertainty of the counts; true ends the run.
        seed: of the streams.
        rounds: at most so many rounds.
        direct: score electrons of unscattered photons by :mod:`.direct_kernel`.
    """
    began = time.thread_time()
    tag = int(1e3 * float(source.energy.max())) ^ (source.kind << 40)
    tag ^= source.kind_of_particle << 44
    strata = _strata(b, source, direct)
    for part in strata:
        part.add(part.size, seed, tag)
    for _ in range(rounds):
        parts = [_pooled(part.means) for part in strata]
        count = sum(p[0] for p in parts)
        u = math.sqrt(sum(p[1] ** 2 for p in parts))
        if enough(count, u):
            break
        _grow(strata, count, enough, seed, tag)
    parts = [_pooled(part.means) for part in strata]
    return Score(
        sum(p[0] for p in parts), math.sqrt(sum(p[1] ** 2 for p in parts)),
        sum(p[2] for p in parts), math.sqrt(sum(p[3] ** 2 for p in parts)),
        int(sum(part.done for part in strata)), time.thread_time() - began,
    )  # fmt: skip


def _grow(
    strata: list[_Stratum],
    count: float,
    enough: Callable[[float, float], bool],
    seed: int,
    tag: int,
) -> None:
    """One more round: work where it lowers the uncertainty most for its cost (Neyman)."""
    spread = [part.spread() for part in strata]
    wish = [s / math.sqrt(part.cost) for s, part in zip(spread, strata, strict=True)]
    # least scale of the wish that would do, by bisection in its logarithm
    scale = 1e-12
    for _ in range(200):
        u2 = sum(
            s * s / max(part.done, scale * w)
            for s, w, part in zip(spread, wish, strata, strict=True)
        )
        if enough(count, math.sqrt(u2)):
            break
        scale *= 1.6
    for w, part in zip(wish, strata, strict=True):
        more = min(1.15 * scale * w - part.done, 8.0 * part.done)
        if more > 0.02 * part.done:
            part.add(max(8, math.ceil(more / CHUNKS)), seed, tag)


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
    direct: bool = True,
    report: Report = silent,
) -> list[Score]:
    """Many points on all threads, in the order given.

    Raises:
        Cancelled: if ``report`` says so.
    """
    out: list[Score] = []
    with ThreadPoolExecutor(workers()) as pool:
        jobs = [
            pool.submit(simulate, b, s, enough=enough, seed=seed, direct=direct) for s in sources
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
