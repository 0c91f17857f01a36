"""Do the trials' intervals hold the truth of simulated experiments?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from acceptance import Row
from counterproof.quantities import Estimate
from counterproof.records import Position, Run
from counterproof.records.run import Absorber
from counterproof.signals.trains import CountLog, ReadingLog
from counterproof.trials import angle, beta_shutter, climate, energy_response, wall
from counterproof.trials.criteria import profile
from counterproof.trials.endurance import hours_of
from counterproof.trials.response_time import HAND_U_S, StepFit, follow
from counterproof.trials.shape import Counter, Evidence

TITLE = "Coverage of the trials' intervals over simulated experiments"
CLAIM = 0.95
LANTERN = Counter("Lantern", (120.0,), 40.0)
GRADE = profile("grade_b")
PLATES = (0.0, 30.0, 120.0, 350.0, 700.0, 1200.0)
SERIES = tuple((Absorber(material="Al", areal_density_mg_cm2=p),) if p else () for p in PLATES)
KNOWN = wall.Between(2.7, 5.0)
MODEL_U = 0.05  # by which the simulated transmissions depart from the model, each on its own

Experiment = Callable[[np.random.Generator], tuple[Estimate, float]]


def counted(
    rng: np.random.Generator,
    rate: float,
    seconds: float,
    counter: Counter = LANTERN,
    nuclide: str = "",
    position: Position = Position(),  # noqa: B008  a frozen record
    **conditions: float | str,
) -> Evidence:
    """A run of which only the counts are known."""
    run = Run(
        id="simulated",
        instrument=counter.name,
        sources=(nuclide,) if nuclide else (),
        position=position,
        conditions=conditions,
        started_utc=datetime(2026, 3, 14, tzinfo=UTC),
        duration_s=seconds,
        simulated=True,
    )
    log = CountLog(
        np.zeros(1), np.full(1, seconds), np.array([rng.poisson(rate * seconds)], dtype=np.int64)
    )
    return Evidence(run, counter, None, log, (), (nuclide,) if nuclide else ())


def turned(seconds: float) -> Experiment:
    """Response at 90° of 0.7, from 3 counts per second at 0° over a background of 0.5."""

    def experiment(rng: np.random.Generator) -> tuple[Estimate, float]:
        runs = [counted(rng, 0.5, seconds)]
        for degrees, net in ((0.0, 3.0), (90.0, 2.1)):
            at = Position(distance_mm=100.0, angle_deg=degrees)
            runs.append(counted(rng, 0.5 + net, seconds, LANTERN, "Cs-137", at))
        found = angle.TRIAL.analyse(LANTERN, runs, GRADE).judgements[0].measured
        return found.estimate(), 0.7

    return experiment


def of_energy(seconds: float) -> Experiment:
    """Response of 1.6 to barium, beside a reference whose two calibrations err by their 2 %."""

    def experiment(rng: np.random.Generator) -> tuple[Estimate, float]:
        true = {"Cs-137": 2.5, "Ba-133": 4.0}
        stated = {}
        for nuclide, value in true.items():
            u = 0.02 * value
            read = value + rng.normal(0.0, u)
            stated[nuclide] = Estimate(read, u, read - 1.96 * u, read + 1.96 * u)
        wren = Counter("Wren", (), 60.0, stated)
        runs = [counted(rng, 0.2, seconds), counted(rng, 0.3, seconds, wren)]
        at = Position(distance_mm=100.0)
        for nuclide, times in (("Cs-137", 1.0), ("Ba-133", 1.6)):
            runs.append(counted(rng, 0.2 + 6.0 * times, seconds, LANTERN, nuclide, at))
            runs.append(counted(rng, 0.3 + 3.0 * true[nuclide], seconds, wren, nuclide, at))
        found = energy_response.TRIAL.analyse(LANTERN, runs, GRADE).judgements[0].measured
        return found.estimate(), 1.6

    return experiment


def warmed(counts: float) -> Experiment:
    """Drift of 0.4 % per kelvin of the rate at 15 °C, four temperatures."""

    def experiment(rng: np.random.Generator) -> tuple[Estimate, float]:
        celsius = [0.0, 10.0, 20.0, 30.0]
        rates = []
        for t in celsius:
            run = counted(rng, counts / 100.0 * (1.0 + 0.004 * (t - 15.0)), 100.0)
            level = climate.lv.count_rate(run)
            assert level is not None
            rates.append(level.estimate)
        found = climate.drift_of(celsius, rates)
        return found.per_kelvin, 0.4 / (1.0 + 0.004 * (found.mean_c - 15.0))

    return experiment


def stepped(shape: str, before: float, after: float) -> Experiment:
    """A display of 0.01 µSv/h every 2 s: boxcar of 20 s or time constant of 10 s."""

    def experiment(rng: np.random.Generator) -> tuple[Estimate, float]:
        pulses = np.concatenate(
            [
                rng.uniform(-150.0, 150.0, rng.poisson(300.0 * before)),
                rng.uniform(150.0, 400.0, rng.poisson(250.0 * after)),
            ]
        )
        t = np.arange(0.0, 400.0, 2.0)
        past = t[:, None] - pulses[None, :]
        if shape == "ramp":
            rate = ((past >= 0.0) & (past < 20.0)).sum(axis=1) / 20.0
        else:
            late = np.exp(-np.maximum(past, 0.0) / 10.0)
            rate = np.where(past >= 0.0, late, 0.0).sum(axis=1) / 10.0
        log = ReadingLog(t, np.round(rate / 2.0, 2), "dose_rate", "µSv/h", "momentary", 0.01)
        found = follow(log, 150.0 + rng.normal(0.0, HAND_U_S))
        assert isinstance(found, StepFit), found
        return found.t90, 18.0 if shape == "ramp" else 10.0 * float(np.log(10.0))

    return experiment


def transmission(areal: float, side: bool) -> NDArray[np.float64]:
    """Electrons of Sr-90 with Y-90 that enter the gas behind each plate, open = 1."""
    end = wall.end_point_mev(["Sr-90"])
    assert end is not None
    reach = wall.beta_range_mg_cm2(end)
    grid = np.sqrt(wall._walls(reach))
    through = [
        float(
            np.interp(
                np.sqrt(areal),
                grid,
                wall._entering(wall._behind_walls(a, ("Sr-90",), KNOWN, reach), reach, side),
            )
        )
        for a in SERIES
    ]
    return np.array(through) / through[0]


def of_wall(rng: np.random.Generator) -> tuple[Estimate, float]:
    """A wall of 0 to 150 mg/cm², a window or a cylinder's side, rates to 1 %."""
    true = float(rng.uniform(0.0, 150.0))
    exact = transmission(true, bool(rng.integers(2)))
    rates = 100.0 * exact * (1.0 + MODEL_U * rng.standard_normal(exact.size)) + 1.0
    seen = rates * (1.0 + 0.01 * rng.standard_normal(exact.size))
    series = [
        (a, Estimate(v, 0.01 * v, 0.98 * v, 1.02 * v))
        for a, v in zip(SERIES, map(float, seen), strict=True)
    ]
    fit = wall.fit_wall(series, ["Sr-90"], KNOWN)
    assert fit is not None
    return fit.wall, true


def shared(seconds: float) -> Experiment:
    """Share of betas of 0.8 of 20 net counts per second over a background of 0.5."""

    def experiment(rng: np.random.Generator) -> tuple[Estimate, float]:
        runs = [counted(rng, 0.5, 3600.0)]
        for plate, net in (((), 20.0), (SERIES[-1], 4.0)):
            at = Position(distance_mm=50.0, absorbers=plate)
            runs.append(counted(rng, 0.5 + net, seconds, LANTERN, "Sr-90", at))
        found = beta_shutter.TRIAL.analyse(LANTERN, runs, GRADE).judgements[0].measured
        return found.estimate(), 0.8

    return experiment


def emptied(repeats: int) -> Experiment:
    """Batteries that differ by the 5 % that the trial assumes."""

    def experiment(rng: np.random.Generator) -> tuple[Estimate, float]:
        hours = rng.normal(20.0, 1.0, repeats)
        runs = [counted(rng, 0.0, 3600.0 * float(h), battery_empty="1") for h in hours]
        found = hours_of(LANTERN, runs)
        assert found is not None
        return found[0], 20.0

    return experiment


EXPERIMENTS: tuple[tuple[str, Experiment], ...] = (
    ("angle, 60 net counts at 90°", turned(30.0)),
    ("angle, 1300 net counts at 90°", turned(600.0)),
    ("energy response, 60 net counts of caesium", of_energy(10.0)),
    ("energy response, limited by the reference", of_energy(3000.0)),
    ("climate, 100 counts at each temperature", warmed(100.0)),
    ("climate, 10000 counts at each temperature", warmed(10000.0)),
    ("response time, ramp up", stepped("ramp", 0.2, 8.0)),
    ("response time, ramp down", stepped("ramp", 50.0, 2.0)),
    ("response time, exponential up", stepped("exponential", 2.0, 50.0)),
    ("response time, exponential down", stepped("exponential", 8.0, 0.2)),
    ("beta share, 20 s runs", shared(20.0)),
    ("beta share, 600 s runs", shared(600.0)),
    ("effective wall", of_wall),
    ("endurance, one battery", emptied(1)),
    ("endurance, three batteries", emptied(3)),
)


def measure(quick: bool = False) -> list[Row]:
    """Count how often each interval holds the truth."""
    n = 60 if quick else 1500
    slack = 2.0 * float(np.sqrt(CLAIM * (1.0 - CLAIM) / n))
    rows = []
    for place, (what, experiment) in enumerate(EXPERIMENTS):
        rng = np.random.default_rng([20260314, place])
        drawn = [experiment(rng) for _ in range(n)]
        share = float(np.mean([e.low <= truth <= e.high for e, truth in drawn]))
        rows.append(
            Row(
                what,
                f"at least 95 % (± {100 * slack:.1f} of the run)",
                f"{100 * share:.1f} %",
                share >= CLAIM - slack,
                f"over-coverage {100 * (share - CLAIM):+.1f} %",
            )
        )
    return rows
