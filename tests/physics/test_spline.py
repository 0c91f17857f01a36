import numpy as np
import pytest
from scipy.interpolate import CubicSpline as Reference

from counterproof.physics.spline import CubicSpline


@pytest.mark.parametrize("points", [2, 3, 4, 5, 40])
def test_against_scipy(points: int) -> None:
    generator = np.random.default_rng(points)
    x = np.cumsum(generator.uniform(0.1, 1.0, points))
    y = generator.normal(size=points)
    at = np.linspace(x[0] - 0.2, x[-1] + 0.2, 101)
    reference = Reference(x, y, bc_type="not-a-knot")
    np.testing.assert_allclose(CubicSpline(x, y)(at), reference(at), rtol=1e-9, atol=1e-10)
    whole = reference.antiderivative()(x)
    np.testing.assert_allclose(CubicSpline(x, y).integral(), whole - whole[0], atol=1e-10)
