"""Dead-time models: observed rate m from true rate n, and back.

One formula with two times covers three models (hybrid form: Lee & Gardner, Appl. Radiat. Isot. 53
(2000) 731; its limits: Knoll, Radiation Detection and Measurement, ch. 4 VII)::

    m = n e^(-n τ_P) / (1 + n τ_N)

    non-paralysable   τ_P = 0    dead for τ_N after each *accepted* event
    paralysable       τ_N = 0    dead for τ_P after *every* event
    hybrid            both

With τ_P > 0 a counter shows every rate below its maximum for *two* true rates;
:func:`true_rate_estimate` gives the lower and names the other.

Dead time also makes counts more regular than Poisson's: the variance of N is F·N with
F = (1 - mτ)² (non-paralysable) or 1 - 2mτ (paralysable; Müller, Nucl. Instrum. Methods 112 (1973)
47). For the hybrid (1 - mτ_N)² - 2mτ_P is used, right to first order.

Zero counts: an observed rate of 0 gives a true rate of 0 in every model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from counterproof.counting.checks import Floats, checked_counts, checked_live
from counterproof.counting.poisson import counts_limits, rate_estimate
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class DeadTime:
    """The two times of the hybrid model; either may be 0.

    Args:
        tau_n_s: non-paralysable time τ_N in seconds.
        tau_p_s: paralysable time τ_P in seconds.

    Raises:
        UserError: for a negative time.
    """

    tau_n_s: float = 0.0
    tau_p_s: float = 0.0

    def __post_init__(self) -> None:
        """Refuse times that cannot be."""
        both = (self.tau_n_s, self.tau_p_s)
        if not np.isfinite(both).all() or min(both) < 0.0:
            raise UserError(text("counting.correction"))

    @property
    def turning_rate_per_s(self) -> float:
        """True rate beyond which the observed rate falls again; ``inf`` without τ_P."""
        n, p = self.tau_n_s, self.tau_p_s
        if p == 0.0:
            return float("inf")
        if n == 0.0:
            return 1.0 / p
        # root of n p x² + p x - 1, in the form that does not cancel for a small τ_N
        return float(2.0 / (p + np.sqrt(p * p + 4.0 * n * p)))

    @property
    def highest_rate_per_s(self) -> float:
        """Largest rate that can be observed (a limit, not reached, without τ_P)."""
        if self.tau_p_s == 0.0:
            return 1.0 / self.tau_n_s if self.tau_n_s > 0.0 else float("inf")
        return float(observed_rate(self.turning_rate_per_s, self))


def non_paralysable(tau_s: float) -> DeadTime:
    """Dead for ``tau_s`` after each accepted event."""
    return DeadTime(tau_n_s=tau_s)


def paralysable(tau_s: float) -> DeadTime:
    """Dead for ``tau_s`` after every event, accepted or not."""
    return DeadTime(tau_p_s=tau_s)


def observed_rate(true_per_s: ArrayLike, dead: DeadTime) -> Floats:
    """Rate that the counter shows, m(n); 0 for 0 and, with τ_P, for ∞.

    Args:
        true_per_s: true rates in 1/s, any shape.
        dead: the model.
    """
    n = np.asarray(true_per_s, dtype=np.float64)
    finite = np.where(np.isinf(n), 0.0, n)
    m = finite * np.exp(-finite * dead.tau_p_s) / (1.0 + finite * dead.tau_n_s)
    limit = dead.highest_rate_per_s if dead.tau_p_s == 0.0 else 0.0
    return np.asarray(np.where(np.isinf(n), limit, m), dtype=np.float64)


def true_rate(observed_per_s: ArrayLike, dead: DeadTime) -> Floats:
    """True rate n behind an observed one: the usual, lower root; 0 for 0.

    Newton's method on ln m(n), which is concave: from n = m it climbs to the root and never
    passes it.

    Args:
        observed_per_s: observed rates in 1/s, any shape.
        dead: the model.

    Raises:
        UserError: for a rate that the model cannot show.
    """
    m = _reachable(observed_per_s, dead)
    if dead.tau_p_s == 0.0:
        return np.asarray(m / (1.0 - m * dead.tau_n_s), dtype=np.float64)
    some = np.where(m > 0.0, m, 0.5 * dead.highest_rate_per_s)
    root = _newton(some, some, dead)
    # at the very top both roots meet and rounding may carry the last step across
    return np.asarray(np.where(m > 0.0, np.minimum(root, dead.turning_rate_per_s), 0.0))


def paralysed_rate(observed_per_s: ArrayLike, dead: DeadTime) -> Floats:
    """The other, higher true rate that a counter with τ_P shows as the same; ``inf`` if none.

    Args:
        observed_per_s: observed rates in 1/s, any shape; 0 has the other root ``inf``.
        dead: the model.

    Raises:
        UserError: for a rate that the model cannot show.
    """
    m = _reachable(observed_per_s, dead)
    if dead.tau_p_s == 0.0:
        return np.full_like(m, np.inf)
    some = np.where(m > 0.0, m, 0.5 * dead.highest_rate_per_s)
    # right of the root: bound of Lambert's W₋₁ (Chatzigeorgiou, IEEE Commun. Lett. 17 (2013) 1505)
    depth = np.maximum(-np.log(some) - np.log(dead.tau_p_s) - 1.0, 0.0)
    start = (1.0 + np.sqrt(2.0 * depth) + depth) / dead.tau_p_s
    root = _newton(start, some, dead)
    return np.asarray(np.where(m > 0.0, np.maximum(root, dead.turning_rate_per_s), np.inf))


def _reachable(observed_per_s: ArrayLike, dead: DeadTime) -> Floats:
    m = checked_counts(observed_per_s)
    top = dead.highest_rate_per_s
    if not bool(np.all((m <= top) if dead.tau_p_s > 0.0 else (m < top))):
        raise UserError(text("counting.above_highest", rate=f"{m.max():g}", highest=f"{top:g}"))
    return m


def _newton(start: Floats, observed: Floats, dead: DeadTime) -> Floats:
    n = np.array(start, dtype=np.float64)
    for _ in range(100):
        beyond = 1.0 + n * dead.tau_n_s
        excess = np.log(n) - np.log(observed) - n * dead.tau_p_s - np.log(beyond)
        slope = 1.0 - n * dead.tau_p_s - n * dead.tau_n_s / beyond  # by ln n
        move = n * excess / np.where(np.abs(slope) > 1e-9, slope, np.inf)
        n = n - move
        if bool((np.abs(move) <= 1e-14 * n).all()):
            break
    return n


def variance_ratio(observed_per_s: ArrayLike, dead: DeadTime) -> Floats:
    """F, variance of a count over the count, for counting times long against the dead time.

    1 at zero rate. Not below 0.05, where the first-order form of the hybrid gives out.
    """
    m = np.asarray(observed_per_s, dtype=np.float64)
    ratio = np.maximum(1.0 - m * dead.tau_n_s, 0.0) ** 2 - 2.0 * m * dead.tau_p_s
    return np.asarray(np.maximum(ratio, 0.05), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class TrueRate:
    """A true rate and what else the counter may have meant.

    Args:
        rate: the usual (lower) root with its interval, in 1/s.
        paralysed_per_s: the other true rate that shows the same; ``inf`` if there is none.
        warnings: sentences that the reader must see.
    """

    rate: Estimate
    paralysed_per_s: float
    warnings: tuple[str, ...]


def true_rate_estimate(
    counts: float,
    live_s: float,
    dead: DeadTime,
    *,
    tau_n_u_s: float = 0.0,
    tau_p_u_s: float = 0.0,
    coverage: float = 0.95,
) -> TrueRate:
    """True rate behind counts, with the interval that counts and uncertain dead times leave.

    Exact for the non-paralysable model (:func:`counterproof.counting.poisson.rate_estimate`). With
    τ_P the limits of the observed rate (Garwood's, narrowed by √F) go through the inverse and the
    dead times' uncertainty is added in quadrature. Zero counts give 0 with a finite upper limit.

    Args:
        counts: observed counts.
        live_s: recorded time, dead times not taken off, in seconds.
        dead: the model.
        tau_n_u_s: standard uncertainty of τ_N in seconds.
        tau_p_u_s: standard uncertainty of τ_P in seconds.
        coverage: nominal coverage.

    Raises:
        UserError: for counts that the model cannot show, or bad input.
    """
    if dead.tau_p_s == 0.0 and tau_p_u_s == 0.0:
        exact = rate_estimate(
            counts,
            live_s,
            resolving_time_s=dead.tau_n_s,
            resolving_time_u_s=tau_n_u_s,
            coverage=coverage,
        )
        return TrueRate(exact, float("inf"), ())
    n, t = float(checked_counts(counts)), float(checked_live(live_s))
    m = n / t
    value, other = float(true_rate(m, dead)), float(paralysed_rate(m, dead))
    ratio = float(variance_ratio(m, dead))
    few, many = counts_limits(n / ratio, coverage)
    top = dead.highest_rate_per_s
    m_low, m_high = float(few) * ratio / t, float(many) * ratio / t
    low = float(true_rate(m_low, dead))
    beyond = m_high >= top
    high = dead.turning_rate_per_s if beyond else float(true_rate(m_high, dead))
    slope = 1.0 / value - dead.tau_p_s - dead.tau_n_s / (1.0 + value * dead.tau_n_s) if n else 1.0
    # d ln m / d ln n = n · slope; d ln m / dτ_P = -n, d ln m / dτ_N = -n/(1 + nτ_N)
    steep = max(slope, 1e-12)
    from_tau = np.hypot(tau_p_u_s, tau_n_u_s / (1.0 + value * dead.tau_n_s)) * value / steep
    count_u = np.sqrt(max(n, 1.0) * ratio) / max(n, 1.0) / steep if n else 1.0 / t
    z = (high - low) / 2.0 / count_u if count_u > 0 and n else 2.0
    reach = from_tau * max(z, 1.0)
    warnings = []
    if np.isfinite(other):
        warnings.append(text("counting.two_roots", usual=f"{value:.4g}", other=f"{other:.4g}"))
    if beyond:
        warnings.append(text("counting.near_turning", rate=f"{dead.turning_rate_per_s:.4g}"))
    estimate = Estimate(
        value,
        float(np.hypot(count_u, from_tau)),
        max(0.0, value - float(np.hypot(value - low, reach))),
        value + float(np.hypot(high - value, reach)),
        coverage,
        "1/s",
        n,
        "dead time taken off (with a paralysable part)",
    )
    return TrueRate(estimate, other, tuple(warnings))


def impose_dead_time(times_s: ArrayLike, tau_s: float) -> Floats:
    """Keep the events that a non-paralysable counter of dead time ``tau_s`` would accept.

    Makes the resolving time of a list definite: afterwards no two events are closer than
    ``tau_s``, and the rate may be corrected with exactly that value. An empty list stays empty.

    Args:
        times_s: event times in seconds, ascending, shape (n,).
        tau_s: dead time in seconds, ≥ 0.

    Returns:
        The accepted times, shape (k,), k ≤ n.
    """
    t = np.asarray(times_s, dtype=np.float64)
    if tau_s <= 0.0 or t.size == 0:
        return t
    kept = []
    at = 0
    # jump from one accepted event to the next: one search per accepted event, none per loss
    while at < t.size:
        kept.append(at)
        following = at + 1
        if following < t.size and t[following] - t[at] < tau_s:
            following = int(np.searchsorted(t, t[at] + tau_s, side="left"))
            following = max(following, at + 1)
        at = following
    return t[np.asarray(kept, dtype=np.intp)]
