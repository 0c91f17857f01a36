"""Uncertainty budgets after the GUM."""

import math

import numpy as np
import pytest
from uncertainties import ufloat, umath

from counterproof.quantities import Budget, Component, budget_of, coverage_factor, monte_carlo

CALIBRATION = (
    Component("reference", u=2.5),
    Component("distance", half_width=100 * 2 / 300, distribution="rectangular", sensitivity=2),
    Component("counts", u=2.236, kind="A"),
    Component("background", u=0.5, kind="A"),
    Component("resolution", half_width=0.5, distribution="rectangular"),
    Component("scatter", half_width=3.0, distribution="rectangular"),
    Component("positioning", u=1.0),
    Component("decay", u=0.1),
)


def test_calibration_budget_in_per_cent() -> None:
    # recomputed by hand: √(2.5² + 0.770² + 2.236² + 0.5² + 0.289² + 1.732² + 1² + 0.1²)
    budget = Budget(100.0, CALIBRATION, "%")
    assert budget.u == pytest.approx(4.023, abs=5e-4)
    assert budget.expanded(2) == pytest.approx(8.05, abs=5e-3)
    assert sum(budget.shares()) == pytest.approx(1.0)
    assert math.hypot(budget.u_of("A"), budget.u_of("B")) == pytest.approx(budget.u)
    assert budget.u_of("A") == pytest.approx(math.hypot(2.236, 0.5))


def test_welch_satterthwaite() -> None:
    # GUM example H.1 (end gauge): contributions 25, 9.7, 2.9, 16.6 nm (dof 18, 25.6 → ν of the
    # comparator's d as one line is simplified here), so the formula is recomputed by hand instead:
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    budget = Budget(0.0, tuple(Component(str(i), u=u, dof=v) for i, (u, v) in enumerate(parts)))
    u = math.sqrt(sum(p[0] ** 2 for p in parts))
    assert budget.u == pytest.approx(u)
    assert budget.dof == pytest.approx(u**4 / sum(p[0] ** 4 / p[1] for p in parts))
    # 16 effective degrees of freedom, as the GUM's example ends (H.1.6, from memory)
    assert math.floor(budget.dof) == 16
    # Student's t for 99 % and 16 degrees of freedom: 2.92 (GUM table G.2)
    assert coverage_factor(0.99, budget.dof) == pytest.approx(2.92, abs=5e-3)


@pytest.mark.parametrize(
    ("dof", "k"),
    [(1, 12.71), (2, 4.30), (10, 2.23), (20, 2.09), (math.inf, 1.960)],  # GUM table G.2, 95 %
)
def test_coverage_factors(dof: float, k: float) -> None:
    assert coverage_factor(0.95, dof) == pytest.approx(k, abs=5e-3)


def test_sensitivities_from_the_model_agree_with_the_uncertainties_package() -> None:
    def model(rate: float, distance: float, offset: float) -> float:
        return rate * (distance + offset) ** 2 * math.exp(-0.01 * distance)

    values = {"rate": 12.0, "distance": 10.0, "offset": 0.4}
    us = {"rate": 0.1, "distance": 0.02, "offset": 0.01}
    budget = budget_of(model, values, [Component(n, u=u) for n, u in us.items()], "x")
    rate, distance, offset = (ufloat(values[n], us[n]) for n in values)
    reference = rate * (distance + offset) ** 2 * umath.exp(-0.01 * distance)
    assert budget.value == pytest.approx(reference.nominal_value)
    assert budget.u == pytest.approx(reference.std_dev, rel=1e-4)


def test_monte_carlo_of_a_sum_of_rectangles() -> None:
    # JCGM 101:2008, 9.2.3: sum of four rectangular inputs of u = 1 each: u = 2.0 and the 95 %
    # interval is ±3.88 (from memory; the GUM's normal interval would be ±3.92).
    parts = [Component(n, u=1.0, distribution="rectangular", half_width=math.nan) for n in "abcd"]
    result = monte_carlo(
        lambda a, b, c, d: a + b + c + d, dict.fromkeys("abcd", 0.0), parts, trials=400_000, seed=1
    )
    assert result.u == pytest.approx(2.0, rel=5e-3)
    assert (result.low, result.high) == pytest.approx((-3.88, 3.88), abs=0.02)


@pytest.mark.parametrize("shape", ["normal", "rectangular", "triangular", "arcsine"])
def test_each_shape_has_its_standard_uncertainty(shape: str) -> None:
    part = Component("x", u=0.7, distribution=shape)  # type: ignore[arg-type]
    drawn = part.deviates(200_000, np.random.default_rng(3))
    assert drawn.std() == pytest.approx(0.7, rel=0.01)
    assert abs(drawn.mean()) < 0.01


def test_half_widths_become_standard_uncertainties() -> None:
    # GUM 4.3.7 and 4.3.9; arcsine: JCGM 101, 6.4.6
    for shape, divisor in (("rectangular", 3), ("triangular", 6), ("arcsine", 2)):
        part = Component("x", half_width=1.0, distribution=shape)  # type: ignore[arg-type]
        assert part.u == pytest.approx(1 / math.sqrt(divisor))


def test_monte_carlo_is_reproducible_and_sees_curvature() -> None:
    parts = [Component("d", u=1.0)]
    first = monte_carlo(lambda d: 1 / d**2, {"d": 10.0}, parts, seed=5)
    again = monte_carlo(lambda d: 1 / d**2, {"d": 10.0}, parts, seed=5)
    assert first == again
    # E[1/d²] ≈ (1 + 3u²/d² + 15u⁴/d⁴)/d²; the linear budget stays at 1/d²
    assert first.value == pytest.approx(0.01 * (1 + 0.03 + 0.0015), rel=5e-3)


def test_what_is_no_component_is_refused() -> None:
    with pytest.raises(ValueError, match="either u or half_width"):
        Component("x")
    with pytest.raises(ValueError, match="no half width"):
        Component("x", half_width=1.0)
    with pytest.raises(ValueError, match="not be negative"):
        Component("x", u=-1.0)
    with pytest.raises(ValueError, match="no input"):
        monte_carlo(lambda x: x, {"x": 1.0}, [Component("y", u=1.0)])


def test_empty_and_exact_budgets() -> None:
    assert Budget(5.0).u == 0.0
    exact = Budget(5.0, (Component("x", u=0.0),)).estimate()
    assert (exact.low, exact.high) == (5.0, 5.0)
