"""From what a detector found to pulse trains, with what they leave out and what they add."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from counterproof.signals.clicks.detector import NOISE_BINS, ClickDetector
from counterproof.signals.clicks.judge import quietest
from counterproof.signals.clicks.shape import ClickShape
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text

Floats = NDArray[np.float64]

LEAST_U = 0.003
"""Standard uncertainty of an efficiency that no model of loudness and noise can undercut."""
STRANGERS = 0.4
"""Share of sounds as loud as clicks and unlike them from which another box may be heard."""
FEWEST = 20
USUAL_DOUBT = 0.5
USUALLY_DOUBTFUL = 0.01
"""Share of true clicks whose doubt is above that: log-normal loudness and codec noise."""


@dataclass(frozen=True, eq=False)
class ClickResult:
    """What was heard.

    Args:
        train: the clicks of the counter, with efficiency and false rate; empty with a warning
            when no clicks were found.
        shape: their shape; ``None`` when nothing was found.
        others: trains of further boxes heard in the same recording, by shape.
        amplitudes: amplitude of each click of ``train``, full scale 1, shape (n,).
    """

    train: PulseTrain
    shape: ClickShape | None
    others: tuple[PulseTrain, ...] = ()
    amplitudes: Floats = field(default_factory=lambda: np.empty(0))


def nothing(duration_s: float) -> ClickResult:
    """Return the result for a recording without clicks: a warning and no rate."""
    train = PulseTrain(np.empty(0), duration_s, warnings=(text("clicks.none"),))
    return ClickResult(train, None)


def merged(times: Floats, resolving_s: float) -> NDArray[np.bool_]:
    """Mark the events to keep so that none follows another within the resolving time."""
    keep = np.ones(times.size, bool)
    last = -np.inf
    for i, t in enumerate(times):
        if t - last < resolving_s:
            keep[i] = False
        else:
            last = t
    return keep


def loud_enough(logs: Floats, floor: float, noise: Floats, threshold: float, root: float) -> float:
    """Return the share of clicks of log-normal loudness that stand above floor and threshold.

    Args:
        logs: natural logarithms of the amplitudes of the clicks found, shape (n,).
        floor: logarithm of the amplitude below which nothing counts as a click.
        noise: how often a click meets how much noise, over :data:`NOISE_BINS`.
        threshold: height needed, in standard deviations of the noise.
        root: root of the template's energy.
    """
    middle = float(np.median(logs))
    spread = max(0.05, float(1.4826 * np.median(np.abs(logs - middle))))
    edges = np.append(NOISE_BINS, NOISE_BINS[-1]) + np.log(threshold / root)
    shares = ndtr((middle - np.maximum(edges, floor)) / spread)
    return float((noise * shares).sum() / max(noise.sum(), 1.0))


def efficiency(detector: ClickDetector, voice: int, amplitudes: Floats) -> tuple[float, float]:
    """Return the share of clicks found and its standard uncertainty.

    Lost are clicks too weak for the noise where they fall, above all beside louder ones; how
    much noise there is was noted while the clicks were sought. Lost or not, nobody knows, are
    matches of a click's loudness that fit too badly: half of them are counted as lost, with the
    uncertainty of a rectangle over all or none.
    """
    shape = detector.learned.shapes[voice]
    logs = np.log(amplitudes) if amplitudes.size else np.array([np.log(shape.loudness)])
    floor = float(np.log(quietest(shape, detector.learned.rate_per_s)))
    root = float(detector.templates.root[voice])
    heard = loud_enough(logs, floor, detector.noise, detector.threshold, root)
    open_share = detector.nearly / max(amplitudes.size + detector.nearly, 1) if voice == 0 else 0.0
    value = heard * (1.0 - 0.5 * open_share)
    u = float(np.sqrt((0.5 * (1.0 - heard)) ** 2 + open_share**2 / 12.0 + LEAST_U**2))
    return max(value, 1e-3), u


def false_rate(detector: ClickDetector, voice: int) -> float:
    """Return the rate of false clicks of a voice in 1/s.

    What noise makes of a click upside down, and half of the doubtful matches beyond the share
    of true clicks that are as doubtful.
    """
    mine = np.concatenate([*detector.voices, np.empty(0, np.int64)]) == voice
    doubts = np.concatenate([*detector.doubts, np.empty(0)])[mine]
    beyond = int((doubts > USUAL_DOUBT).sum()) - USUALLY_DOUBTFUL * doubts.size
    return float((detector.mirrored + 0.5 * max(0.0, beyond)) / max(detector.seconds, 1e-9))


def conclude(detector: ClickDetector, duration_s: float, believed: list[int]) -> ClickResult:
    """Turn what a finished detector found into trains with efficiency and false rate.

    Args:
        detector: a detector after its ``finish``.
        duration_s: length of the recording.
        believed: voices that can be counters.
    """
    if not believed:
        return nothing(duration_s)
    times = np.concatenate([*detector.times, np.empty(0)])
    voices = np.concatenate([*detector.voices, np.empty(0, np.int64)])
    amps = np.concatenate([*detector.amplitudes, np.empty(0)])
    trains: list[PulseTrain] = []
    loud: list[Floats] = []
    shapes = detector.learned.shapes
    strangers = detector.nearly > STRANGERS * max(int((voices == 0).sum()), FEWEST)
    warnings = (text("clicks.several"),) if len(believed) > 1 or strangers else ()
    for voice in believed:
        mine = np.flatnonzero(voices == voice)
        mine = mine[np.argsort(times[mine], kind="stable")]
        at = np.clip(times[mine], 0.0, duration_s)
        keep = merged(at, detector.resolving_time_s)
        share, share_u = efficiency(detector, voice, amps[mine])
        trains.append(
            PulseTrain(
                at[keep],
                duration_s,
                detector.resolving_time_s,
                share,
                share_u,
                false_rate(detector, voice),
                warnings=warnings,
            )
        )
        loud.append(amps[mine][keep])
    # what an excerpt held most of need not be the more frequent one
    first, *rest = sorted(range(len(trains)), key=lambda i: -trains[i].count)
    others = tuple(trains[i] for i in rest)
    return ClickResult(trains[first], shapes[believed[first]], others, loud[first])
