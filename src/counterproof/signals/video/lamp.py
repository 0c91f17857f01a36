"""Flashes of a pulse lamp: the slower second channel of counts.

A frame sees a flash if the shutter was open during some of it. The lamp's brightness, less that of
what lies around it, is held against its own running quiet level; a rise above a threshold that
noise passes at a stated rate is a flash. Two flashes in neighbouring frames cannot be told apart,
which the resolving time says.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import percentile_filter

from counterproof.signals.runs import runs
from counterproof.signals.trains import PulseTrain
from counterproof.signals.video.frames import GAP_S
from counterproof.texts import text

Floats = NDArray[np.float64]

_FALSE_PER_S = 1e-3


def find_flashes(times_s: Floats, brightness: Floats, duration_s: float) -> PulseTrain:
    """Return the flashes as a pulse train.

    Args:
        times_s: of the frames, ascending, shape (n,).
        brightness: of the lamp over its surroundings, shape (n,).
        duration_s: of the recording.
    """
    late = times_s >= 0
    times_s, brightness = times_s[late], brightness[late]
    if times_s.size < 5:
        return PulseTrain(np.empty(0), duration_s, warnings=(text("video.no_flash"),))
    frame_s = float(np.median(np.diff(times_s)))
    around = max(5, round(4.0 / frame_s) | 1)
    over = brightness - percentile_filter(brightness, 30, size=around)
    quiet = over[over < np.quantile(over, 0.6)]
    noise = 1.4826 * float(np.median(np.abs(quiet - np.median(quiet)))) + 0.3
    # Gaussian noise passes z σ in a share exp(−z²/2)/(z √(2π)) of the frames
    z = float(np.sqrt(2 * np.log(1.0 / max(_FALSE_PER_S * frame_s, 1e-12))))
    tall = over[over > z * noise]
    if tall.size < 3:
        return PulseTrain(np.empty(0), duration_s, warnings=(text("video.no_flash"),))
    level = max(z * noise, 0.25 * float(np.median(tall)))
    on = over > level
    seen = runs(on)
    held = float(np.median(seen[:, 1] - seen[:, 0])) * frame_s
    gaps = [(float(a), float(b)) for a, b in pairwise(times_s) if b - a > max(GAP_S, 3 * frame_s)]
    weak = float(np.mean(tall < 2 * level))
    return PulseTrain(
        times_s[seen[:, 0]],
        max(duration_s, float(times_s[-1])),
        resolving_time_s=held + frame_s,
        efficiency=1.0 - 0.5 * weak,
        efficiency_u=0.5 * weak / np.sqrt(3.0),
        false_rate_per_s=_FALSE_PER_S,
        gaps_s=np.array(gaps, dtype=np.float64).reshape(-1, 2),
    )
