"""Uncertainty budgets after the GUM (JCGM 100:2008) and its Supplement 1 (JCGM 101:2008).

What to use when: list the components yourself with :class:`Component` and :class:`Budget` when the
sensitivity coefficients are known (a calibration's budget in per cent, for example); let
:func:`budget_of` find them from a model function; check with :func:`monte_carlo` when the model
bends within the uncertainties or a component of other shape than the normal one dominates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from counterproof.quantities.estimate import Estimate

Distribution = Literal["normal", "rectangular", "triangular", "arcsine"]

_DIVISORS: dict[str, float] = {
    "rectangular": math.sqrt(3.0),  # GUM 4.3.7
    "triangular": math.sqrt(6.0),  # GUM 4.3.9
    "arcsine": math.sqrt(2.0),  # JCGM 101, 6.4.6
}


@dataclass(frozen=True, slots=True)
class Component:
    """One line of a budget.

    Args:
        name: what it is.
        u: standard uncertainty of the input; give this or ``half_width``.
        half_width: half width of the input's bounds (not for ``"normal"``).
        kind: ``"A"`` from repeated observation, ``"B"`` from other knowledge.
        distribution: shape of the input's distribution.
        sensitivity: sensitivity coefficient, result's unit per input's unit.
        dof: degrees of freedom; infinite for most of type B.
        source: where the figure comes from.

    Raises:
        ValueError: if not exactly one of ``u`` and ``half_width`` is given, either is negative,
            or a half width is given for a normal distribution.
    """

    name: str
    u: float = math.nan
    half_width: float = math.nan
    kind: Literal["A", "B"] = "B"
    distribution: Distribution = "normal"
    sensitivity: float = 1.0
    dof: float = math.inf
    source: str = ""

    def __post_init__(self) -> None:
        """Derive the standard uncertainty from the half width (GUM 4.3)."""
        if math.isnan(self.u) == math.isnan(self.half_width):
            raise ValueError(f"{self.name}: give either u or half_width")
        if math.isnan(self.u):
            if self.distribution == "normal":
                raise ValueError(f"{self.name}: a normal distribution has no half width")
            object.__setattr__(self, "u", self.half_width / _DIVISORS[self.distribution])
        if self.u < 0 or self.dof <= 0:
            raise ValueError(f"{self.name}: u must not be negative, degrees of freedom positive")

    @property
    def contribution(self) -> float:
        """|c|·u, in the result's unit."""
        return abs(self.sensitivity) * self.u

    def deviates(self, n: int, generator: np.random.Generator) -> NDArray[np.float64]:
        """Return ``n`` draws of the input's deviation from its estimate (JCGM 101, 6.4)."""
        u = self.u
        if self.distribution == "normal":
            if math.isfinite(self.dof):  # scaled and shifted t, JCGM 101, 6.4.9
                return u * generator.standard_t(self.dof, n)
            return generator.normal(0.0, u, n)
        a = u * _DIVISORS[self.distribution]
        if self.distribution == "rectangular":
            return generator.uniform(-a, a, n)
        if self.distribution == "triangular":
            return generator.triangular(-a, 0.0, a, n) if a > 0 else np.zeros(n)
        return a * np.sin(generator.uniform(0.0, 2.0 * math.pi, n))


def coverage_factor(coverage: float, dof: float = math.inf) -> float:
    """Return k for a two-sided coverage: Student's t, normal for infinite degrees of freedom.

    Fractional degrees of freedom are cut to the next lower integer (GUM G.4.1).
    """
    from scipy.special import ndtri, stdtrit  # late: keeps the command line quick

    p = 0.5 + coverage / 2.0
    if math.isinf(dof):
        return float(ndtri(p))
    return float(stdtrit(max(1.0, math.floor(dof)), p))


@dataclass(frozen=True, slots=True)
class Budget:
    """Components of a result and their combination; uncorrelated inputs.

    Args:
        value: the result's best estimate, in ``unit``.
        components: lines of the budget.
        unit: of the result.
        counts: counts behind the result, if any.
    """

    value: float
    components: tuple[Component, ...] = field(default_factory=tuple)
    unit: str = ""
    counts: float | None = None

    @property
    def u(self) -> float:
        """Combined standard uncertainty (GUM, equation 11a)."""
        return math.hypot(*(c.contribution for c in self.components))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch–Satterthwaite, GUM equation G.2b)."""
        total = self.u
        bottom = sum((c.contribution / total) ** 4 / c.dof for c in self.components if total)
        return 1.0 / bottom if bottom else math.inf

    def u_of(self, kind: Literal["A", "B"]) -> float:
        """Combined standard uncertainty of the components of one type."""
        return math.hypot(*(c.contribution for c in self.components if c.kind == kind))

    def shares(self) -> tuple[float, ...]:
        """Share of each component in the combined variance, adding up to 1."""
        total = self.u**2
        return tuple(c.contribution**2 / total if total else 0.0 for c in self.components)

    def expanded(self, k: float = 2.0) -> float:
        """Return the expanded uncertainty U = k·u."""
        return k * self.u

    def estimate(self, coverage: float = 0.95) -> Estimate:
        """Return value, u and interval value ± k·u with k from the effective degrees of freedom."""
        half = coverage_factor(coverage, self.dof) * self.u
        return Estimate(
            self.value,
            self.u,
            self.value - half,
            self.value + half,
            coverage,
            self.unit,
            self.counts,
            "GUM budget, k from effective degrees of freedom",
        )


Model = Callable[..., float]


def budget_of(
    model: Model,
    values: Mapping[str, float],
    components: Sequence[Component],
    unit: str = "",
) -> Budget:
    """Build the budget of ``model(**values)`` with sensitivities from the model itself.

    Each coefficient is [f(x+u) − f(x−u)]/(2u), the GUM's numerical form (5.1.3, note 2), so that
    moderate curvature is met halfway. Components whose name is no input add to the result as they
    stand.

    Args:
        model: called with the inputs as keyword arguments.
        values: best estimate of each input.
        components: uncertainty of inputs, matched by name; their ``sensitivity`` is replaced.
        unit: of the result.
    """
    lines = []
    for c in components:
        if c.name not in values or c.u == 0.0:
            lines.append(c)
            continue
        up = model(**{**values, c.name: values[c.name] + c.u})
        down = model(**{**values, c.name: values[c.name] - c.u})
        lines.append(
            Component(
                c.name,
                u=c.u,
                kind=c.kind,
                distribution=c.distribution,
                sensitivity=(up - down) / (2.0 * c.u),
                dof=c.dof,
                source=c.source,
            )
        )
    return Budget(model(**values), tuple(lines), unit)


def monte_carlo(
    model: Callable[..., NDArray[np.float64]],
    values: Mapping[str, float],
    components: Sequence[Component],
    unit: str = "",
    coverage: float = 0.95,
    trials: int = 200_000,
    seed: int = 0,
) -> Estimate:
    """Propagate distributions through ``model`` (JCGM 101); the interval is probability-symmetric.

    Args:
        model: takes arrays of shape (trials,) as keyword arguments and returns one.
        values: best estimate of each input.
        components: distribution of each uncertain input, matched by name.
        unit: of the result.
        coverage: probability of the interval.
        trials: number of draws.
        seed: of the generator; the same seed gives the same result.

    Raises:
        ValueError: if a component is named like no input.
    """
    generator = np.random.default_rng(seed)
    drawn: dict[str, NDArray[np.float64]] = {
        name: np.full(trials, float(value)) for name, value in values.items()
    }
    for c in components:
        if c.name not in drawn:
            raise ValueError(f"no input is named {c.name!r}")
        drawn[c.name] = drawn[c.name] + c.deviates(trials, generator)
    y = np.asarray(model(**drawn), dtype=np.float64)
    low, high = np.quantile(y, [0.5 - coverage / 2.0, 0.5 + coverage / 2.0])
    return Estimate(
        float(y.mean()),
        float(y.std(ddof=1)),
        float(low),
        float(high),
        coverage,
        unit,
        None,
        f"Monte Carlo propagation, {trials} trials, seed {seed}",
    )
