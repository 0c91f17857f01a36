"""Calibrations of boxes with two factors, from their pulses and displayed numbers: the whole path.

Pulses, firmware and readings of the invented pocket counter; errors of source, reference, placing
and effective centres drawn; no scatter at all (the fit expects some).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np

from acceptance import Row
from counterproof.calibration import calibrate
from counterproof.quantities import Estimate
from counterproof.records import Run
from counterproof.records.calibration import Calibration, Link
from counterproof.records.run import Position
from counterproof.signals.trains import PulseTrain
from counterproof.simulate import hollow_lane as lane
from counterproof.simulate.box import run_box
from counterproof.trials.shape import Counter, Evidence

TITLE = "Calibration of a display with two factors"

DISTANCES_MM = (30.0, 40.0, 55.0, 140.0, 200.0)
SOURCE_U, REFERENCE_U, OFFSET_MM, PLACING_MM = 0.05, 0.025, 2.0, 1.0
TRUE_CPM = 60 * 1.90
TRUTH = {"below the switch": TRUE_CPM / 110.0, "above the switch": TRUE_CPM / 190.0}
START = datetime(2026, 3, 14, tzinfo=UTC)
LINKS = {
    "disc": Link(name="disc", role="check source"),
    "Wren": Link(name="Wren", role="reference counter"),
}


def _estimate(value: float, u: float) -> Estimate:
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u)


def one(seed: int) -> Calibration:
    """Calibrate one drawn box."""
    rng = np.random.default_rng(seed)
    source, reference = rng.normal(0, SOURCE_U), rng.normal(0, REFERENCE_U)
    stated = 2.5 * math.exp(-reference)
    counters = {
        "Lantern": Counter("Lantern", window_s=None),
        "Wren": Counter(
            "Wren",
            sensitivity_per_s_per_usv_h={"Cs-137": _estimate(stated, REFERENCE_U * stated)},
            own_background_per_s=0.03,
        ),
    }
    evidence = []
    for name, counter in counters.items():
        box, offset = lane.COUNTERS[name].box, rng.normal(0, OFFSET_MM)
        for d in (None, *DISTANCES_MM):
            seconds, expected = (900.0 if d is None else 300.0), None
            rate = lane.true_rate_per_s(name)
            if d is not None:
                there = (d + offset + rng.normal(0, PLACING_MM)) / 1000.0
                field = lane.dose_rate_usv_h("caesium", there)
                field["caesium"] *= math.exp(source)
                rate = box.tube.rate_per_s(field)
                nominal = lane.dose_rate_usv_h("caesium", d / 1000.0)["caesium"]
                spread = math.hypot(SOURCE_U, 2.0 * PLACING_MM / d)
                expected = _estimate(nominal, nominal * spread)
            made = run_box(
                box, rate, seconds, int(rng.integers(1 << 30)), warm_up_s=120.0, with_sound=False
            )
            run = Run(
                id=f"{name} {d}",
                instrument=name,
                sources=() if d is None else ("disc",),
                position=Position(distance_mm=d, distance_u_mm=d and PLACING_MM),
                started_utc=START,
                duration_s=seconds,
                simulated=True,
            )
            evidence.append(
                Evidence(
                    run,
                    counter,
                    PulseTrain(made.pulses_s, seconds),
                    readings=(made.reading_log(every_s=5.0),),
                    nuclides=() if d is None else ("Cs-137",),
                    expected_usv_h=expected,
                )
            )
    return calibrate(counters["Lantern"], evidence, LINKS)


def measure(quick: bool) -> list[Row]:
    trials = 40 if quick else 400
    slack = 0.08 if quick else 0.0  # four hits of forty
    found = [one(seed) for seed in range(trials)]
    kind = sum(c.model == "two factors" for c in found) / trials
    note = f"{trials} boxes"
    rows = [
        Row("two factors found where there are two", "≥ 95 %", f"{100 * kind:.1f} %",
            kind >= 0.95 - slack, note)
    ]  # fmt: skip
    for name, truth in TRUTH.items():
        bands = [b.response for c in found for b in c.bands if b.name == name and b.response]
        inside = sum((b.low or 0) < truth < (b.high or 0) for b in bands) / len(bands)
        error = 100.0 * (float(np.mean([b.value or 0.0 for b in bands])) / truth - 1.0)
        rows.append(
            Row(f"response {name}: coverage", "93–97 %", f"{100 * inside:.1f} %",
                0.93 - slack <= inside <= 0.97 + slack, f"{note}; mean error {error:+.1f} %")
        )  # fmt: skip
    return rows
