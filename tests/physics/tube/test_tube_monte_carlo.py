"""The Monte Carlo against its own analogue mode, and the kernel against the Monte Carlo.

Reference: the analogue mode (no variance reduction), which shares cross sections, angles and
electron steps with the quick estimators and nothing of their weights.
"""

import math

import numpy as np
import pytest

from acceptance.tube import STEEL, TINNED
from counterproof.physics.materials import gas, material
from counterproof.physics.tube import analogue_kernel, run
from counterproof.physics.tube.geometry import Layer, Tube
from counterproof.physics.tube.response import response_curve
from counterproof.physics.tube.stream import stream_key

LINED = Tube(
    gas("Ne", 15.0), 0.4, 5.0, Layer(material("soda-lime glass"), 0.09),
    lining=Layer(material("SnO2", 5.0), 1e-4),
)  # fmt: skip


def analogue(tube: Tube, energy: float, histories: int) -> tuple[float, float]:
    """Mean and standard uncertainty of the effective area, cm²."""
    b = run.body(tube)
    total = np.zeros(5)
    key = stream_key(11, int(energy))
    analogue_kernel.run_analogue(b.grid, b.tables, run.beam(b, energy), key, histories, total)
    mean = total[0] / histories
    return mean, math.sqrt((total[2] / histories - mean**2) / histories)


@pytest.mark.parametrize(
    ("tube", "energy"), [(STEEL, 60.0), (STEEL, 1250.0), (TINNED, 130.0), (LINED, 60.0)]
)
def test_agrees_with_the_analogue_mode(tube: Tube, energy: float) -> None:
    b = run.body(tube)
    mean, u = analogue(tube, energy, 600_000)
    score = run.simulate(b, run.beam(b, energy), enough=lambda m, s: s <= 0.01 * m, seed=4)
    assert abs(score.counts - mean) < 3.0 * math.hypot(u, score.u_counts)
    kernel = response_curve(tube, [energy]).effective_area_cm2[0]
    assert abs(kernel - score.counts) < 0.05 * score.counts + 3.0 * score.u_counts


def test_stated_uncertainty_is_the_spread_over_seeds() -> None:
    b = run.body(STEEL)
    scores = [
        run.simulate(b, run.beam(b, 662.0), enough=lambda m, s: s <= 0.03 * m, seed=k)
        for k in range(16)
    ]
    spread = np.std([s.counts for s in scores], ddof=1)
    stated = np.mean([s.u_counts for s in scores])
    # 16 values know their spread to 18 %
    assert 0.5 < spread / stated < 1.6


def test_same_result_for_any_number_of_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    b = run.body(STEEL)
    sources = [run.beam(b, e) for e in (60.0, 400.0, 1000.0)]
    found = []
    for threads in ("1", "3"):
        monkeypatch.setenv("COUNTERPROOF_THREADS", threads)
        scores = run.simulate_many(b, sources, enough=lambda m, s: s <= 0.05 * m)
        found.append([s.counts for s in scores])
    assert found[0] == found[1]


def test_betas_through_a_thin_wall() -> None:
    # the kernel's escape and the Monte Carlo's electrons, 800 keV through 0.1 mm of steel
    b = run.body(STEEL)
    source = run.beam(b, 800.0, electrons=True)
    score = run.simulate(b, source, enough=lambda m, s: s <= 0.02 * m)
    from counterproof.physics.tube.response import electron_curve

    kernel = electron_curve(STEEL, [800.0]).effective_area_cm2[0]
    assert abs(kernel - score.counts) < 0.06 * score.counts + 3.0 * score.u_counts
