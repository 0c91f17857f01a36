"""Evidence for the tests: one run at a time, as wanted, and an invented firmware."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from counterproof.forensics import PairedRun
from counterproof.quantities import Estimate
from counterproof.readout import Boxcar, ReadoutModel
from counterproof.records import Run
from counterproof.records.run import Absorber, Position
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.trials.shape import Counter, Evidence

START = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
LANTERN = Counter("Lantern")


def estimate(value: float, relative: float, unit: str = "µSv/h") -> Estimate:
    u = abs(value) * relative
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u, unit=unit)


WREN = Counter(
    "Wren",
    sensitivity_per_s_per_usv_h={"Cs-137": estimate(2.5, 0.025, "1/s per µSv/h")},
)


# an invented two-factor meter: 140 and 240 cpm/(µSv/h), switch at 180 cpm, that is 1.2857 µSv/h
TWO = ReadoutModel(
    estimator=Boxcar(20.0),
    factors_cpm_per_usv_h=(140.0, 240.0),
    switches_cpm=(180.0,),
    quantum_usv_h=0.01,
    refresh_s=2.0,
)


def evidence(
    run_id: str,
    counter: Counter = LANTERN,
    *,
    sources: tuple[str, ...] = (),
    nuclides: tuple[str, ...] = (),
    distance_mm: float | None = None,
    absorbers: tuple[Absorber, ...] = (),
    seconds: float = 600.0,
    counts: int | None = None,
    pulses: np.ndarray | None = None,
    readings: tuple[ReadingLog, ...] = (),
    expected: Estimate | None = None,
    after_s: float = 0.0,
    cover_mg_cm2: float | None = None,
    **conditions: float | str,
) -> Evidence:
    """Return one run; sources stand 50 mm away unless said otherwise."""
    at = 50.0 if sources and distance_mm is None else distance_mm
    run = Run(
        id=run_id,
        instrument=counter.name,
        position=Position(distance_mm=at, absorbers=absorbers),
        sources=sources,
        started_utc=START + timedelta(seconds=after_s),
        duration_s=seconds,
        conditions=conditions,
        simulated=True,
    )
    log = None
    if counts is not None:
        log = CountLog(np.zeros(1), np.array([seconds]), np.array([counts], dtype=np.int64))
    train = None if pulses is None else PulseTrain(pulses, seconds)
    return Evidence(
        run, counter, train, log, readings, nuclides, expected, cover_mg_cm2=cover_mg_cm2
    )


def between(run: PairedRun, start: float, end: float) -> PairedRun:
    """Return what of a run lies between two times, counted from the first."""
    p, t = run.pulse_times_s, run.reading_times_s
    inside = (t > start) & (t < end)
    return PairedRun(
        p[(p > start) & (p < end)] - start,
        end - start,
        t[inside] - start,
        run.readings_usv_h[inside],
    )


def steady(rng: np.random.Generator, rate_per_s: float, seconds: float) -> np.ndarray:
    """Return Poisson event times."""
    return np.sort(rng.uniform(0.0, seconds, rng.poisson(rate_per_s * seconds)))


def shown(value: float, seconds: float = 600.0, quantum: float = 0.001) -> ReadingLog:
    """Return an accumulated dose read at start and end."""
    dose = np.array([0.0, np.round(value * seconds / 3600.0 / quantum) * quantum])
    return ReadingLog(np.array([0.0, seconds]), dose, "dose", "µSv", "accumulated", quantum=quantum)
