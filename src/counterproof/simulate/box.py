"""A virtual counter: a tube in a field, its readout and its loudspeaker.

Pulses are made once and feed both the display and the clicks, as in a real box, so that a
recording and a reading log of the same run belong together.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from counterproof.readout import Readings, ReadoutModel, run_readout
from counterproof.signals.trains import ReadingLog
from counterproof.simulate.acoustics import Recording, Scene, record
from counterproof.simulate.pulses import changing_times, recorded, with_double_pulses

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Tube:
    """A tube by its figures.

    Args:
        cps_per_usv_h: counts per second per µSv/h (H*(10)) by what the photons come from.
        self_background_per_s: counts of its own, without any field.
        non_paralysable_s: non-paralysable part of the dead time.
        paralysable_s: paralysable part.
        double_share: share of pulses followed by a false second one.
        double_delay_s: mean delay of that second pulse.
    """

    cps_per_usv_h: Mapping[str, float]
    self_background_per_s: float = 0.0
    non_paralysable_s: float = 100e-6
    paralysable_s: float = 0.0
    double_share: float = 0.0
    double_delay_s: float = 300e-6

    def rate_per_s(self, dose_rate_usv_h: Mapping[str, float], betas_per_s: float = 0.0) -> float:
        """Return the true rate of ionising events in a mixed field.

        Args:
            dose_rate_usv_h: H*(10) rate by where it comes from (keys of ``cps_per_usv_h``).
            betas_per_s: betas that reach the gas.

        Raises:
            KeyError: for a field that the tube has no sensitivity for.
        """
        photons = sum(self.cps_per_usv_h[k] * h for k, h in dose_rate_usv_h.items())
        return photons + betas_per_s + self.self_background_per_s


@dataclass(frozen=True)
class Box:
    """A counter: tube, firmware and the sound it makes where it stands."""

    tube: Tube
    readout: ReadoutModel = field(default_factory=ReadoutModel)
    scene: Scene | None = None


@dataclass(frozen=True, eq=False)
class BoxRun:
    """What one run of a virtual counter gave, with the truth.

    Args:
        pulses_s: pulses that the tube passed on, seconds from the recording's start, shape (n,).
        duration_s: length of the run.
        readings: displayed numbers during the run, times from the recording's start.
        sound: the recording, or ``None`` for a box without one.
    """

    pulses_s: Floats
    duration_s: float
    readings: Readings
    sound: Recording | None

    def reading_log(self, name: str = "momentary", *, every_s: float = 0.0) -> ReadingLog:
        """Return one displayed register as a person or camera would note it.

        Args:
            name: ``"momentary"``, ``"average"`` or ``"accumulated"``.
            every_s: note a number no more often than this; 0 for every refresh.
        """
        values: Floats = {
            "momentary": self.readings.momentary,
            "average": self.readings.average,
            "accumulated": self.readings.accumulated,
        }[name]
        times = self.readings.times_s
        keep = np.arange(times.size)
        if every_s > 0 and times.size:
            wanted = np.arange(times[0], self.duration_s, every_s)
            keep = np.unique(np.clip(np.searchsorted(times, wanted), 0, times.size - 1))
        dose = name == "accumulated"
        return ReadingLog(
            times[keep],
            values[keep],
            "dose" if dose else "dose_rate",
            "µSv" if dose else "µSv/h",
            name,
        )


def run_box(
    box: Box,
    rate_per_s: float | Callable[[Floats], Floats],
    duration_s: float,
    seed: int | np.random.SeedSequence,
    *,
    warm_up_s: float = 0.0,
    with_sound: bool = True,
) -> BoxRun:
    """Let a virtual counter run.

    Args:
        box: the counter.
        rate_per_s: true rate of events in the tube, constant or against time from the start.
        duration_s: length of the run in seconds.
        seed: a number or a seed sequence; tube and sound draw from streams of their own.
        warm_up_s: the box has been on for so long in the same field before the run starts, so
            its estimator has settled (and its average and dose include that time).
        with_sound: make the recording too, if the box has a scene.
    """
    root = seed if isinstance(seed, np.random.SeedSequence) else np.random.SeedSequence(seed)
    for_tube, for_sound = root.spawn(2)
    rng = np.random.default_rng(for_tube)
    given = rate_per_s

    def rate(t: Floats) -> Floats:
        if callable(given):
            return given(np.maximum(t - warm_up_s, 0.0))
        return np.full(t.shape, given)

    whole = duration_s + warm_up_s
    events = changing_times(rate, whole, rng, step_s=0.05 if callable(given) else whole)
    tube = box.tube
    pulses = recorded(
        events, non_paralysable_s=tube.non_paralysable_s, paralysable_s=tube.paralysable_s
    )
    if tube.double_share > 0:
        pulses = with_double_pulses(
            pulses, whole, rng, share=tube.double_share, delay_s=tube.double_delay_s
        )
    shown = run_readout(box.readout, pulses, whole)
    late = shown.times_s > warm_up_s
    readings = Readings(
        shown.times_s[late] - warm_up_s,
        shown.momentary[late],
        shown.average[late],
        shown.accumulated[late],
        shown.count_rate_cpm[late],
        shown.range_index[late],
    )
    pulses = pulses[pulses >= warm_up_s] - warm_up_s
    sound = None
    if with_sound and box.scene is not None:
        sound = record(pulses, duration_s, box.scene, for_sound)
    return BoxRun(pulses, duration_s, readings, sound)


def write_readings(path: str | Path, log: ReadingLog) -> Path:
    """Write a reading log as a plain table: time in seconds, displayed number."""
    path = Path(path)
    unit = "usv" if log.quantity == "dose" else "usv_h"
    with path.open("w", newline="", encoding="utf-8") as out:
        table = csv.writer(out)
        table.writerow(["time_s", f"{log.field}_{unit}"])
        table.writerows(
            (f"{t:.3f}", f"{v:g}") for t, v in zip(log.times_s, log.values, strict=True)
        )
    return path
