"""What the detection says of itself, and what it must not mistake for a counter."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from counterproof.signals.clicks import ClickDetector, ClickShape, detect_clicks, learn_shape
from counterproof.signals.clicks.believe import in_bursts, in_time
from counterproof.signals.clicks.excerpt import AFTER_S, BEFORE_S, around
from counterproof.signals.clicks.explain import Leftover, Mirrored
from counterproof.signals.clicks.judge import doubts
from counterproof.signals.clicks.learn import Learned

FS = 24000
Floats = NDArray[np.float64]
Sound = NDArray[np.float32]


def ticks(
    times: Floats, seconds: float, noise: float, sigma: float, hertz: float = 3200.0, seed: int = 0
) -> tuple[Sound, Floats]:
    """Return a recording of ringing clicks of log-normal loudness, and the loudness of each."""
    rng = np.random.default_rng(seed)
    sound = noise * rng.standard_normal(round(seconds * FS))
    loud = 0.1 * np.exp(sigma * rng.standard_normal(times.size))
    for at, peak in zip(times, loud, strict=True):
        first = int(np.ceil(at * FS))
        late = np.arange(min(480, sound.size - first)) / FS + first / FS - at
        sound[first : first + late.size] += (
            peak * np.exp(-late / 1.2e-3) * np.sin(2 * np.pi * hertz * late)
        )
    return sound.astype(np.float32), loud


def random_times(rate: float, seconds: float, seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    return np.sort(rng.uniform(0.01, seconds - 0.05, rng.poisson(rate * seconds)))


def near(times: Floats, others: Floats) -> NDArray[np.bool_]:
    return np.asarray(np.abs(times[:, None] - others[None, :]).min(axis=1) < 1e-3)


def test_stated_efficiency_is_the_share_found_where_noise_hides_clicks() -> None:
    times = random_times(10.0, 40.0, 1)
    sound, _ = ticks(times, 40.0, noise=0.03, sigma=0.35)
    train = detect_clicks(sound, FS).train
    apart = np.diff(times, prepend=-1.0) > 5e-3
    share = float(near(times[apart], train.times_s).mean())
    assert share < 0.97  # there is something to state
    error = np.sqrt(share * (1.0 - share) / apart.sum())  # binomial
    assert train.efficiency == pytest.approx(
        share, abs=3.0 * float(np.hypot(error, train.efficiency_u))
    )


def test_stated_efficiency_is_near_one_where_nothing_hides_them() -> None:
    times = random_times(5.0, 20.0, 2)
    sound, _ = ticks(times, 20.0, noise=0.001, sigma=0.2)
    train = detect_clicks(sound, FS).train
    assert train.efficiency > 0.99
    assert 0.0 < train.efficiency_u < 0.01
    assert train.false_rate_per_s < 0.05


def test_two_boxes_that_sound_alike_are_told_apart() -> None:
    mine, its = random_times(3.0, 40.0, 3), random_times(2.0, 40.0, 4)
    sound = ticks(mine, 40.0, 0.001, 0.2)[0] + ticks(its, 40.0, 0.001, 0.2, 2500.0, 5)[0]
    result = detect_clicks(sound, FS)
    assert result.train.warnings
    assert len(result.others) == 1
    assert abs(result.train.count - mine.size) <= 2
    assert near(result.train.times_s, mine).mean() > 0.98
    assert near(result.others[0].times_s, its).mean() > 0.98


def test_clicks_that_gain_control_turned_down_are_still_found() -> None:
    times = random_times(4.0, 40.0, 6)
    sound, _ = ticks(times, 40.0, noise=0.0005, sigma=0.15)
    down = np.ones(sound.size, np.float32)
    down[20 * FS : 25 * FS] = np.exp(-1.5)
    train = detect_clicks(sound * down, FS).train
    hushed = (times > 20.1) & (times < 24.9) & (np.diff(times, prepend=-1.0) > 5e-3)
    assert hushed.sum() > 10
    assert near(times[hushed], train.times_s).mean() > 0.9


def test_tunes_keep_time_and_counters_do_not() -> None:
    rng = np.random.default_rng(7)
    beats = np.flatnonzero(rng.random(120) < 0.5) * 0.31 + 0.001 * rng.standard_normal(1)
    assert in_time(np.sort(beats))
    assert sum(in_time(random_times(5.0, 30.0, seed)) for seed in range(40)) == 0
    assert not in_time(random_times(100.0, 2.0, 1))  # a short stretch is no beat


def test_bursts_are_told_from_events_at_random() -> None:
    bursts = np.sort(
        (np.arange(40) * 1.5)[:, None] + np.array([0.0, 0.004, 0.009])[None, :]
    ).ravel()
    assert in_bursts(np.diff(bursts))
    for rate in (0.3, 5.0, 100.0):
        assert not in_bursts(np.diff(random_times(rate, 60.0, 11)))


def test_a_pulse_generator_is_counted() -> None:
    sound, _ = ticks(np.arange(0.1, 19.9, 0.25), 20.0, noise=0.002, sigma=0.1)
    assert detect_clicks(sound, FS).train.count == 80


def test_live_clicks_are_reported_within_the_stated_delay() -> None:
    times = random_times(8.0, 10.0, 8)
    sound, _ = ticks(times, 10.0, noise=0.002, sigma=0.2)
    detector = ClickDetector(learn_shape(sound, FS), FS)
    assert detector.delay_s < 0.65
    waits: list[float] = []
    for begin in range(0, sound.size, 240):
        found = detector.push(sound[begin : begin + 240])
        waits += [(begin + 240) / FS - t for t in found.tolist()]
    assert len(waits) > 50
    assert max(waits) <= detector.delay_s + 0.02  # the block itself, and the onset within the click


def test_stretches_around_places_keep_them() -> None:
    x = np.random.default_rng(9).standard_normal(20 * FS).astype(np.float32)
    places = np.array([1, 5000, 5100, 200_000, x.size - 5], np.int64)
    joined, moved = around(x, places, FS, BEFORE_S, AFTER_S)
    inside = slice(1, -1)  # the first and last lie where the ends are faded
    np.testing.assert_array_equal(joined[moved[inside]], x[places[inside]])
    whole = round((BEFORE_S + AFTER_S) * FS)
    assert joined.size < places.size * whole


def test_what_is_faint_and_amid_another_sound_is_doubted() -> None:
    click = ClickShape(FS, np.ones(10), 0.0, 2e-3, 0.1, 0.2, 50)
    flat = np.ones(5)
    learned = Learned(flat, flat, (click,), 1.0, Leftover(np.ones(3), 1), 0.05, 1.0, 0.0)
    heights = np.array([30.0, 13.0, 13.0, 30.0])  # in units of the usual noise
    scores = np.array([30.0, 13.0, 6.0, 12.0])  # in units of the noise met
    none = np.zeros(4)
    matches = Mirrored(
        np.arange(4) * 10_000, 0.1 * heights / 30.0, heights**2, none.astype(int), scores, none
    )
    usual, faint, faint_amid, loud_amid = doubts(matches, none, none, learned, 5.5)
    assert usual == loud_amid == 0.0
    assert faint < 1.0 < faint_amid
