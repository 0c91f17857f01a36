"""Dead-time models, and the four ways to find a dead time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import special, stats

from counterproof.counting.deadtime import (
    DeadTime,
    impose_dead_time,
    non_paralysable,
    observed_rate,
    paralysable,
    paralysed_rate,
    true_rate,
    true_rate_estimate,
    variance_ratio,
)
from counterproof.counting.deadtime_compare import compare_dead_times
from counterproof.counting.deadtime_intervals import dead_time_from_intervals
from counterproof.counting.deadtime_series import dead_time_from_decay, dead_time_from_ladder
from counterproof.counting.deadtime_sources import dead_time_from_two_sources, two_source_tau
from counterproof.errors import UserError
from counterproof.quantities import Estimate

TAU = 1e-4
HYBRID = DeadTime(95e-6, 5e-6)
# true rate; observed non-paralysable, paralysable, hybrid 95 µs/5 µs. Computed independently;
# hybrid form: Lee & Gardner, Appl. Radiat. Isot. 53 (2000) 731
MODELS = [
    (1000, 909.0909, 904.8374, 908.6872),
    (5000, 3333.333, 3032.653, 3306.135),
    (10000, 5000, 3678.794, 4878.100),
]


@pytest.mark.parametrize("n, np_, p, hybrid", MODELS)
def test_models(n: float, np_: float, p: float, hybrid: float) -> None:
    assert observed_rate(n, non_paralysable(TAU)) == pytest.approx(np_, rel=2e-7)
    assert observed_rate(n, paralysable(TAU)) == pytest.approx(p, rel=2e-7)
    assert observed_rate(n, HYBRID) == pytest.approx(hybrid, rel=2e-7)


def test_inverse() -> None:
    # m = 1000 /s, computed independently
    assert true_rate(1000, non_paralysable(TAU)) == pytest.approx(1111.111, abs=5e-4)
    assert paralysed_rate(1000, non_paralysable(TAU)) == np.inf
    assert true_rate(1000, paralysable(TAU)) == pytest.approx(1118.326, abs=5e-4)
    assert paralysed_rate(1000, paralysable(TAU)) == pytest.approx(35771.5, abs=5e-2)


def test_paralysable_inverse_is_lamberts() -> None:
    m = np.array([1.0, 100.0, 3000.0, 3678.0])
    usual, other = true_rate(m, paralysable(TAU)), paralysed_rate(m, paralysable(TAU))
    assert usual == pytest.approx(-special.lambertw(-m * TAU).real / TAU, rel=1e-9)
    assert other == pytest.approx(-special.lambertw(-m * TAU, -1).real / TAU, rel=1e-9)


times = st.just(0.0) | st.floats(1e-7, 1e-2)


@given(st.floats(0, 1e6), times, times)
@example(9.738050057183546e-307, 0.0, 0.0078125)
@example(2.2e-309, 0.0, 0.0037)
@example(1e-308, 0.0, 1e-7)
def test_inverse_of_forward(n: float, tau_n: float, tau_p: float) -> None:
    dead = DeadTime(tau_n, tau_p)
    n = min(n, 0.9 * dead.turning_rate_per_s)
    m = observed_rate(n, dead)
    assert true_rate(m, dead) == pytest.approx(n, rel=1e-6, abs=1e-9)
    other = paralysed_rate(m, dead)
    if np.isfinite(other):
        assert observed_rate(other, dead) == pytest.approx(float(m), rel=1e-6, abs=1e-12)


@given(st.floats(1, 1e6), times, times)
def test_dead_time_only_loses(n: float, tau_n: float, tau_p: float) -> None:
    dead = DeadTime(tau_n, tau_p)
    assert observed_rate(n, dead) <= n
    assert observed_rate(n, dead) <= dead.highest_rate_per_s * (1 + 1e-12)
    assert observed_rate(n, DeadTime(tau_n, tau_p + 1e-5)) <= observed_rate(n, dead)


def test_limits_zero_and_infinity() -> None:
    assert observed_rate(0, HYBRID) == 0
    assert observed_rate(np.inf, non_paralysable(TAU)) == pytest.approx(1e4)
    assert observed_rate(np.inf, paralysable(TAU)) == 0
    assert true_rate(0, paralysable(TAU)) == 0
    assert paralysed_rate(0, paralysable(TAU)) == np.inf
    assert true_rate_estimate(0, 10, paralysable(TAU)).rate.value == 0
    assert true_rate_estimate(0, 10, paralysable(TAU)).rate.high == pytest.approx(0.36889, rel=1e-3)


def test_uncertainty() -> None:
    # u(n) = √(m/T)/(1 - mτ): m = 1000 /s, T = 60 s -> 4.536 (Knoll, from memory)
    got = true_rate_estimate(60_000, 60, non_paralysable(TAU))
    assert got.rate.u == pytest.approx(4.536, abs=5e-4)
    assert not got.warnings
    wider = true_rate_estimate(60_000, 60, non_paralysable(TAU), tau_n_u_s=1e-5).rate
    # dn/dτ = n²: 1111.1² · 10 µs = 12.3 /s
    assert wider.u == pytest.approx(np.hypot(4.536, 12.346), rel=1e-3)


def test_two_roots_are_warned_of() -> None:
    got = true_rate_estimate(60_000, 60, paralysable(TAU))
    assert got.paralysed_per_s == pytest.approx(35771.5, abs=0.1)
    assert len(got.warnings) == 1
    near = true_rate_estimate(3678, 1.0, paralysable(TAU))
    assert len(near.warnings) == 2


def paralysed(times: np.ndarray, tau: float) -> np.ndarray:
    """Events with no other in the τ before them."""
    return times[np.append(True, np.diff(times) > tau)]


def test_counts_become_regular_as_stated() -> None:
    rng = np.random.default_rng(31)
    n, tau, span = 400.0, 1e-3, 1.0
    found = {"np": [], "p": []}  # type: dict[str, list[int]]
    for _ in range(3000):
        times = np.sort(rng.uniform(0, span, rng.poisson(n * span)))
        found["np"].append(impose_dead_time(times, tau).size)
        found["p"].append(paralysed(times, tau).size)
    for counts, dead in ((found["np"], non_paralysable(tau)), (found["p"], paralysable(tau))):
        assert np.mean(counts) == pytest.approx(float(observed_rate(n, dead)), rel=0.01)
        ratio = np.var(counts) / np.mean(counts)
        assert ratio == pytest.approx(float(variance_ratio(np.mean(counts), dead)), abs=0.05)


def test_paralysable_intervals_cover() -> None:
    rng = np.random.default_rng(32)
    n, tau = 300.0, 1e-3
    inside = 0
    for _ in range(1500):
        times = np.sort(rng.uniform(0, 2.0, rng.poisson(n * 2.0)))
        got = true_rate_estimate(paralysed(times, tau).size, 2.0, paralysable(tau)).rate
        inside += got.low <= n <= got.high
    assert inside / 1500 == pytest.approx(0.955, abs=0.02)


def test_two_sources() -> None:
    # built from n1 = 1000, n2 = 1200, τ = 100 µs and a background, solved exactly (Knoll's form,
    # from memory; computed independently)
    m = (909.91728, 1072.22569, 1803.95050)
    assert two_source_tau(*m, 0.99990001) == pytest.approx(100e-6, rel=2e-5)
    assert two_source_tau(*m) == pytest.approx(100.416e-6, abs=2e-9)


def test_two_half_sources_of_thallium() -> None:
    # public course log pedrocurvo/LFEA, Tl-204 half sources, rates in 1/s
    assert two_source_tau(152.85, 152.98, 275.13, 0.63) == pytest.approx(719.0e-6, abs=5e-8)


def test_a_case_that_cannot_be_resolved_says_so() -> None:
    # counts in 60 s each; 18 ± 172 µs computed independently
    got = dead_time_from_two_sources((4854, 5141, 9943, 37), (60, 60, 60, 60))
    assert got.tau.value * 1e6 == pytest.approx(18, abs=0.5)
    assert got.tau.u * 1e6 == pytest.approx(172, abs=1)
    assert not got.resolved
    assert got.warning


@given(st.floats(50, 2000), st.floats(50, 2000), st.floats(0, 5), st.floats(1e-6, 2e-4))
def test_two_sources_invert_the_model(n1: float, n2: float, nb: float, tau: float) -> None:
    for dead, model in (
        (non_paralysable(tau), "non-paralysable"),
        (paralysable(tau), "paralysable"),
    ):
        m1, m2, m12, mb = observed_rate([n1 + nb, n2 + nb, n1 + n2 + nb, nb], dead)
        got = two_source_tau(m1, m2, m12, mb, model)  # type: ignore[arg-type]
        assert got == pytest.approx(tau, rel=1e-4, abs=1e-9)


def test_two_source_uncertainty_in_a_simulation() -> None:
    rng = np.random.default_rng(33)
    tau, live = 1e-4, 100.0
    rates = observed_rate([1001, 1201, 2201, 1.0], non_paralysable(tau))
    ratio = variance_ratio(rates, non_paralysable(tau))
    found = [
        dead_time_from_two_sources(
            tuple(np.round(rng.normal(rates * live, np.sqrt(rates * live * ratio)))),  # type: ignore[arg-type]
            (live,) * 4,
        ).tau
        for _ in range(1000)
    ]
    assert np.std([e.value for e in found]) == pytest.approx(found[0].u, rel=0.1)
    assert np.mean([e.low <= tau <= e.high for e in found]) == pytest.approx(0.95, abs=0.021)


@pytest.mark.parametrize("n", [5, 200])
def test_dead_time_from_exact_intervals_covers(n: int) -> None:
    rng = np.random.default_rng(34)
    found = [dead_time_from_intervals(0.002 + rng.exponential(0.1, n)) for _ in range(2000)]
    inside = np.mean([e.low <= 0.002 <= e.high for e in found])
    assert inside == pytest.approx(0.95, abs=0.015)
    assert np.mean([e.value for e in found]) == pytest.approx(0.002, abs=4 * 0.1 / n / 40)


def test_dead_time_from_intervals_with_timing_errors_covers() -> None:
    rng = np.random.default_rng(35)
    inside, values = [], []
    for _ in range(300):
        times = np.cumsum(0.002 + rng.exponential(0.02, 3000)) + rng.normal(0, 5e-5, 3000)
        got = dead_time_from_intervals(np.diff(times), timing_u_s=5e-5)
        inside.append(got.low <= 0.002 <= got.high)
        values.append(got.value)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.04)
    assert np.mean(values) == pytest.approx(0.002, abs=1e-5)
    # without allowing for it, the shortest interval would be well below
    assert dead_time_from_intervals(np.diff(times)).high < 0.002


def test_decaying_source_gives_knolls_line() -> None:
    # n0 = 5000 /s, τ = 100 µs: m(0) = 3333.33, slope -0.5, intercept 5000 (Knoll; computed)
    half_life = 100.0
    t = np.linspace(0, 400, 9)
    m = observed_rate(5000 * 0.5 ** (t / half_life), non_paralysable(TAU))
    assert m[0] == pytest.approx(3333.33, abs=5e-3)
    slope, intercept = np.polyfit(m, m * 2 ** (t / half_life), 1)
    assert slope == pytest.approx(-0.5, abs=1e-9)
    assert intercept == pytest.approx(5000, rel=1e-9)


@pytest.mark.parametrize("model", ["non-paralysable", "paralysable"])
def test_decaying_source_finds_its_dead_time(model: str) -> None:
    rng = np.random.default_rng(36)
    dead = non_paralysable(TAU) if model == "non-paralysable" else paralysable(TAU)
    starts = np.arange(0, 500, 5.0)
    # long intervals: the mean over each, not the middle, is what counts
    fine = np.array(
        [
            observed_rate(5000 * 0.5 ** ((s + np.arange(50) / 10) / 100) + 0.5, dead).mean()
            for s in starts
        ]
    )
    ratio = variance_ratio(fine, dead)
    inside = []
    for _ in range(60):
        counts = np.maximum(np.round(rng.normal(fine * 5, np.sqrt(fine * 5 * ratio))), 0)
        got = dead_time_from_decay(
            starts,
            5.0,
            counts,
            100.0,
            rng.poisson(50),
            100.0,
            model=model,  # type: ignore[arg-type]
        )
        inside.append(got.tau.low <= TAU <= got.tau.high)
        assert abs(got.tau.value - TAU) < 4.5 * got.tau.u < 1e-5
    assert got.scale.value == pytest.approx(5000, rel=0.01)
    assert np.mean(inside) > 0.85  # 60 runs: 3 σ below 95 %


def test_ladder_finds_its_dead_time_and_a_wrong_one_misfits() -> None:
    rng = np.random.default_rng(37)
    x = np.array([1.0, 3, 10, 30, 100, 200])
    true = 10.0 * x + 0.4
    counts = rng.poisson(60 * observed_rate(true, non_paralysable(2e-4)))
    got = dead_time_from_ladder(x, counts, 60.0, 24, 60.0)
    assert got.resolved
    assert got.tau.low <= 2e-4 <= got.tau.high
    assert not got.fit.misfit
    bent = dead_time_from_ladder(x**1.2, counts, 60.0, 24, 60.0)
    assert bent.fit.misfit


def test_a_ladder_too_weak_does_not_resolve() -> None:
    got = dead_time_from_ladder([1.0, 2.0, 4.0], [30, 63, 118], 60.0, 5, 60.0)
    assert not got.resolved


def test_four_methods_compared() -> None:
    def tau(value: float, u: float) -> Estimate:
        return Estimate(value, u, value - 1.96 * u, value + 1.96 * u, unit="s")

    same = compare_dead_times(
        {
            "intervals": tau(100e-6, 1e-6),
            "two sources": tau(104e-6, 5e-6),
            "decay": tau(99e-6, 2e-6),
            "ladder": tau(30e-6, 40e-6),
        }
    )
    assert same.agree
    assert same.unresolved == ("ladder",)
    assert same.common.value == pytest.approx(99.9e-6, abs=5e-7)
    # χ² by hand: ((100-99.9)/1)² + … against scipy's table
    assert same.p_value == pytest.approx(stats.chi2.sf(same.chi2, 3))
    apart = compare_dead_times(
        {"intervals": tau(100e-6, 1e-6), "decay": tau(101e-6, 1e-6), "ladder": tau(150e-6, 5e-6)}
    )
    assert not apart.agree
    assert apart.outlying[0] == "ladder"
    assert apart.common.u > 1e-6


@pytest.mark.parametrize(
    "call",
    [
        lambda: DeadTime(-1e-6),
        lambda: true_rate(20_000, non_paralysable(TAU)),
        lambda: true_rate(4000, paralysable(TAU)),
        lambda: two_source_tau(0.0, 10.0, 10.0),
        lambda: two_source_tau(100.0, 100.0, 50.0),
        lambda: dead_time_from_intervals([0.1, 0.2]),
        lambda: dead_time_from_intervals([0.1, 0.2, -0.1]),
        lambda: dead_time_from_decay([0, 1, 2], 1.0, [9, 8, 7], 0.0),
        lambda: dead_time_from_ladder([1, 2], [9, 8, 7], 1.0),
        lambda: compare_dead_times({}),
    ],
)
def test_bad_input_gets_a_sentence(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(UserError):
        call()
