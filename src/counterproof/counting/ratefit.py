"""Fit of a rate law to counts, with or without dead time: the engine of three methods.

Counts Nᵢ in times tᵢ are compared with μᵢ = tᵢ m(nᵢ(θ)), m being the dead-time model, by the
Poisson deviance over the variance ratio F (quasi-likelihood; McCullagh & Nelder, Generalized
Linear Models, ch. 9)::

    D = Σ 2 [N ln(N/μ) - N + μ] / Fᵢ,     Fᵢ = variance_ratio(m) + μ sᵢ²

sᵢ is the relative standard uncertainty that the point's position adds. D serves as χ² for the
goodness of fit; the covariance is (JᵀJ)⁻¹.

Zero counts at a point contribute 2μ, as they should, and need no special case.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc, xlogy

from counterproof.counting.checks import Floats, checked_counts, checked_live
from counterproof.counting.deadtime import DeadTime, observed_rate, variance_ratio
from counterproof.errors import UserError
from counterproof.texts import text

Law = Callable[[Floats], Floats]


@dataclass(frozen=True, eq=False)
class RateFit:
    """A fitted rate law.

    Args:
        parameters: θ, in the law's order, then the dead time in seconds if it was fitted.
        covariance: their covariance matrix.
        expected: fitted counts, shape (n,).
        residuals: signed deviance residuals, shape (n,).
        chi2: D.
        dof: points less parameters.
        p_value: probability of a larger χ²; ``nan`` without degrees of freedom.
    """

    parameters: Floats
    covariance: Floats
    expected: Floats
    residuals: Floats
    chi2: float
    dof: int
    p_value: float

    @property
    def u(self) -> Floats:
        """Standard uncertainties of the parameters."""
        return np.asarray(np.sqrt(np.diag(self.covariance)), dtype=np.float64)

    @property
    def misfit(self) -> bool:
        """Whether the law fails to describe the counts (p < 0.01)."""
        return self.p_value < 0.01


def fit_rates(
    law: Law,
    start: Floats,
    counts: Floats,
    live_s: Floats,
    *,
    dead: Callable[[float], DeadTime] | DeadTime | None = None,
    tau_start_s: float = 1e-4,
    position_u_rel: Callable[[Floats], Floats] | None = None,
    lower: Floats | None = None,
) -> RateFit:
    """Fit θ (and a dead time, when ``dead`` is a function of it) to counts.

    Args:
        law: true rates n(θ) in 1/s, shape (n,), from θ, shape (k,).
        start: first guess of θ.
        counts: counts, shape (n,).
        live_s: counting times in seconds, shape (n,).
        dead: none, a fixed model, or a function from the fitted dead time to the model.
        tau_start_s: first guess of a fitted dead time.
        position_u_rel: sᵢ(θ), relative uncertainty of the rate from position, shape (n,).
        lower: lower bounds of θ; none when left out.

    Raises:
        UserError: if there are fewer points than parameters or the fit does not settle.
    """
    from scipy.optimize import least_squares

    n, t = checked_counts(counts), checked_live(live_s)
    free_tau = callable(dead)
    theta = np.append(start, tau_start_s) if free_tau else np.asarray(start, dtype=np.float64)
    if n.size < theta.size:
        raise UserError(text("counting.too_few", what="points", needed=theta.size, given=n.size))

    def model(at: Floats) -> DeadTime:
        if dead is None:
            return DeadTime()
        return dead if isinstance(dead, DeadTime) else dead(max(float(at[-1]), 0.0))

    def expect(at: Floats) -> Floats:
        rates = np.maximum(law(at[:-1] if free_tau else at), 0.0)
        return np.asarray(np.maximum(t * observed_rate(rates, model(at)), 1e-12))

    def deviance(at: Floats, weight: Floats) -> Floats:
        mu = expect(at)
        terms = np.maximum(2.0 * (xlogy(n, n / mu) - n + mu), 0.0)
        return np.asarray(np.sign(n - mu) * np.sqrt(terms * weight))

    bounds = np.full(theta.size, -np.inf)
    if lower is not None:
        bounds[: lower.size] = lower
    if free_tau:
        bounds[-1] = 0.0
    weight = np.ones_like(n)
    solution = None
    for _ in range(6):  # F depends on the fit, the fit on F
        solution = least_squares(
            deviance,
            np.maximum(theta, bounds),
            args=(weight,),
            bounds=(bounds, np.inf),
            x_scale=np.maximum(np.abs(theta), 1e-9),
            xtol=1e-12,
            ftol=1e-12,
            gtol=1e-12,
            max_nfev=2000,
        )
        if not solution.success:
            raise UserError(text("counting.fit_failed"))
        moved = np.abs(solution.x - theta) > 1e-7 * np.maximum(np.abs(theta), 1e-12)
        theta = np.asarray(solution.x, dtype=np.float64)
        mu = expect(theta)
        ratio = variance_ratio(mu / t, model(theta))
        if position_u_rel is not None:
            ratio = ratio + mu * position_u_rel(theta) ** 2
        weight = 1.0 / ratio
        if not moved.any():
            break
    assert solution is not None
    residuals = deviance(theta, weight)
    jacobian = np.asarray(solution.jac, dtype=np.float64)
    scale = np.maximum(np.sqrt((jacobian**2).sum(axis=0)), 1e-300)
    covariance = np.linalg.pinv((jacobian / scale).T @ (jacobian / scale)) / np.outer(scale, scale)
    chi2, dof = float((residuals**2).sum()), n.size - theta.size
    p = float(gammaincc(dof / 2.0, chi2 / 2.0)) if dof > 0 else float("nan")
    return RateFit(theta, covariance, expect(theta), residuals, chi2, dof, p)
