"""Lantern after its retrofit: the probe that the invented workshop built, and its runs.

The probe's tube is a slim steel one like Wren's, another specimen. Its figures lie where the
transport of this project puts such a tube (within what it states), but for one: the jar of
potassium salt. The salt keeps most of its betas to itself, which nobody had told the prediction,
so that prediction misses, as predictions do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from counterproof.progress import Report, silent, step
from counterproof.simulate.box import Tube, write_readings
from counterproof.simulate.hollow_lane import (
    COUNTERS,
    SEED,
    SOURCES,
    PlannedRun,
    dose_rate_usv_h,
    let_run,
)

PROBE = "slim probe"
TUBE = Tube(
    {
        "caesium": 1.55,
        "barium": 2.90,
        "strontium": 1.60,
        "rods": 1.70,
        "salt": 1.50,
        "background": 1.55,
    },
    0.030,
    non_paralysable_s=100e-6,
)
BETAS_PER_S_AT_5CM = {"strontium": 26.0, "rods": 5.0, "salt": 4.0}


def _plan() -> tuple[PlannedRun, ...]:
    runs = [PlannedRun("after-background", "Lantern", None, 0.05, 3600.0, "background", "pulses")]
    runs += [
        PlannedRun(f"after-{s}", "Lantern", s, 0.05, 600.0, "source response", "pulses")
        for s in SOURCES
    ]
    runs += [
        PlannedRun(
            f"after-caesium-{d}cm",
            "Lantern",
            "caesium",
            d / 100,
            600.0,
            "dose-rate ladder",
            "pulses",
        )
        for d in (20, 10, 3)
    ]
    return tuple(runs)


RUNS = _plan()
"""The runs after the retrofit; a pulse line on the new socket keeps the times of all pulses."""


@dataclass(frozen=True)
class Written:
    """Files of one run: pulse times and displayed numbers."""

    run: PlannedRun
    pulses: Path
    readings: Path


def write_runs(
    folder: str | Path,
    factor_cpm_per_usv_h: float,
    *,
    runs: Sequence[PlannedRun] = RUNS,
    seed: int = SEED,
    report: Report = silent,
) -> list[Written]:
    """Write pulse times and readings of the runs after the retrofit.

    Args:
        folder: where to; made if missing.
        factor_cpm_per_usv_h: what the menu is set to; it works above the switch alone.
        runs: which of :data:`RUNS`.
        seed: the demonstration's seed.
        report: progress by runs.

    Raises:
        Cancelled: if ``report`` answers ``False``; the files written so far stay.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    old = COUNTERS["Lantern"].box
    below = old.readout.factors_cpm_per_usv_h[0]
    firmware = replace(old.readout, factors_cpm_per_usv_h=(below, factor_cpm_per_usv_h))
    box = replace(old, tube=TUBE, readout=firmware, scene=None)
    written = []
    for done, run in enumerate(runs):
        step(report, done, len(runs))
        betas = 0.0
        if run.source is not None:
            betas = BETAS_PER_S_AT_5CM.get(run.source, 0.0) * (0.05 / run.distance_m) ** 2
        rate = TUBE.rate_per_s(dose_rate_usv_h(run.source, run.distance_m), betas)
        made = let_run(run, box, rate, seed=seed, with_sound=False)
        pulses = folder / f"{run.key}-pulses.csv"
        lines = "".join(f"{t:.6f}\n" for t in made.pulses_s)
        pulses.write_text(f"time_s\n{lines}", encoding="utf-8")
        log = made.reading_log(every_s=5.0)
        written.append(Written(run, pulses, write_readings(folder / f"{run.key}.csv", log)))
    step(report, len(runs), len(runs))
    return written
