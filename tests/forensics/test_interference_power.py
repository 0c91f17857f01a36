"""Interference: what a run says that it would have noticed, it notices; light; too regular."""

from __future__ import annotations

import numpy as np
import pytest

from counterproof.counting.deadtime import impose_dead_time
from counterproof.forensics.disturbancefindings import disturbance_findings, light_findings
from counterproof.forensics.interference import disturbances, level_pieces, regularity
from counterproof.signals.trains import PulseTrain
from tests.forensics.runs import LANTERN, evidence, steady

SECONDS, RATE = 400.0, 4.0
TRIES = 24


def disturbed(kind: str, size: float, rng: np.random.Generator) -> np.ndarray:
    """A train with an effect of the size that the test speaks of."""
    times = steady(rng, RATE, SECONDS)
    if kind == "double pulses":
        twice = times[rng.random(times.size) < size]
        times = np.concatenate((times, twice + rng.uniform(0.0002, 0.002, twice.size)))
    elif kind == "mains pickup":
        n = times.size
        locked = rng.integers(0, int(50 * SECONDS), round(size * n)) / 50.0
        times = np.concatenate((rng.choice(times, n - locked.size, replace=False), locked))
    elif kind == "unsteady":
        # bunches of a geometric number of pulses with mean m have the index 2m - 1
        mean = 0.5 * (size + 1.0)
        starts = steady(rng, RATE / mean, SECONDS)
        times = np.repeat(starts, rng.geometric(1.0 / mean, starts.size))
        times = times + rng.uniform(0.0, 0.3, times.size)
    else:
        # one click for every k pulses scatters by 1/k; a mixture of two such gives any index
        k = 1.0 / size
        gaps = rng.gamma(k, 1.0 / k, round(1.5 * RATE * SECONDS)) / RATE
        times = np.cumsum(gaps)
    times = np.sort(times)
    return times[(times > 0) & (times < SECONDS)]


@pytest.mark.parametrize("kind", ["double pulses", "mains pickup", "unsteady", "too regular"])
def test_what_would_have_been_noticed_is_noticed(kind: str):
    rng = np.random.default_rng(31)
    clean = PulseTrain(steady(rng, RATE, SECONDS), SECONDS)
    seen = next(d.seen for d in disturbances(clean) if d.kind == kind)
    assert np.isfinite(seen)
    hits = 0
    for _ in range(TRIES):
        train = PulseTrain(disturbed(kind, seen, rng), SECONDS)
        hits += any(d.found for d in disturbances(train) if d.kind == kind)
    # stated for 80 %; of 24 runs the binomial leaves 13 to 24 (99.8 %)
    assert hits >= 13
    half = 1.0 + 0.3 * (seen - 1.0) if kind in ("unsteady", "too regular") else 0.3 * seen
    few = 0
    for _ in range(TRIES):
        train = PulseTrain(disturbed(kind, half, rng), SECONDS)
        few += any(d.found for d in disturbances(train) if d.kind == kind)
    assert few < hits - 6


def test_a_recorders_resolving_time_is_not_taken_for_regularity():
    rng = np.random.default_rng(4)
    alarms = 0
    for _ in range(24):
        times = impose_dead_time(steady(rng, 60.0, 40.0), 0.004)
        train = PulseTrain(times, 40.0, resolving_time_s=0.004)
        assert regularity(train) < 0.75
        alarms += any(d.found for d in disturbances(train))
    assert alarms <= 1


def test_a_disturbance_is_a_finding_and_its_absence_another():
    rng = np.random.default_rng(9)
    runs = [evidence(f"r{i}", pulses=steady(rng, 2.0, 600.0)) for i in range(4)]
    clean = disturbance_findings("Lantern", runs)
    assert len(clean) == 1
    assert clean[0].log10_bayes_factor is None
    assert "would have noticed with 80 % probability" in clean[0].statement
    assert clean[0].next_measurement is not None
    times = disturbed("double pulses", 0.15, rng)
    bad = disturbance_findings("Lantern", [*runs, evidence("bad", pulses=times, seconds=SECONDS)])
    assert [f.subject for f in bad] == ["double pulses"]
    assert bad[0].runs == ("bad",)
    assert bad[0].strength == "decisive"
    assert bad[0].rivals


def test_runs_that_were_altered_on_purpose_are_left_out():
    rng = np.random.default_rng(9)
    lamp = evidence("lamp", pulses=disturbed("double pulses", 0.3, rng), light="ultraviolet")
    assert disturbance_findings("Lantern", [lamp]) == []


def test_levels_in_one_run_are_not_called_unsteady():
    rng = np.random.default_rng(6)
    levels = np.concatenate([300.0 * i + steady(rng, r, 300.0) for i, r in enumerate((1, 3, 9))])
    found = disturbance_findings("Lantern", [evidence("stairs", pulses=levels, seconds=900.0)])
    assert [f.subject for f in found] == ["interference"]
    assert "tested level by level" in found[0].statement
    pieces = level_pieces(PulseTrain(levels, 900.0))
    assert [round(p.count / p.duration_s) for p in pieces] == [1, 3, 9]


def lit(dark: int, lamp: int, seconds: float = 1200.0):
    return [
        evidence("dark", counts=dark, seconds=seconds, light="dark"),
        evidence("uv", counts=lamp, seconds=seconds, light="ultraviolet"),
    ]


def test_light_is_found_and_its_absence_has_a_power():
    seen = light_findings(LANTERN, lit(600, 900))
    assert len(seen) == 1
    assert seen[0].statement.startswith("It counts light")
    assert seen[0].strength == "decisive"
    assert set(seen[0].runs) == {"dark", "uv"}
    blind = light_findings(LANTERN, lit(600, 610))
    assert blind[0].statement.startswith("It does not count")
    # two runs of 600 counts: 3.42 √(2/600) is 20 % at 80 % power and 1 % significance
    assert "an excess of 2" in blind[0].statement
    assert blind[0].log10_bayes_factor is None
    assert light_findings(LANTERN, [evidence("plain", counts=600)]) == []
