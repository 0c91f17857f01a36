"""From a recording to a pulse train: learn on an excerpt, then run the streaming detector."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from counterproof.progress import Report, silent, step
from counterproof.signals.clicks.believe import believable
from counterproof.signals.clicks.detector import ClickDetector
from counterproof.signals.clicks.front import Front, Samples, working_band
from counterproof.signals.clicks.judge import quietest
from counterproof.signals.clicks.learn import Learned, learn
from counterproof.signals.clicks.shape import ClickShape
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text

Floats = NDArray[np.float64]

EXCERPTS_S = (30.0, 240.0)
ENOUGH = 30
SHORTEST_S = 0.5
BLOCK = 1 << 16


@dataclass(frozen=True, eq=False)
class ClickResult:
    """What was heard.

    Args:
        train: the clicks of the counter, with efficiency and false rate; empty with a warning
            when no clicks were found.
        shape: their shape; ``None`` when nothing was found.
        others: trains of further boxes heard in the same recording, by shape.
        amplitudes: amplitude of each click of ``train``, full scale 1, shape (n,).
        diagnostics: numbers behind the decision, by name.
    """

    train: PulseTrain
    shape: ClickShape | None
    others: tuple[PulseTrain, ...] = ()
    amplitudes: Floats = field(default_factory=lambda: np.empty(0))
    diagnostics: dict[str, float] = field(default_factory=dict)


def _blocks(samples: NDArray[np.floating] | Iterable[NDArray[np.floating]]) -> Iterator[Samples]:
    if isinstance(samples, np.ndarray):
        for i in range(0, samples.shape[0], BLOCK):
            yield _mono(samples[i : i + BLOCK])
    else:
        for block in samples:
            yield _mono(np.asarray(block))


def _mono(block: NDArray[np.floating]) -> Samples:
    if block.ndim == 2:
        block = block.mean(axis=1)
    return np.asarray(block, np.float32)


def learn_shape(
    samples: NDArray[np.floating] | Iterable[NDArray[np.floating]], sample_rate_hz: float
) -> Learned:
    """Learn click shapes from a teaching run, for example near a source.

    Args:
        samples: the recording, shape (n,) or (n, channels), or blocks of it.
        sample_rate_hz: its sample rate.
    """
    band = working_band(sample_rate_hz)
    front = Front(band)
    pieces = [front.push(block) for block in _blocks(samples)]
    return learn(np.concatenate([*pieces, front.finish()]), band)


def detect_clicks(
    samples: NDArray[np.floating] | Iterable[NDArray[np.floating]],
    sample_rate_hz: float,
    *,
    taught: ClickShape | None = None,
    false_rate_per_s: float = 1e-3,
    report: Report = silent,
    total_samples: int = 0,
) -> ClickResult:
    """Find the clicks of a counter in a recording.

    Args:
        samples: the recording, full scale 1, shape (n,) or (n, channels), or blocks of it.
        sample_rate_hz: its sample rate.
        taught: a shape learned elsewhere; learned from the recording itself when ``None``.
        false_rate_per_s: false clicks per second of Gaussian noise to allow.
        report: progress; ``total_samples`` tells it the length when ``samples`` are blocks.
        total_samples: length of the recording, if known.

    Raises:
        ValueError: for sample rates below 4000 per second.
        Cancelled: if ``report`` says so.
    """
    band = working_band(sample_rate_hz)
    total = samples.shape[0] if isinstance(samples, np.ndarray) else total_samples
    front = Front(band)
    stream = _blocks(samples)
    held: list[Samples] = []
    size = 0
    fed = 0
    ended = False
    learned: Learned | None = None
    seeds = (taught,) if taught is not None else ()
    for wanted_s in EXCERPTS_S:
        while size < wanted_s * band.rate_hz and not ended:
            block = next(stream, None)
            if block is None:
                piece = front.finish()
                ended = True
            else:
                fed += block.size
                piece = front.push(block)
                step(report, fed, max(total, fed))
            held.append(piece)
            size += piece.size
        excerpt = np.concatenate([*held, np.empty(0, np.float32)])
        if excerpt.size < SHORTEST_S * band.rate_hz:
            return _nothing(fed / sample_rate_hz)
        learned = learn(excerpt, band, seeds=seeds)
        if ended or sum(s.count for s in learned.shapes) >= ENOUGH:
            break
    assert learned is not None
    if not learned.shapes:
        while not ended:
            block = next(stream, None)
            if block is None:
                break
            fed += block.size
            step(report, fed, max(total, fed))
        return _nothing(fed / sample_rate_hz)
    detector = ClickDetector(learned, sample_rate_hz, false_rate_per_s=false_rate_per_s)
    for piece in held:
        detector.push_working(piece)
    held.clear()
    while not ended:
        block = next(stream, None)
        if block is None:
            detector.push_working(front.finish())
            ended = True
        else:
            fed += block.size
            step(report, fed, max(total, fed))
            detector.push_working(front.push(block))
    detector.finish_working()
    if taught is None and not believable(detector):
        return _nothing(fed / sample_rate_hz)
    return conclude(detector, fed / sample_rate_hz)


def _nothing(duration_s: float) -> ClickResult:
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


def conclude(detector: ClickDetector, duration_s: float) -> ClickResult:
    """Turn what a finished detector found into trains with efficiency and false rate."""
    times = np.concatenate([*detector.times, np.empty(0)])
    voices = np.concatenate([*detector.voices, np.empty(0, np.int64)])
    amps = np.concatenate([*detector.amplitudes, np.empty(0)])
    trains: list[PulseTrain] = []
    loud: list[Floats] = []
    shapes = detector.learned.shapes
    warnings = (text("clicks.several"),) if len(shapes) > 1 else ()
    false_rate = detector.mirrored / max(detector.seconds, 1e-9)
    for voice, shape in enumerate(shapes):
        mine = np.flatnonzero(voices == voice)
        mine = mine[np.argsort(times[mine], kind="stable")]
        at = np.clip(times[mine], 0.0, duration_s)
        keep = merged(at, detector.resolving_time_s)
        logs = np.log(amps[mine]) if mine.size else np.array([np.log(shape.loudness)])
        middle = float(np.median(logs))
        spread = max(0.05, float(1.4826 * np.median(np.abs(logs - middle))))
        noise = float(np.sqrt(detector.learned.sigma2)) / detector.templates.root[voice]
        least = max(quietest(shape), detector.threshold * noise)
        efficiency = float(ndtr((middle - np.log(least)) / spread))
        trains.append(
            PulseTrain(
                at[keep],
                duration_s,
                detector.resolving_time_s,
                efficiency,
                0.5 * (1.0 - efficiency),
                false_rate,
                warnings=warnings,
            )
        )
        loud.append(amps[mine][keep])
    return ClickResult(trains[0], shapes[0], tuple(trains[1:]), loud[0], {})
