"""Counting times."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from counterproof.counting import planning
from counterproof.counting.poisson import rate_estimate
from counterproof.counting.ratio import rate_ratio
from counterproof.errors import UserError
from counterproof.quantities import Estimate


def test_best_split_of_a_text_book() -> None:
    # 9600 counts in 5 min gross, 1200 in 10 min background, 15 min in all -> 12 and 3 min,
    # σ 19.900 -> 14.142 cpm (t_g/t_b = √(r_g/r_b), computed independently)
    split = planning.best_split(1920 / 60, 120 / 60, 15 * 60)
    assert (split.gross_s, split.background_s) == pytest.approx((720, 180))
    assert split.net_u_per_s * 60 == pytest.approx(14.142, abs=5e-4)


@given(st.floats(0.1, 1e4), st.floats(0.0, 1e3), st.floats(0.05, 0.95))
def test_no_other_split_is_better(gross: float, background: float, share: float) -> None:
    best = planning.best_split(gross, background, 100.0)
    other = np.sqrt(gross / (100 * share) + background / (100 * (1 - share)))
    assert best.net_u_per_s <= other * (1 + 1e-9)


def test_rate_meter() -> None:
    # 1/√(2rτ) and 2.3026 τ to 90 % (from memory): r = 0.5 /s, τ = 10 s
    assert planning.ratemeter_relative_u(0.5, 10) == pytest.approx(0.316, abs=5e-4)
    assert planning.ratemeter_response_s(10) == pytest.approx(23.03, abs=5e-3)
    assert planning.boxcar_relative_u(0.5, 20) == planning.ratemeter_relative_u(0.5, 10)
    assert planning.boxcar_response_s(20) == pytest.approx(18)


def test_rate_meter_scatter_in_a_simulation() -> None:
    rng = np.random.default_rng(3)
    rate, tau = 5.0, 4.0
    ages = [rng.uniform(0, 60, rng.poisson(rate * 60)) for _ in range(4000)]
    shown = np.array([np.exp(-age / tau).sum() / tau for age in ages])
    assert shown.std() / rate == pytest.approx(planning.ratemeter_relative_u(rate, tau), rel=0.05)


@given(st.floats(0.01, 1e4), st.floats(0.001, 0.5))
def test_time_for_a_relative_uncertainty_gives_it(rate: float, relative: float) -> None:
    time = planning.time_for_relative(rate, relative)
    assert 1 / np.sqrt(rate * time) == pytest.approx(relative)


@given(st.floats(0.0, 10.0), st.floats(0.1, 10.0), st.floats(0.01, 0.3))
def test_split_for_a_relative_uncertainty_gives_it(
    background: float, net: float, relative: float
) -> None:
    split = planning.split_for_relative(background + net, background, relative)
    assert split.net_u_per_s / net == pytest.approx(relative)


@pytest.mark.parametrize("r1, r2, ratio", [(0.3, 0.45, 1.0), (2.0, 0.5, 3.0), (20.0, 21.0, 1.0)])
def test_planned_power_is_found_in_a_simulation(r1: float, r2: float, ratio: float) -> None:
    time = planning.time_to_tell_apart(r1, r2, time_ratio=ratio)
    assert planning.power_to_tell_apart(r1, r2, time, ratio * time) == pytest.approx(0.8, abs=0.02)
    rng = np.random.default_rng(5)
    pairs = zip(rng.poisson(r1 * time, 1500), rng.poisson(r2 * time * ratio, 1500), strict=True)
    found = [rate_ratio(a, time, b, ratio * time).p_value < 0.05 for a, b in pairs]
    assert np.mean(found) == pytest.approx(0.8, abs=0.035)  # 3 σ of 1500 trials


def test_power_never_falls_below_nothing_nor_finds_what_is_not_there() -> None:
    assert planning.power_to_tell_apart(1.0, 1.0, 100.0, 50.0) <= 0.05
    assert planning.power_to_tell_apart(1.0, 2.0, 0.1, 0.1) == pytest.approx(0.0, abs=1e-6)
    assert planning.power_to_tell_apart(1.0, 2.0, 1e4, 1e4) == pytest.approx(1.0)


def around(value: float, half: float) -> Estimate:
    return Estimate(value, half / 1.96, value - half, value + half)


def test_decisions() -> None:
    assert planning.decide(around(1.0, 0.05), 0.8, 1.2, 60).verdict == "met"
    assert planning.decide(around(1.5, 0.05), 0.8, 1.2, 60).verdict == "not met"
    assert planning.decide(around(0.5, 0.05), 0.8, np.inf, 60).verdict == "not met"
    # inside, 0.4 wide, 0.2 to the nearer bound: four times the time, so 180 s more
    wait = planning.decide(around(1.0, 0.4), 0.8, 1.2, 60)
    assert wait.verdict == "cannot tell yet"
    assert wait.more_s == pytest.approx(180)
    # outside by 0.1 with a reach of 0.3: nine times the time
    assert planning.decide(around(1.3, 0.3), 0.8, 1.2, 60).more_s == pytest.approx(480)
    assert planning.decide(around(0.7, 0.3), 0.8, 1.2, 60).more_s == pytest.approx(480)
    # one-sided
    assert planning.decide(around(1.0, 0.4), 0.8, np.inf, 60).more_s == pytest.approx(180)


def test_what_counting_does_not_reduce_may_keep_it_open_for_ever() -> None:
    wait = planning.decide(around(1.0, 0.4), 0.8, 1.2, 60, fixed_u=0.15)
    assert wait.more_s == np.inf
    assert planning.decide(around(1.2, 0.4), 0.8, 1.2, 60).more_s == np.inf
    some = planning.decide(around(1.0, 0.4), 0.8, 1.2, 60, fixed_u=0.05)
    assert 180 < some.more_s < np.inf


def test_the_planned_time_settles_it() -> None:
    rate = rate_estimate(60, 60.0)
    wait = planning.decide(rate, 0.8, 1.5, 60.0)
    assert wait.verdict == "cannot tell yet"
    total = 60.0 + 1.1 * wait.more_s  # Poisson limits are not quite symmetrical
    assert planning.decide(rate_estimate(total, total), 0.8, 1.5, total).verdict == "met"


@pytest.mark.parametrize(
    "call",
    [
        lambda: planning.time_for_relative(0.0, 0.1),
        lambda: planning.time_for_relative(1.0, 0.0),
        lambda: planning.split_for_relative(1.0, 1.0, 0.1),
        lambda: planning.time_to_tell_apart(1.0, 1.0),
        lambda: planning.decide(around(1, 1), 2.0, 1.0, 60.0),
        lambda: planning.decide(around(1, 1), 0.0, 1.0, 0.0),
    ],
)
def test_bad_input_gets_a_sentence(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(UserError):
        call()
