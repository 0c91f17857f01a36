"""A bench with an instrument and a source, and something to record."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from counterproof.bench import Bench
from counterproof.kit import Instrument, Source
from counterproof.records import Run
from counterproof.signals.trains import PulseTrain

START = dt.datetime(2026, 1, 31, 9, 0, tzinfo=dt.UTC)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with Bench.create(tmp_path / "hollow", "Hollow Lane") as made:
        made.add(Instrument(name="Lantern"))
        made.add(Source(name="caesium disc", nuclide="Cs-137"))
        yield made


@pytest.fixture
def run() -> Run:
    return Run(id="", instrument="Lantern", started_utc=START, duration_s=0.0)


@pytest.fixture
def train() -> PulseTrain:
    times = np.sort(np.random.default_rng(1).uniform(0.0, 600.0, 1000))
    return PulseTrain(times, 600.0, resolving_time_s=0.002, efficiency=0.99, warnings=("faint",))
