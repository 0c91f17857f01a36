"""The firmware of a box as a model, and running it forward: pulses in, displayed numbers out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from counterproof.readout.estimators import Boxcar, Estimator
from counterproof.readout.factors import corrected_rate, range_of, rounded

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class ReadoutModel:
    """What stands between a tube's pulses and the displayed numbers.

    Args:
        estimator: how the count rate is formed.
        factors_cpm_per_usv_h: counts per minute per µSv/h, lowest range first, at least one.
        switches_cpm: ascending count rates at which the next factor takes over, one fewer than
            factors.
        hysteresis: share below a switch at which the lower range returns, 0…1.
        dead_time_s: non-paralysable dead time that the firmware corrects for; 0 for none.
        background_cpm: count rate that the firmware takes off as the box's own; 0 for none.
        quantum_usv_h: step of the displayed dose rate; 0 for none.
        rounding: ``"nearest"`` or ``"down"``.
        floor_usv_h: what lies below is displayed as 0.
        refresh_s: time between two new numbers.
        refresh_phase_s: time of the first new number.
        average_from: ``"rate"`` averages the dose rates of every refresh, ``"counts"`` divides all
            pulses by the lowest range's factor (so the two disagree once a switch has been passed).
        dose_quantum_usv: step of the accumulated dose; 0 for none.
        pulses_per_click: the loudspeaker clicks once per so many pulses.

    Raises:
        ValueError: if a number lies outside its range or switches and factors do not match.
    """

    estimator: Estimator = field(default_factory=lambda: Boxcar(30.0))
    factors_cpm_per_usv_h: tuple[float, ...] = (120.0,)
    switches_cpm: tuple[float, ...] = ()
    hysteresis: float = 0.0
    dead_time_s: float = 0.0
    background_cpm: float = 0.0
    quantum_usv_h: float = 0.01
    rounding: Literal["nearest", "down"] = "nearest"
    floor_usv_h: float = 0.0
    refresh_s: float = 1.0
    refresh_phase_s: float = 0.0
    average_from: Literal["rate", "counts"] = "rate"
    dose_quantum_usv: float = 0.0
    pulses_per_click: int = 1

    def __post_init__(self) -> None:
        """Refuse a firmware that cannot be."""
        if not self.factors_cpm_per_usv_h or min(self.factors_cpm_per_usv_h) <= 0:
            raise ValueError("a readout needs at least one factor, and each above 0")
        if len(self.switches_cpm) != len(self.factors_cpm_per_usv_h) - 1:
            raise ValueError("a readout has one switch fewer than factors")
        if list(self.switches_cpm) != sorted(self.switches_cpm):
            raise ValueError("switches must ascend")
        if not self.refresh_s > 0 or not 0 <= self.hysteresis < 1 or self.pulses_per_click < 1:
            raise ValueError("refresh must be above 0, hysteresis in 0…1, one click per ≥ 1 pulse")
        amounts = (self.dead_time_s, self.background_cpm, self.quantum_usv_h, self.floor_usv_h)
        if min(*amounts, self.dose_quantum_usv, self.refresh_phase_s) < 0:
            raise ValueError("dead time, background, quanta, floor and phase cannot be negative")

    @property
    def switches_usv_h(self) -> tuple[float, ...]:
        """The switches in displayed units of the range below: count rate over that factor."""
        pairs = zip(self.switches_cpm, self.factors_cpm_per_usv_h, strict=False)
        return tuple(cpm / factor for cpm, factor in pairs)


@dataclass(frozen=True, eq=False)
class Readings:
    """What a box displayed, one entry per refresh, all of shape (n,).

    Args:
        times_s: when each number appeared, s.
        momentary: displayed dose rate, µSv/h.
        average: displayed average dose rate since the start, µSv/h.
        accumulated: displayed dose since the start, µSv.
        count_rate_cpm: the firmware's count rate before any factor, cpm.
        range_index: range in use, 0 the lowest.
    """

    times_s: Floats
    momentary: Floats
    average: Floats
    accumulated: Floats
    count_rate_cpm: Floats
    range_index: Ints


def refresh_times(model: ReadoutModel, duration_s: float) -> Floats:
    """Return the times of the new numbers within ``duration_s``, shape (n,), s."""
    n = int(np.floor((duration_s - model.refresh_phase_s) / model.refresh_s + 1e-9)) + 1
    times = model.refresh_phase_s + model.refresh_s * np.arange(max(n, 0))
    return np.asarray(times[times > 0], dtype=np.float64)


def displayed(model: ReadoutModel, count_rate_cpm: Floats) -> Floats:
    """Return the dose rates in µSv/h that a succession of count rates in cpm shows, shape (n,)."""
    factors = np.asarray(model.factors_cpm_per_usv_h)
    ranges = range_of(count_rate_cpm, model.switches_cpm, model.hysteresis)
    dose_rate = np.maximum(count_rate_cpm - model.background_cpm, 0.0) / factors[ranges]
    shown = rounded(dose_rate, model.quantum_usv_h, model.rounding == "down")
    return np.where(shown < model.floor_usv_h, 0.0, shown)


def run_readout(model: ReadoutModel, pulse_times_s: Floats, duration_s: float) -> Readings:
    """Run the firmware over a pulse train.

    Args:
        model: the firmware.
        pulse_times_s: ascending pulse times in s from switching on, shape (n,).
        duration_s: how long it runs, s.

    Returns:
        The displayed numbers; empty if the first refresh lies beyond ``duration_s``.
    """
    pulses = np.asarray(pulse_times_s, dtype=np.float64)
    at = refresh_times(model, duration_s)
    rate = corrected_rate(model.estimator.rate_per_s(pulses, at), model.dead_time_s)
    cpm = 60.0 * rate
    factors = np.asarray(model.factors_cpm_per_usv_h)
    ranges = range_of(cpm, model.switches_cpm, model.hysteresis)
    exact = np.maximum(cpm - model.background_cpm, 0.0) / factors[ranges]
    if model.average_from == "rate":
        dose = np.cumsum(exact * np.diff(at, prepend=0.0)) / 3600.0
    else:
        counts = np.searchsorted(pulses, at, side="right").astype(np.float64)
        net = np.maximum(counts - model.background_cpm * at / 60.0, 0.0)
        dose = net / 60.0 / factors[0]
    down = model.rounding == "down"
    return Readings(
        times_s=at,
        momentary=displayed(model, cpm),
        average=rounded(dose * 3600.0 / at, model.quantum_usv_h, down),
        accumulated=rounded(dose, model.dose_quantum_usv, down),
        count_rate_cpm=cpm,
        range_index=ranges,
    )


def clicks_of(model: ReadoutModel, pulse_times_s: Floats) -> Floats:
    """Return the times in s at which the loudspeaker clicks: every k-th pulse."""
    k = model.pulses_per_click
    return np.asarray(pulse_times_s, dtype=np.float64)[k - 1 :: k]
