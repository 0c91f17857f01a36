"""Evidence made by hand for the trials."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from counterproof.quantities import Estimate
from counterproof.records import Position, Run
from counterproof.records.run import Absorber
from counterproof.signals.trains import PulseTrain, ReadingLog
from counterproof.trials.shape import Counter, Evidence

Make = Callable[..., Evidence]


def sensitivity(value: float, relative: float = 0.02) -> Estimate:
    u = value * relative
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u, unit="1/s per µSv/h")


@pytest.fixture
def lantern() -> Counter:
    return Counter("Lantern", (120.0,), 40.0)


@pytest.fixture
def wren() -> Counter:
    return Counter("Wren", (), 60.0, {"Cs-137": sensitivity(2.5)})


@pytest.fixture
def make() -> Make:
    """Return a maker of evidence with a random pulse train and optional readings."""
    counter_of: dict[str, int] = {}

    def evidence(
        counter: Counter,
        rate_per_s: float,
        seconds: float,
        *,
        sources: tuple[str, ...] = (),
        nuclides: tuple[str, ...] = (),
        display: float | None = None,
        field: str = "momentary",
        seed: int = 1,
        pulses: bool = True,
        distance_mm: float | None = None,
        conditions: dict[str, float | str] | None = None,
        angle_deg: float = 0.0,
        absorbers: tuple[Absorber, ...] = (),
        count: int | None = None,
    ) -> Evidence:
        rng = np.random.default_rng([seed, len(counter_of)])
        n = rng.poisson(rate_per_s * seconds) if count is None else count
        run_id = f"r{len(counter_of)}"
        counter_of[run_id] = 1
        readings: tuple[ReadingLog, ...] = ()
        if display is not None and field == "momentary":
            t = np.arange(5.0, seconds, 5.0)
            readings = (ReadingLog(t, np.full(t.size, display), "dose_rate", "µSv/h"),)
        elif display is not None and field == "average":
            readings = (
                ReadingLog(
                    np.array([seconds]), np.array([display]), "dose_rate", "µSv/h", "average", 0.01
                ),
            )
        elif display is not None:
            dose = display * seconds / 3600.0
            readings = (
                ReadingLog(
                    np.array([0.0, seconds]),
                    np.array([1.0, 1.0 + dose]),
                    "dose",
                    "µSv",
                    "accumulated",
                    0.001,
                ),
            )
        run = Run(
            id=run_id,
            instrument=counter.name,
            sources=sources,
            position=Position(
                distance_mm=distance_mm if sources else None,
                angle_deg=angle_deg,
                absorbers=absorbers,
            ),
            conditions=conditions or {},
            started_utc=datetime(2026, 3, 14, tzinfo=UTC),
            duration_s=seconds,
        )
        train = PulseTrain(np.sort(rng.uniform(0, seconds, n)), seconds) if pulses else None
        return Evidence(run, counter, train, None, readings, nuclides)

    return evidence


def stepped(
    make: Make,
    counter: Counter,
    before: float,
    after: float,
    window: float,
    part: slice = slice(None),
) -> Evidence:
    """A run whose display ramps over ``window`` from 100 s on, with 1 % scatter."""
    t = np.arange(0.0, 300.0, 2.0)
    noise = np.random.default_rng(3).normal(0.0, 0.01 * max(before, after), t.size)
    y = before + (after - before) * np.clip((t - 100.0) / window, 0.0, 1.0) + noise
    run = make(counter, 0.0, 300.0, pulses=False, conditions={"step_s": 100.0})
    return replace(run, readings=(ReadingLog(t[part], y[part], "dose_rate", "µSv/h"),))
