"""Seeded pulse trains of a counter's tube: what arrives, and what the tube lets through.

What to use when: :func:`poisson_times` for a constant field, :func:`changing_times` for steps,
decay and drift, :func:`pickup_times` for mains, :func:`regular_times` for counts smoother than
chance allows; then :func:`recorded` to take off dead time and :func:`with_double_pulses` to add
what a poor quench adds. All take a :class:`numpy.random.Generator`, so that a seed is a result.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def poisson_times(rate_per_s: float, duration_s: float, rng: np.random.Generator) -> Floats:
    """Return event times of a Poisson process at a constant rate.

    Args:
        rate_per_s: true rate, not negative.
        duration_s: length in seconds, not negative.
        rng: source of randomness.

    Returns:
        Ascending times in seconds within 0…``duration_s``, shape (n,).

    Raises:
        ValueError: if rate or duration is negative or not finite.
    """
    mean = rate_per_s * duration_s
    if not (np.isfinite(mean) and rate_per_s >= 0 and duration_s >= 0):
        raise ValueError("rate and duration must be finite and not negative")
    # n+1 exponential gaps scaled to the length are n ordered uniforms: no sorting needed
    n = int(rng.poisson(mean))
    gaps = rng.standard_exponential(n + 1)
    np.cumsum(gaps, out=gaps)
    return np.asarray(gaps[:n] * (duration_s / gaps[n]))


def changing_times(
    rate_per_s: Callable[[Floats], Floats],
    duration_s: float,
    rng: np.random.Generator,
    *,
    step_s: float = 0.05,
) -> Floats:
    """Return event times of a Poisson process whose rate changes.

    The rate is integrated by trapezoids of ``step_s`` and a process of unit rate is mapped through
    the inverse of that integral (time-rescaling theorem), so the counts in any interval are
    exactly Poisson around the trapezoidal integral.

    Args:
        rate_per_s: rate at given times, array in, array out, not negative.
        duration_s: length in seconds.
        rng: source of randomness.
        step_s: grid of the integral; steps are smeared over one of these.

    Returns:
        Ascending times in seconds, shape (n,).

    Raises:
        ValueError: if a rate is negative or not finite.
    """
    grid = np.linspace(0.0, duration_s, max(2, int(np.ceil(duration_s / step_s)) + 1))
    rate = np.broadcast_to(np.asarray(rate_per_s(grid), dtype=np.float64), grid.shape)
    if not np.isfinite(rate).all() or bool((rate < 0).any()):
        raise ValueError("the rate must be finite and not negative at all times")
    total = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(grid))))
    if total[-1] == 0.0:
        return np.empty(0)
    # flat stretches (rate 0) hold no events; np.interp needs an ascending abscissa only
    return np.interp(poisson_times(1.0, float(total[-1]), rng), total, grid)


def steps(starts_s: Floats, rates_per_s: Floats) -> Callable[[Floats], Floats]:
    """Return a rate function that holds ``rates_per_s[i]`` from ``starts_s[i]`` on.

    Args:
        starts_s: ascending start times, the first at or before 0, shape (n,).
        rates_per_s: rates, shape (n,).
    """
    starts, rates = np.asarray(starts_s, float), np.asarray(rates_per_s, float)

    def rate(t: Floats) -> Floats:
        return rates[np.clip(np.searchsorted(starts, t, side="right") - 1, 0, None)]

    return rate


def decaying(
    rate_per_s: float, half_life_s: float, background_per_s: float = 0.0
) -> Callable[[Floats], Floats]:
    """Return the rate function of a decaying source: n·2^(−t/T½) + background."""

    def rate(t: Floats) -> Floats:
        return np.asarray(background_per_s + rate_per_s * np.exp2(-t / half_life_s))

    return rate


def unsteady_voltage(
    rate_per_s: float,
    rng: np.random.Generator,
    *,
    duration_s: float,
    slope_percent_per_100v: float = 10.0,
    drift_v: float = 0.0,
    wander_v: float = 0.0,
    wander_s: float = 30.0,
) -> Callable[[Floats], Floats]:
    """Return the rate function of a tube on a supply that drifts and wanders.

    The rate follows the voltage along the plateau's slope. Wander is an Ornstein–Uhlenbeck process
    of standard deviation ``wander_v`` and correlation time ``wander_s``, on a grid of
    ``wander_s / 20``.

    Args:
        rate_per_s: rate at the nominal voltage.
        rng: source of randomness.
        duration_s: length of the run.
        slope_percent_per_100v: plateau slope.
        drift_v: volts gained from start to end, linear.
        wander_v: standard deviation of the wander in volts.
        wander_s: its correlation time.
    """
    n = max(2, int(np.ceil(20 * duration_s / wander_s)) + 1)
    grid = np.linspace(0.0, duration_s, n)
    keep = float(np.exp(-(grid[1] - grid[0]) / wander_s))
    wander = np.empty(n)
    wander[0] = rng.standard_normal()
    kicks = rng.standard_normal(n) * np.sqrt(1 - keep * keep)
    for i in range(1, n):
        wander[i] = keep * wander[i - 1] + kicks[i]
    volts = wander_v * wander + drift_v * grid / duration_s
    rates = np.clip(rate_per_s * (1 + slope_percent_per_100v / 100.0 * volts / 100.0), 0.0, None)

    def rate(t: Floats) -> Floats:
        return np.interp(t, grid, rates)

    return rate


def pickup_times(
    per_s: float,
    duration_s: float,
    rng: np.random.Generator,
    *,
    mains_hz: float = 50.0,
    jitter_s: float = 0.0005,
) -> Floats:
    """Return false events locked to the mains: at one phase of randomly chosen half-periods.

    Args:
        per_s: mean rate of pickup events, at most twice the mains frequency.
        duration_s: length in seconds.
        rng: source of randomness.
        mains_hz: mains frequency.
        jitter_s: standard deviation about the phase.

    Returns:
        Ascending times in seconds, shape (n,).
    """
    half = 0.5 / mains_hz
    chosen = np.flatnonzero(rng.random(int(duration_s / half)) < per_s * half)
    times = (chosen + rng.random()) * half + jitter_s * rng.standard_normal(chosen.size)
    return np.sort(times[(times >= 0) & (times <= duration_s)])


def regular_times(
    rate_per_s: float, duration_s: float, rng: np.random.Generator, *, order: int = 4
) -> Floats:
    """Return events more regular than chance: every ``order``-th of a faster Poisson process.

    Long-run variance of the counts is ``1/order`` of the Poisson value (Erlang renewal process).
    """
    fast = poisson_times(rate_per_s * order, duration_s, rng)
    return fast[int(rng.integers(order)) :: order]


def with_double_pulses(
    times_s: Floats, duration_s: float, rng: np.random.Generator, *, share: float, delay_s: float
) -> Floats:
    """Return the events with a share of them followed by a false second pulse.

    Args:
        times_s: ascending event times, shape (n,).
        duration_s: events after this are dropped.
        rng: source of randomness.
        share: probability that an event is followed by a second, 0…1.
        delay_s: mean delay; each is drawn evenly from 0.8…1.2 of it.

    Returns:
        Ascending times, shape (m,), m ≥ n.
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError("the share of double pulses must lie between 0 and 1")
    doubled = times_s[rng.random(times_s.size) < share]
    second = doubled + delay_s * (0.8 + 0.4 * rng.random(doubled.size))
    return np.sort(np.concatenate((times_s, second[second <= duration_s])))


def _non_paralysable(times_s: Floats, dead_s: float) -> NDArray[np.bool_]:
    """Mark what passes a non-paralysable dead time, all clusters side by side.

    An event that follows its predecessor by at least the dead time always passes, since what
    blocked last was the predecessor or earlier. Such events open clusters, and every cluster is
    walked from one passed event to the next in the same round of the loop.
    """
    n = times_s.size
    passed = np.ones(n, dtype=bool)
    passed[1:] = np.diff(times_s) >= dead_s
    heads = np.flatnonzero(passed)
    ends = np.append(heads[1:], n)
    many = ends - heads > 1
    at, ends = heads[many], ends[many]
    while at.size:
        at = np.searchsorted(times_s, times_s[at] + dead_s, side="left")
        going = at < ends
        at, ends = at[going], ends[going]
        passed[at] = True
    return passed


def recorded(
    times_s: Floats, *, non_paralysable_s: float = 0.0, paralysable_s: float = 0.0
) -> Floats:
    """Return the events that a tube with dead time passes on.

    With both parts set this is the hybrid of Lee & Gardner (Appl. Radiat. Isot. 53 (2000) 731):
    what passes the non-paralysable part extends a paralysable one, so that a Poisson input of rate
    n leaves at m = n·e^(−n·τ_P)/(1 + n·τ_N).

    Args:
        times_s: ascending event times in seconds, shape (n,).
        non_paralysable_s: τ_N in seconds.
        paralysable_s: τ_P in seconds.

    Returns:
        Ascending times in seconds, shape (m,), m ≤ n.

    Raises:
        ValueError: if a dead time is negative.
    """
    if non_paralysable_s < 0 or paralysable_s < 0:
        raise ValueError("dead times must not be negative")
    out = times_s
    if non_paralysable_s > 0 and out.size:
        out = out[_non_paralysable(out, non_paralysable_s)]
    if paralysable_s > 0 and out.size:
        keep = np.ones(out.size, dtype=bool)
        keep[1:] = np.diff(out) >= non_paralysable_s + paralysable_s
        out = out[keep]
    return out
