"""Rebuild the table of electron kernels: ``python -m counterproof.physics.electrons.build``.

Takes about eight minutes of one core. Seeds are fixed, so the table comes out the same.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.electrons import slab
from counterproof.physics.electrons.scatter import Scatter, effective_z, scatter_table
from counterproof.physics.materials import material

Array = NDArray[np.float64]

MEDIA = ("PMMA", "Al", "Fe", "Sn", "Pb")
ENERGY_MEV = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 3.3)
DEPTH = (
    0.005, 0.01, 0.02, 0.035, 0.05, 0.075, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55,
    0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0,
)  # fmt: skip
PACKETS = 32
_BINS = 500
_CONE_COS = 0.97
TABLE = Path(__file__).parent / "data" / "electron_kernels_2026.npz"


def kernel(
    table: Scatter, mode: int, energy_mev: float, histories: int, seed: int
) -> tuple[Array, Array, Array]:
    """Fluence, current and packet energies at every depth.

    Returns:
        Shapes (d,), (d,), (d, packets): fluence and number relative to what would arrive without
        the medium, and the energies (over the start energy) of equal packets of the fluence.
    """
    reach = float(np.exp(np.interp(np.log(energy_mev), table.log_energy, np.log(table.reach))))
    least = max(1.5e-3, 0.005 * energy_mev)
    fluence, current, _ = slab.run(
        mode, energy_mev, histories, seed, np.array(DEPTH) * reach, _BINS, least, _CONE_COS,
        *table[:9],
    )  # fmt: skip
    levels = (np.arange(PACKETS) + 0.5) / PACKETS
    edges = np.linspace(0.0, 1.0, _BINS + 1)
    packets = np.empty((len(DEPTH), PACKETS))
    for i, row in enumerate(fluence):
        whole = row.sum()
        if whole <= 0.0:
            packets[i] = packets[i - 1]
        else:
            cumulative = np.append(0.0, np.cumsum(row)) / whole
            packets[i] = np.interp(levels, cumulative, edges)
    return fluence.sum(axis=1), current.sum(axis=1), packets


def main() -> None:
    """Simulate every kernel and write the table."""
    out: dict[str, Array] = {
        "energy_mev": np.array(ENERGY_MEV),
        "depth": np.append(0.0, DEPTH),
        "z": np.array([effective_z(material(name)) for name in MEDIA]),
    }
    jobs = [("behind", slab.SLAB_BEAM, name) for name in MEDIA]
    jobs += [("cover", slab.SLAB_ISOTROPIC, name) for name in MEDIA]
    jobs += [("air", slab.SPHERE, "air")]
    jobs += [("shell", slab.SHELL, name) for name in MEDIA]
    rows: dict[str, list[list[tuple[Array, Array, Array]]]] = {}
    for number, (kind, mode, name) in enumerate(jobs):
        table = scatter_table(material(name))
        histories = {slab.SLAB_ISOTROPIC: 400_000}
        found = [
            kernel(table, mode, energy, histories.get(mode, 60_000), 1000 * number + i)
            for i, energy in enumerate(ENERGY_MEV)
        ]
        rows.setdefault(kind, []).append(found)
        sys.stderr.write(f"{kind} {name}\n")
    for kind, media in rows.items():
        for part, label in enumerate(("fluence", "current", "packets")):
            values = np.array([[entry[part] for entry in medium] for medium in media])
            start = np.ones_like(values[:, :, :1])
            out[f"{kind}_{label}"] = np.concatenate([start, values], axis=2).astype(np.float32)
    np.savez_compressed(TABLE, **out)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
