"""Dead time by four methods, their agreement, the hybrid model; fold-back."""

from __future__ import annotations

import numpy as np
import pytest

from counterproof.counting.deadtime import DeadTime, impose_dead_time, observed_rate
from counterproof.forensics.deadtimefindings import dead_time_findings, fold_findings
from counterproof.forensics.deadtimes import Series, dead_times, fit_hybrid
from counterproof.records import Finding
from counterproof.trials.shape import Evidence
from tests.forensics.runs import LANTERN, estimate, evidence, shown, steady

AB = (("a",), ("b",), ("a", "b"), ())


def two_sources(rates: tuple[float, ...], seconds: tuple[float, ...]) -> list[Evidence]:
    return [
        evidence(f"r{i}", sources=s, counts=round(r * t), seconds=t)
        for i, (s, r, t) in enumerate(zip(AB, rates, seconds, strict=True))
    ]


def only(found: list[Finding]) -> Finding:
    assert len(found) == 1
    return found[0]


def test_two_sources_with_background():
    # exact example with background after Knoll, ch. 4 VII (from memory): 100.000 µs
    rates = (909.91728, 1072.22569, 1803.95050, 0.99990001)
    found = only(dead_time_findings(LANTERN, two_sources(rates, (1e5,) * 4)))
    assert found.measured is not None
    assert found.measured.value == pytest.approx(100.0, abs=0.1)
    assert "two sources" in found.statement
    assert found.next_measurement is not None
    assert found.runs == ("r0", "r1", "r2", "r3")


def test_a_measured_pair_of_half_sources():
    # Tl-204 half sources of a public laboratory log (LFEA course, counts per second): 719.0 µs
    rates = (152.85, 152.98, 275.13, 0.63)
    found = dead_times(LANTERN, two_sources(rates, (1e5,) * 4))
    assert found.each["two sources"].value == pytest.approx(719.0e-6, rel=1e-3)


def test_a_pair_that_resolves_nothing_gives_a_limit_and_no_value():
    # 4854, 5141, 9943 and 37 counts in 60 s each: 18 ± 172 µs (calculated)
    rates = tuple(n / 60.0 for n in (4854, 5141, 9943, 37))
    found = only(dead_time_findings(LANTERN, two_sources(rates, (60.0,) * 4)))
    assert found.statement.startswith("Not resolved")
    assert found.log10_bayes_factor is None
    assert found.strength == "nothing found"


TAU = 200e-6


def four_ways(moved: float = 1.0) -> list[Evidence]:
    """Runs for all four methods with a dead time of 200 µs; the pair's second source may move."""
    rng = np.random.default_rng(8)
    dead = DeadTime(tau_n_s=TAU)

    def count(true: float, seconds: float) -> int:
        return int(rng.poisson(float(observed_rate(true, dead)) * seconds))

    runs = [evidence("bg", counts=count(0.5, 3000.0), seconds=3000.0)]
    pair = ((("a",), 700.5), (("b",), 800.5), (("a", "b"), 700.5 + 800.0 * moved))
    runs += [
        evidence("+".join(s), sources=s, counts=count(r, 2000.0), seconds=2000.0) for s, r in pair
    ]
    line = impose_dead_time(steady(rng, 900.0, 100.0), TAU)
    runs.append(evidence("line", sources=("c",), distance_mm=30.0, pulses=line, seconds=100.0))
    half = 153.1  # Ba-137m, seconds
    for i in range(8):
        at = 100.0 * i
        mean = 1500.0 * np.exp(-np.log(2) * (at + 25.0) / half)
        runs.append(
            evidence(
                f"decay{i}",
                sources=("eluted",),
                nuclides=("Ba-137m",),
                distance_mm=20.0,
                counts=count(mean + 0.5, 50.0),
                seconds=50.0,
                after_s=at,
            )
        )
    for mm in (100.0, 60.0, 40.0, 30.0, 20.0):
        field = 2.0 * (100.0 / mm) ** 2
        runs.append(
            evidence(
                f"ladder{mm:.0f}",
                sources=("disc",),
                nuclides=("Cs-137",),
                distance_mm=mm,
                counts=count(30.0 * field + 0.5, 600.0),
                expected=estimate(field, 0.01),
            )
        )
    return runs


def test_four_methods_agree():
    found = dead_times(LANTERN, four_ways())
    assert set(found.each) == {"intervals", "two sources", "decaying source", "dose-rate ladder"}
    for each in found.each.values():
        assert each.low - 2.0 * each.u < TAU < each.high + 2.0 * each.u
    assert found.together is not None
    assert found.together.agree
    assert found.together.common.value == pytest.approx(TAU, rel=0.05)
    said = only(dead_time_findings(LANTERN, four_ways()))
    assert "The methods agree" in said.statement
    assert said.strength == "decisive"


def test_a_source_that_was_moved_is_named():
    said = only(dead_time_findings(LANTERN, four_ways(moved=0.9)))
    assert "do not agree" in said.statement
    assert "off: two sources" in said.statement
    assert any("moved" in r.statement for r in said.rivals)


def test_without_runs_for_any_method_nothing_is_said():
    assert dead_time_findings(LANTERN, [evidence("bg", counts=100)]) == []


def test_hybrid_recovers_the_split():
    # observed rates of τ_N = 95 µs, τ_P = 5 µs; m = n e^(-n τ_P)/(1 + n τ_N), Lee & Gardner (2000):
    # 908.6872, 3306.135 and 4878.100 at 1000, 5000 and 10000 per second
    true = np.array([1000.0, 2000.0, 5000.0, 8000.0, 10000.0, 20000.0])
    dead = DeadTime(tau_n_s=95e-6, tau_p_s=5e-6)
    rates = observed_rate(true, dead)
    assert rates[[0, 2, 4]] == pytest.approx([908.6872, 3306.135, 4878.100], rel=1e-6)
    live = np.full(true.size, 5000.0)
    series = Series("x", true / 1000.0, np.round(rates * live), live, 0.0, ())
    found = fit_hybrid(series, (0.0, 0.0))
    assert found is not None
    assert found.tau_n_s == pytest.approx(95e-6, rel=0.03)
    assert found.tau_p_s == pytest.approx(5e-6, rel=0.3)
    assert found.shares[0] <= 0.05 <= found.shares[1]
    assert found.lead > 100.0


def injected(shown_usv_h: tuple[float, ...]) -> list[Evidence]:
    rates = (10.0, 100.0, 1000.0, 10000.0, 100000.0)
    return [
        evidence(f"i{r:.0f}", seconds=600.0, readings=(shown(v),), injected_per_s=r)
        for r, v in zip(rates, shown_usv_h, strict=True)
    ]


def test_fold_back_on_injected_pulses():
    folds = only(fold_findings(LANTERN, injected((5.0, 50.0, 480.0, 2000.0, 300.0))))
    assert folds.strength == "decisive"
    assert folds.measured is not None
    assert folds.measured.value == pytest.approx(0.15, rel=0.01)
    assert "Never a stronger source" in folds.next_measurement.what  # type: ignore[union-attr]
    stays = only(fold_findings(LANTERN, injected((5.0, 50.0, 480.0, 2000.0, 2100.0))))
    assert stays.strength == "nothing found"
    assert stays.log10_bayes_factor is None


def ladder(shown_usv_h: tuple[float, ...]) -> list[Evidence]:
    places = (200.0, 100.0, 50.0, 30.0, 20.0)
    return [
        evidence(
            f"l{mm:.0f}",
            sources=("disc",),
            distance_mm=mm,
            readings=(shown(v),),
            expected=estimate((200.0 / mm) ** 2, 0.02),
        )
        for mm, v in zip(places, shown_usv_h, strict=True)
    ]


def test_fold_back_on_a_ladder_but_not_a_change_of_factor():
    assert only(fold_findings(LANTERN, ladder((1.0, 4.0, 16.0, 10.0, 3.0)))).strength == "decisive"
    # 110 below and 190 above a switch: the display may fall by the ratio of factors, no more
    assert fold_findings(LANTERN, ladder((1.0, 4.0, 16.0, 44.0, 58.0))) == []
    assert fold_findings(LANTERN, ladder((1.0, 4.0, 3.5, 9.7, 22.0))) == []
