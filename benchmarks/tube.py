"""The quick Monte Carlo and the kernel against the analogue mode, in the same run."""

from __future__ import annotations

import math
import time

import numpy as np

from benchmarks import Row
from counterproof.physics.materials import gas, material
from counterproof.physics.tube import analogue_kernel, run
from counterproof.physics.tube.geometry import Layer, Tube
from counterproof.physics.tube.response import GRID_KEV, response_curve
from counterproof.physics.tube.stream import stream_key

TITLE = "Tube response"

STEEL = Tube(gas("Ne", 10.0), 0.45, 9.0, Layer(material("Fe"), 0.01))
GLASS = Tube(gas("Ne", 15.0), 0.4, 5.0, Layer(material("soda-lime glass"), 0.09))
TINNED = Tube(STEEL.gas, 0.45, 9.0, STEEL.wall, filters=(Layer(material("Sn"), 0.1),))
# figures of merit of a general-purpose transport code without variance reduction on the same tube
GENERAL = {60.0: 315.0, 662.0: 1950.0, 1250.0: 2860.0}
_SEEDS = 12


def _merit() -> list[Row]:
    """1/(relative error² × CPU seconds), the error from the spread over seeds."""
    b = run.body(STEEL)
    rows = []
    for energy, general in GENERAL.items():
        source = run.beam(b, energy)
        run.simulate(b, source, enough=lambda m, u: u < 0.1 * m)
        scores = [
            run.simulate(b, source, enough=lambda m, u: u < 0.005 * m, seed=100 + k)
            for k in range(_SEEDS)
        ]
        counts = np.array([s.counts for s in scores])
        cpu = float(np.mean([s.cpu_s for s in scores]))
        ours = (counts.mean() / counts.std(ddof=1)) ** 2 / cpu
        began = time.process_time()
        total = np.zeros(5)
        n = 1_000_000
        analogue_kernel.run_analogue(b.grid, b.tables, source, stream_key(3, int(energy)), n, total)
        spent = time.process_time() - began
        mean = total[0] / n
        theirs = mean**2 / ((total[2] / n - mean**2) / n) / spent
        known = 100.0 * math.sqrt(2.0 / (_SEEDS - 1))
        rows.append(
            Row(
                f"figure of merit, 0.1 mm steel, {energy:g} keV, 1/s", f"{ours:.3g}",
                f"analogue mode {theirs:.3g}", f"{ours / theirs:.1f}",
                f"{ours / general:.0f} times a general-purpose code without variance reduction "
                f"({general:g}); known to ± {known:.0f} % from {_SEEDS} seeds",
            )
        )  # fmt: skip
    return rows


def _curves() -> list[Row]:
    rows = []
    for name, tube in (("0.1 mm steel", STEEL), ("0.9 mm glass", GLASS), ("1 mm tin", TINNED)):
        response_curve(tube, GRID_KEV[:1])
        response_curve(tube, GRID_KEV[:1], precision=0.05, method="mc")
        began = time.process_time()
        response_curve(tube, GRID_KEV, precision=0.01, method="mc")
        slow = time.process_time() - began
        began = time.process_time()
        response_curve(tube, GRID_KEV)
        quick = time.process_time() - began
        rows.append(
            Row(f"40 energies, {name}, CPU s", f"kernel {quick:.2f}", f"Monte Carlo {slow:.2f}",
                f"{slow / quick:.0f}", "Monte Carlo to 1 % or 5e-4 of the value at 662 keV; after "
                "the first call")
        )  # fmt: skip
    return rows


def measure() -> list[Row]:
    """Figures of merit and times of whole curves."""
    return [*_merit(), *_curves()]
