"""Streams cut anywhere, taught shapes, tones, and recordings without a counter."""

from __future__ import annotations

import json

import numpy as np
import pytest
from numpy.typing import NDArray

from counterproof.signals.clicks import ClickDetector, ClickShape, detect_clicks, learn_shape

FS = 24000
Sound = NDArray[np.float32]


def ticks(
    times: NDArray[np.float64], seconds: float, hertz: float = 3200.0, seed: int = 0
) -> Sound:
    rng = np.random.default_rng(seed)
    sound = 0.004 * rng.standard_normal(round(seconds * FS))
    for at in times:
        first = int(np.ceil(at * FS))
        late = np.arange(min(720, sound.size - first)) / FS + first / FS - at
        loud = 0.2 * np.exp(0.25 * rng.standard_normal())
        sound[first : first + late.size] += (
            loud * np.exp(-late / 2e-3) * np.sin(2 * np.pi * hertz * late)
        )
    return sound.astype(np.float32)


def random_times(rate: float, seconds: float, seed: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    return np.sort(rng.uniform(0.0, seconds - 0.05, rng.poisson(rate * seconds)))


def test_result_is_the_same_for_any_chunks() -> None:
    sound = ticks(random_times(10.0, 8.0, 1), 8.0)
    learned = learn_shape(sound, FS)
    rng = np.random.default_rng(2)

    def found(sizes: NDArray[np.int64]) -> NDArray[np.float64]:
        detector = ClickDetector(learned, FS)
        cuts = np.cumsum(sizes)
        pieces = np.split(sound, cuts[cuts < sound.size])
        return np.concatenate([*(detector.push(p) for p in pieces), detector.finish()])

    whole = found(np.array([sound.size]))
    assert whole.size > 60
    np.testing.assert_array_equal(whole, found(rng.integers(1, 3000, 400)))
    np.testing.assert_array_equal(whole, found(np.full(60, 4001)))


def test_blocks_and_array_agree() -> None:
    sound = ticks(random_times(10.0, 8.0, 3), 8.0)
    one = detect_clicks(sound, FS).train.times_s
    other = detect_clicks(iter(np.split(sound, 16)), FS).train.times_s
    np.testing.assert_array_equal(one, other)


def test_taught_shape_survives_storage_and_finds_a_few_clicks() -> None:
    shape = learn_shape(ticks(random_times(10.0, 10.0, 4), 10.0), FS).shapes[0]
    stored = ClickShape.from_dict(json.loads(json.dumps(shape.to_dict())))
    times = np.array([3.1, 17.4, 41.2])
    train = detect_clicks(ticks(times, 60.0, seed=5), FS, taught=stored).train
    assert train.count == 3
    np.testing.assert_allclose(train.times_s, times, atol=1e-3)


def test_resolving_time_stays_below_the_click_and_4_ms() -> None:
    train = detect_clicks(ticks(random_times(10.0, 10.0, 6), 10.0), FS).train
    assert 0.0 < train.resolving_time_s <= 4e-3
    assert (np.diff(train.times_s) >= train.resolving_time_s).all()


def test_key_beeps_are_not_counted() -> None:
    times = random_times(5.0, 20.0, 7)
    sound = ticks(times, 20.0)
    t = np.arange(round(0.1 * FS)) / FS
    beep = (0.2 * np.sin(2 * np.pi * 2500.0 * t)).astype(np.float32)
    for at in (2.3, 7.7, 12.1, 18.4):
        first = round(at * FS)
        sound[first : first + beep.size] += beep
    train = detect_clicks(sound, FS).train
    distance = np.abs(train.times_s[:, None] - times[None, :])
    assert (distance.min(axis=1) < 1e-3).all()  # nothing else was counted
    apart = np.diff(times, prepend=-1.0) > train.resolving_time_s
    assert (distance.min(axis=0)[apart] < 1e-3).mean() >= 0.97


def test_clipping_does_not_hide_clicks() -> None:
    times = random_times(5.0, 20.0, 8)
    sound = np.clip(ticks(times, 20.0), -0.15, 0.15)
    assert abs(detect_clicks(sound, FS).train.count - times.size) <= 2


@pytest.mark.parametrize(
    "kind", ["silence", "constant", "hiss", "syllables", "tune", "short", "empty"]
)
def test_no_counter_no_rate(kind: str) -> None:
    rng = np.random.default_rng(9)
    n = 15 * FS
    t = np.arange(n) / FS
    sound = {
        "silence": np.zeros(n),
        "constant": np.full(n, 0.3),
        "hiss": 0.1 * rng.standard_normal(n),
        "syllables": 0.1 * rng.standard_normal(n) * np.maximum(0.0, np.sin(2 * np.pi * 4.0 * t)),
        "tune": 0.1 * np.sin(2 * np.pi * 220.0 * 2 ** (np.floor(t * 3) % 12 / 12) * t),
        "short": 0.1 * rng.standard_normal(100),
        "empty": np.zeros(0),
    }[kind]
    result = detect_clicks(sound.astype(np.float32), FS)
    assert result.train.count == 0
    assert result.train.warnings
