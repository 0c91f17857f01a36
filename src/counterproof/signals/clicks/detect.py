"""From a recording to a pulse train: learn on an excerpt, then run the streaming detector."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from counterproof.progress import Report, silent, step
from counterproof.signals.clicks.believe import believed
from counterproof.signals.clicks.conclude import ClickResult, conclude, nothing
from counterproof.signals.clicks.detector import ClickDetector
from counterproof.signals.clicks.front import FILE_FRAME_S, Front, Samples, working_band
from counterproof.signals.clicks.learn import Learned, learn
from counterproof.signals.clicks.shape import ClickShape

EXCERPTS_S = (30.0, 240.0)
ENOUGH = 30
SHORTEST_S = 0.5
BLOCK = 1 << 16


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
    front = Front(band, FILE_FRAME_S)
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
    front = Front(band, FILE_FRAME_S)
    fed = 0

    def heard() -> Iterator[Samples]:
        nonlocal fed
        for block in _blocks(samples):
            fed += block.size
            step(report, fed, max(total, fed))
            yield block

    stream = heard()
    held: list[Samples] = []
    size = 0
    ended = False
    detector: ClickDetector | None = None
    seeds = (taught,) if taught is not None else ()
    for wanted_s in EXCERPTS_S:
        while size < wanted_s * band.rate_hz and not ended:
            block = next(stream, None)
            ended = block is None
            piece = front.finish() if block is None else front.push(block)
            held.append(piece)
            size += piece.size
        excerpt = np.concatenate([*held, np.empty(0, np.float32)])
        if excerpt.size < SHORTEST_S * band.rate_hz:
            return nothing(fed / sample_rate_hz)
        learned = learn(excerpt, band, seeds=seeds)
        last = ended or wanted_s == EXCERPTS_S[-1]
        if learned.shapes and (last or sum(s.count for s in learned.shapes) >= ENOUGH):
            detector = ClickDetector(learned, sample_rate_hz, false_rate_per_s=false_rate_per_s)
            for piece in held:
                detector.push_working(piece)
            # what a short excerpt taught may not be the counter
            if last or taught is not None or believed(detector):
                break
        if last:
            break
    held.clear()
    if detector is None:
        for _ in stream:  # only its length is asked
            pass
        return nothing(fed / sample_rate_hz)
    if not ended:
        for block in stream:
            detector.push_working(front.push(block))
        detector.push_working(front.finish())
    detector.finish_working()
    voices = believed(detector) if taught is None else [0]
    return conclude(detector, fed / sample_rate_hz, voices)
