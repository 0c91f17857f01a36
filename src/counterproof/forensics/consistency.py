"""Do a box's own numbers agree with each other? Checks that need no clicks.

The momentary readings, the displayed average and the accumulated dose all come from the same
pulses, so counting scatter cancels out of their comparison: what is left is the ends of the
averaging window and the rounding. A display that uses another factor in its registers stands out
at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.readings import mean_correlation
from counterproof.quantities import Estimate

Floats = NDArray[np.float64]

FALLBACK_WINDOW_S = 60.0
LOW_FACTOR_CPM = 60.0  # few counts per reading, so a cautious interval (common practice, no source)


@dataclass(frozen=True)
class Check:
    """One comparison: ``ratio`` is 1 for a box that agrees with itself.

    Args:
        name: ``"average"``, ``"dose"`` or ``"scatter"``.
        ratio: register over mean of momentary readings, or scatter over Poisson scatter.
        agrees: whether the interval holds 1.
    """

    name: str
    ratio: Estimate

    @property
    def agrees(self) -> bool:
        """Whether 1 lies within the interval."""
        return bool(self.ratio.low <= 1.0 <= self.ratio.high)


def _time_mean(times_s: Floats, values: Floats) -> float:
    """Return the mean over time of readings that hold until the next one."""
    return float(np.trapezoid(values, times_s) / (times_s[-1] - times_s[0]))


def _ends(mean: float, seconds: float, window_s: float, factor: float) -> float:
    """Return the standard uncertainty (µSv/h) that the two ends of the window leave.

    A boxcar's mean over a time S weighs the pulses of the first and last window with a ramp; their
    counts, λW/3 at each end, are those that the register counts differently.
    """
    counts_per_s = max(mean, 1e-9) * factor / 60.0
    return mean * float(np.sqrt(2.0 * counts_per_s * window_s / 3.0)) / (counts_per_s * seconds)


def average_check(
    times_s: Floats,
    momentary_usv_h: Floats,
    average_start_usv_h: float,
    average_end_usv_h: float,
    elapsed_start_s: float,
    *,
    quantum: float = 0.0,
    window_s: float = FALLBACK_WINDOW_S,
    factor_cpm_per_usv_h: float = LOW_FACTOR_CPM,
) -> Check:
    """Compare the displayed average with the mean of the momentary readings over the same time.

    Args:
        times_s: times of the momentary readings, shape (n,), n ≥ 3.
        momentary_usv_h: the readings, shape (n,).
        average_start_usv_h: average displayed at the first reading.
        average_end_usv_h: average displayed at the last reading.
        elapsed_start_s: how long the average had been running at the first reading (0: just
            reset).
        quantum: step of both displays, µSv/h.
        window_s: memory of the momentary display, s.
        factor_cpm_per_usv_h: counts behind the display, for the uncertainty alone.
    """
    seconds = float(times_s[-1] - times_s[0])
    mean = _time_mean(times_s, momentary_usv_h)
    elapsed_end = elapsed_start_s + seconds
    own = (average_end_usv_h * elapsed_end - average_start_usv_h * elapsed_start_s) / seconds
    rounding = quantum / np.sqrt(12.0) * float(np.hypot(elapsed_end, elapsed_start_s)) / seconds
    u = float(np.hypot(rounding, _ends(mean, seconds, window_s, factor_cpm_per_usv_h)))
    return Check("average", _ratio(own, u, mean, quantum / np.sqrt(12.0), "registers compared"))


def dose_check(
    times_s: Floats,
    momentary_usv_h: Floats,
    dose_start_usv: float,
    dose_end_usv: float,
    *,
    quantum: float = 0.0,
    dose_quantum_usv: float = 0.0,
    window_s: float = FALLBACK_WINDOW_S,
    factor_cpm_per_usv_h: float = LOW_FACTOR_CPM,
) -> Check:
    """Compare the accumulated dose with the integral of the momentary readings.

    Args are those of :func:`average_check`; doses in µSv at the first and last reading.
    """
    seconds = float(times_s[-1] - times_s[0])
    mean = _time_mean(times_s, momentary_usv_h)
    own = (dose_end_usv - dose_start_usv) * 3600.0 / seconds
    rounding = dose_quantum_usv / np.sqrt(6.0) * 3600.0 / seconds
    u = float(np.hypot(rounding, _ends(mean, seconds, window_s, factor_cpm_per_usv_h)))
    return Check("dose", _ratio(own, u, mean, quantum / np.sqrt(12.0), "registers compared"))


def scatter_check(
    times_s: Floats,
    momentary_usv_h: Floats,
    factor_cpm_per_usv_h: float,
    window_s: float,
    *,
    quantum: float = 0.0,
) -> Check:
    """Compare the scatter of steady readings with what the counts behind them allow.

    A boxcar of W seconds in a field of λ counts per second scatters by 1/√(λW). A ratio well below
    1 means that the display is smoother than its counts permit: more smoothing than stated, or
    numbers that were not counted; above 1, an unsteady field or interference.

    Args:
        times_s: times of the readings in a steady field, shape (n,).
        momentary_usv_h: the readings, shape (n,).
        factor_cpm_per_usv_h: counts per minute behind 1 µSv/h.
        window_s: the display's window, s (for an exponential twice its time constant).
        quantum: step of the display.

    Returns:
        Ratio of standard deviations; its interval is that of a variance with the number of
        independent readings as degrees of freedom.
    """
    from scipy.special import gammaincinv

    mean = float(momentary_usv_h.mean())
    expected = np.sqrt(mean / (factor_cpm_per_usv_h / 60.0 * window_s) + quantum**2 / 12.0)
    rho = mean_correlation(times_s, window_s)
    n = momentary_usv_h.size
    dof = float(max(1.5 * (1.0 / rho - 1.0), 1.0))
    unbiased = float(momentary_usv_h.var()) * n / max(n * (1.0 - rho), 1e-9)
    value = float(np.sqrt(unbiased) / expected)
    low = value * np.sqrt(dof / (2.0 * gammaincinv(dof / 2.0, 0.975)))
    high = value * np.sqrt(dof / (2.0 * gammaincinv(dof / 2.0, 0.025)))
    u = value / float(np.sqrt(2.0 * dof))
    return Check("scatter", Estimate(value, u, float(low), float(high), 0.95, "", dof, "χ²"))


def _ratio(top: float, u_top: float, bottom: float, u_bottom: float, method: str) -> Estimate:
    if bottom <= 0:
        return Estimate(np.nan, np.inf, -np.inf, np.inf, 0.95, "", None, method)
    value = float(top / bottom)
    relative = float(np.hypot(u_top / max(abs(top), 1e-12), u_bottom / bottom))
    u = abs(value) * relative
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u, 0.95, "", None, method)
