"""Rebuild the table of electron escape: ``python -m counterproof.physics.tube.build_escape``.

Electron paths of :mod:`.path_kernel` in an endless medium are laid under a surface at many depths
and slopes. A path from depth d escapes where its excursion towards the surface first reaches d; how
far it went the other way before tells from how thin a layer it would have been lost at the back. So
one path scores every depth and every thickness. Lengths are in units of the range, media stand for
their effective atomic number. Seeds are fixed. About three minutes of one core.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
from numba import njit

from counterproof.physics.electrons.scatter import effective_z
from counterproof.physics.materials import material
from counterproof.physics.tube import layout as lay
from counterproof.physics.tube.layout import MC2, Array, Tables
from counterproof.physics.tube.path_kernel import NODES, PATHS, advance, begin
from counterproof.physics.tube.stream import rand, stream_key
from counterproof.physics.tube.tables import Settings, tables

MEDIA = ("PMMA", "Al", "Fe", "Sn", "Pb")
ENERGY_KEV = (3.0, 6.0, 12.0, 25.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0)
COSINE = (-1.0, -0.8, -0.6, -0.4, -0.2, -0.05, 0.05, 0.2, 0.4, 0.6, 0.8, 0.92, 1.0)
DEPTH = (
    0.0, 0.004, 0.01, 0.018, 0.03, 0.045, 0.065, 0.09, 0.12, 0.15, 0.185, 0.22, 0.26, 0.305, 0.355,
    0.41, 0.47, 0.535, 0.61, 0.7, 0.8, 0.9, 1.0,
)  # fmt: skip
BACK = (0.0, 0.015, 0.05, 0.12, 0.27, 0.6, 1e9)
OUT_BINS = 5
TABLE = Path(__file__).parent / "data" / "electron_escape_2026.npz"
_TURNS = 4
_HISTORIES = 40_000


@njit(cache=True)
def _score(
    t: Tables,
    energy: float,
    least: float,
    histories: int,
    rng: Array,
    cosines: Array,
    depths: Array,
    backs: Array,
    number: Array,
    carried: Array,
    turned: Array,
) -> None:
    """Add escapes to ``number`` (cosine, depth, back, bin), ``carried`` and ``turned`` (…, back).

    Electrons set free on the way escape in place of their parent where that does not.
    """
    nodes = np.empty((NODES, 4))
    first = np.empty(PATHS + 1, np.int64)
    born = np.zeros((PATHS, 7))
    state = np.empty(12)
    parent = np.empty(PATHS, np.int64)
    birth = np.empty(PATHS, np.int64)
    so_far = np.empty(NODES)
    away = np.empty(NODES)
    done = np.empty(depths.size, np.bool_)
    bins = number.shape[3]
    for _ in range(histories):
        born[0, :] = 0.0
        born[0, 0] = energy
        born[0, 6] = 1.0
        parent[0] = -1
        count = 1
        n = 0
        k = 0
        while k < count and n < NODES - 4:
            first[k] = n
            begin(t, 0, born[k], state)
            nodes[n, 0], nodes[n, 1], nodes[n, 2], nodes[n, 3] = (
                state[1],
                state[2],
                state[3],
                state[0],
            )
            n += 1
            n, count = advance(
                t, 0, rng, state, 1_000_000, nodes, n, born, count, least, k, parent, birth
            )
            k += 1
        first[k] = n
        paths = k
        for c in range(cosines.size):
            cos = cosines[c]
            sin = math.sqrt(max(1.0 - cos * cos, 0.0))
            shift = rand(rng)
            for turn in range(_TURNS):
                phi = 6.283185307179586 * (turn + shift) / _TURNS
                n0, n1, n2 = sin * math.cos(phi), sin * math.sin(phi), cos
                # the first direction's part along the surface
                if sin > 0.0:
                    a0, a1, a2 = -cos * n0 / sin, -cos * n1 / sin, (1.0 - cos * cos) / sin
                else:
                    a0, a1, a2 = 1.0, 0.0, 0.0
                done[:] = False
                for p in range(paths):
                    best = -1.0
                    back = 0.0
                    if parent[p] >= 0:
                        best = so_far[birth[p]]
                        back = away[birth[p]]
                    d = 0
                    while d < depths.size and depths[d] <= best:
                        d += 1
                    before = 0.0
                    for j in range(first[p], first[p + 1]):
                        pn = n0 * nodes[j, 0] + n1 * nodes[j, 1] + n2 * nodes[j, 2]
                        if j > first[p]:  # the first node lies in the parent's excursion
                            while d < depths.size and pn > depths[d]:
                                if not done[d]:
                                    done[d] = True
                                    share = (depths[d] - before) / (pn - before)
                                    share = min(max(share, 0.0), 1.0)
                                    e = nodes[j - 1, 3] + share * (nodes[j, 3] - nodes[j - 1, 3])
                                    du = nodes[j, 0] - nodes[j - 1, 0]
                                    dv = nodes[j, 1] - nodes[j - 1, 1]
                                    dw = nodes[j, 2] - nodes[j - 1, 2]
                                    dl = math.sqrt(du * du + dv * dv + dw * dw)
                                    out = (n0 * du + n1 * dv + n2 * dw) / dl
                                    side = math.sqrt(max(1.0 - out * out, 1e-9))
                                    along = (a0 * du + a1 * dv + a2 * dw) / dl / side
                                    b = 0
                                    while backs[b] < back:
                                        b += 1
                                    number[c, d, b, min(int(out * bins), bins - 1)] += 1.0
                                    beta2 = 1.0 - 1.0 / (1.0 + max(e, 1.0) / MC2) ** 2
                                    carried[c, d, b] += math.log(beta2)
                                    turned[c, d, b] += along
                                d += 1
                        best = max(best, pn)
                        back = max(back, -pn - 1e-12)
                        so_far[j] = best
                        away[j] = back
                        before = pn


def escape(name: str, energy_kev: float, histories: int, seed: int) -> tuple[Array, Array, Array]:
    """Escapes of one medium and energy.

    Returns:
        probability per bin of the cosine at the surface, shape (cosine, depth, back, bin); typical
        energy over the first, at the mean logarithm of β² (ionisation goes with 1/β²), and mean
        cosine of the turn along the surface, (cosine, depth, back).
    """
    t = tables((material(name),), Settings())
    p = (math.log(energy_kev) - t.e_lo) * t.e_inv
    reach = float(np.interp(p, np.arange(t.electron.shape[1]), t.electron[0, :, lay.RANGE]))
    shape = (len(COSINE), len(DEPTH), len(BACK))
    number, carried, turned = np.zeros((*shape, OUT_BINS)), np.zeros(shape), np.zeros(shape)
    _score(
        t, energy_kev, max(t.cut, 0.05 * energy_kev), histories, stream_key(seed),
        np.array(COSINE), np.array(DEPTH) * reach, np.array(BACK) * reach, number, carried, turned,
    )  # fmt: skip
    number, carried, turned = (np.cumsum(v, axis=2) for v in (number, carried, turned))
    whole = np.maximum(number.sum(axis=3), 1e-9)
    beta2 = np.exp(np.minimum(carried / whole, -1e-6))
    typical = MC2 * (1.0 / np.sqrt(1.0 - beta2) - 1.0) / energy_kev
    typical = np.where(whole > 0.5, np.clip(typical, 0.0, 1.0), 0.0)
    return number / (histories * _TURNS), typical, turned / whole


def main() -> None:
    """Follow the electrons and write the table."""
    rows: list[tuple[Array, Array, Array]] = []
    for i, name in enumerate(MEDIA):
        for j, energy in enumerate(ENERGY_KEV):
            rows.append(escape(name, energy, _HISTORIES, 100 * i + j))
        sys.stderr.write(f"{name}\n")
    grid = (len(MEDIA), len(ENERGY_KEV))

    def stacked(k: int) -> Array:
        values = np.array([row[k] for row in rows])
        return values.reshape(*grid, *values.shape[1:])

    TABLE.parent.mkdir(exist_ok=True)
    # thousandths are finer than the scatter of the paths
    np.savez_compressed(
        TABLE,
        z=np.array([effective_z(material(name)) for name in MEDIA]),
        energy_kev=np.array(ENERGY_KEV),
        cosine=np.array(COSINE),
        depth=np.array(DEPTH),
        back=np.array(BACK),
        per_mille=np.round(1e3 * stacked(0)).astype(np.uint16),
        energy_percent=np.round(1e2 * stacked(1)).astype(np.uint8),
        turn_percent=np.round(1e2 * stacked(2)).astype(np.int8),
    )
    sys.stdout.write(f"{TABLE}\n")


if __name__ == "__main__":
    main()
