"""Listening live: what is heard is stored, and equals what a file of it would give."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from counterproof.bench import Bench
from counterproof.counting.deadtime import impose_dead_time
from counterproof.kit import loads_item
from counterproof.records import Run
from counterproof.signals.clicks import detect_clicks
from counterproof.signals.live import Event, Gap, PulseBatch, ReadingBatch, SoundBlock
from counterproof.signals.mapping import Mapping
from counterproof.workshop.listening import Listener, Now, rate_of

FS = 16000


class Played:
    """A live source that plays events from memory."""

    def __init__(self, events: list[Event], sample_rate_hz: int = 0) -> None:
        self.events = events
        self.sample_rate_hz = sample_rate_hz
        self.started = datetime(2026, 3, 14, tzinfo=UTC)
        self.warnings: list[str] = []
        self.closed = False

    def __iter__(self) -> Iterator[Event]:
        yield from self.events

    def close(self) -> None:
        self.closed = True


def clicks(rate_per_s: float, seconds: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    sound = rng.normal(0.0, 0.003, int(seconds * FS))
    t = np.arange(int(0.006 * FS)) / FS
    shape = np.exp(-t / 0.0012) * np.sin(2 * np.pi * 3000 * t)
    for at in rng.uniform(0.0, seconds - 0.01, rng.poisson(rate_per_s * seconds)):
        i = int(at * FS)
        sound[i : i + shape.size] += 0.3 * np.exp(rng.normal(0, 0.2)) * shape
    return sound.astype(np.float32)


def blocks(sound: np.ndarray, size: int = 800) -> list[Event]:
    return [
        SoundBlock(i / FS, (i + size) / FS, sound[i : i + size]) for i in range(0, sound.size, size)
    ]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with Bench.create(tmp_path / "bench") as made:
        made.add(loads_item('[instrument]\nname = "Wren"\n'))
        yield made


def new_run() -> Run:
    return Run(
        id="", instrument="Wren", started_utc=datetime(2026, 3, 14, tzinfo=UTC), duration_s=0
    )


def test_live_sound_gives_what_a_file_of_it_gives(bench: Bench) -> None:
    sound = clicks(8.0, 40.0, 2)
    whole = detect_clicks(sound, FS).train
    listener = Listener(Played(blocks(sound), FS), bench.start_live(new_run()))
    told: list[Now] = []
    train = listener.run(lambda now: told.append(now) is None)
    run = listener.finish()
    assert abs(train.count - whole.count) <= 2
    assert told[0].learning
    assert not told[-1].learning
    assert told[-1].rate_per_s is not None
    assert told[-1].rate_per_s.value == pytest.approx(8.0, rel=0.2)
    assert run is not None
    assert not run.interrupted
    stored = bench.load_train(run)
    # what follows within the resolving time is stored as heard and thinned when it is counted
    apart = impose_dead_time(stored.times_s, stored.resolving_time_s)
    assert abs(apart.size - train.count) <= 1
    assert stored.duration_s == pytest.approx(40.0, abs=0.1)
    assert stored.resolving_time_s == train.resolving_time_s > 0


def test_pulses_of_a_line_are_counted_and_gaps_taken_off(bench: Bench) -> None:
    events: list[Event] = [
        PulseBatch(0.0, 1.0, np.array([0.2, 0.7])),
        Gap(1.0, 3.0, "the plug was pulled"),
        PulseBatch(3.0, 4.0, np.array([3.5])),
    ]
    mapping = Mapping("pulse", separator="none")
    listener = Listener(Played(events), bench.start_live(new_run()), mapping=mapping)
    train = listener.run(lambda _: True)
    assert train.count == 3
    assert train.live_s == pytest.approx(2.0)
    assert "the plug was pulled" in train.warnings
    run = listener.finish()
    assert run is not None
    stored = bench.load_train(run)
    assert stored.times_s == pytest.approx([0.2, 0.7, 3.5])
    assert stored.live_s == pytest.approx(2.0)
    rate = rate_of(train)
    assert rate is not None
    assert rate.value == pytest.approx(1.5)


def test_readings_of_a_line_become_a_reading_log(bench: Bench) -> None:
    events: list[Event] = [
        ReadingBatch(0.0, 1.0, np.array([0.5]), np.array([0.12])),
        ReadingBatch(1.0, 2.0, np.array([1.5]), np.array([0.13])),
    ]
    mapping = Mapping("dose_rate", value_column=1, unit="µSv/h", separator="none")
    listener = Listener(Played(events), bench.start_live(new_run()), mapping=mapping)
    told: list[Now] = []
    listener.run(lambda now: told.append(now) is None)
    assert told[-1].reading == 0.13
    run = listener.finish()
    assert run is not None
    (log,) = bench.load_reading_logs(run)
    assert log.values == pytest.approx([0.12, 0.13])
    assert log.unit == "µSv/h"


def test_it_ends_when_told_and_when_the_time_is_up() -> None:
    events: list[Event] = [PulseBatch(i * 1.0, i + 1.0, np.array([i + 0.5])) for i in range(10)]
    source = Played(events)
    assert Listener(source, mapping=Mapping("pulse", separator="none")).run(
        lambda now: now.seconds < 3.0
    ).duration_s == pytest.approx(3.0)
    assert source.closed
    source = Played(events)
    listener = Listener(source, mapping=Mapping("pulse", separator="none"))
    assert listener.run(lambda _: True, stop_after_s=5.0).count == 5
    assert listener.finish() is None


def test_noise_alone_counts_nothing() -> None:
    hiss = np.random.default_rng(1).normal(0, 0.05, FS * 15).astype(np.float32)
    train = Listener(Played(blocks(hiss), FS)).run(lambda _: True)
    assert train.count == 0
    assert train.warnings
    assert rate_of(train) is None
