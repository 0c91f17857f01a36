"""Our click detector against a general-purpose onset detector, on the same recordings.

The baseline is spectral-flux onset strength with adaptive peak picking (librosa, extra
``measure``). It is given every advantage short of a rewrite: band, frame, hop, threshold and
waiting time are chosen for each set of files by the truth, whereas ours gets no setting at all.
Its time is that of one pass with the settings so chosen.
"""

from __future__ import annotations

import itertools
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acceptance._marking import mark
from acceptance.clicks import Found, listen, recording
from benchmarks import Row
from counterproof.simulate.acoustics import Recording

TITLE = "Counts from sound: clicks found, against a general-purpose onset detector"

SEEDS = range(31_000, 31_006)
SETS = ((2.0, 45.0), (20.0, 15.0), (100.0, 8.0))
"""Clicks per second and length of each recording in seconds."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Setting:
    """What the baseline lets one choose."""

    hop_s: float
    frame_s: float
    low_hz: float
    delta: float
    wait_s: float


def _envelope(made: Recording, hop_s: float, frame_s: float, low_hz: float) -> tuple[Floats, int]:
    import librosa

    rate = made.sample_rate_hz
    hop = max(16, int(hop_s * rate))
    size = 1 << int(np.ceil(np.log2(frame_s * rate)))
    strength = librosa.onset.onset_strength(
        y=made.samples, sr=rate, hop_length=hop, n_fft=size, n_mels=20, fmin=low_hz
    )
    return np.asarray(strength, dtype=np.float64), hop


def _onsets(envelope: Floats, hop: int, rate: int, setting: Setting) -> Floats:
    import librosa

    frames = librosa.onset.onset_detect(
        onset_envelope=envelope,
        sr=rate,
        hop_length=hop,
        delta=setting.delta,
        wait=max(1, int(setting.wait_s * rate / hop)),
        pre_max=2,
        post_max=2,
        pre_avg=max(2, int(0.05 * rate / hop)),
        post_avg=max(2, int(0.02 * rate / hop)),
    )
    return np.asarray(frames, dtype=np.float64) * hop / rate


def _f1(marks: list[tuple[int, int, int]]) -> float:
    hits, misses, false = (sum(m[k] for m in marks) for k in range(3))
    return 2 * hits / max(2 * hits + misses + false, 1)


def _resolving(made: Recording) -> float:
    return min(made.click_length_s, 0.004)


def tuned(files: list[Recording]) -> tuple[float, float, float, Setting]:
    """Choose the baseline's settings for these files by their truth.

    Returns:
        Best F1, F1 with the library's own settings, CPU seconds of one pass, the best settings.
    """
    import librosa

    best: tuple[float, float, Setting] | None = None
    for hop_s, frame_s, low_hz in itertools.product(
        (0.0007, 0.0014), (0.003, 0.010), (30.0, 1500.0)
    ):
        start = time.process_time()
        envelopes = [_envelope(f, hop_s, frame_s, low_hz) for f in files]
        spent = time.process_time() - start
        for delta, wait_s in itertools.product(
            (0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.17, 0.25, 0.35, 0.5), (0.002, 0.005, 0.02, 0.05)
        ):
            setting = Setting(hop_s, frame_s, low_hz, delta, wait_s)
            start = time.process_time()
            found = [
                _onsets(e, hop, f.sample_rate_hz, setting)
                for f, (e, hop) in zip(files, envelopes, strict=True)
            ]
            cpu = spent + time.process_time() - start
            score = _f1(
                [mark(f.onsets_s, t, _resolving(f))[:3] for f, t in zip(files, found, strict=True)]
            )
            if best is None or score > best[0]:
                best = (score, cpu, setting)
    assert best is not None
    plain = [
        librosa.onset.onset_detect(y=f.samples, sr=f.sample_rate_hz, units="time") for f in files
    ]
    untuned = _f1(
        [
            mark(f.onsets_s, np.asarray(t, dtype=np.float64), _resolving(f))[:3]
            for f, t in zip(files, plain, strict=True)
        ]
    )
    return best[0], untuned, best[1], best[2]


def measure() -> list[Row]:
    """Compare F1 within ±1 ms and CPU time at three rates."""
    try:
        import librosa  # noqa: F401
    except ImportError:
        return [Row("clicks", "–", "librosa is not installed", "–", "pip install .[measure]")]
    rows = []
    first = recording(SEEDS[0], 20.0, 4.0)[1]
    listen(first.samples, first.sample_rate_hz)  # both compile on first use
    _envelope(first, 0.0014, 0.010, 30.0)
    for rate, length in SETS:
        files = [recording(s, rate, length)[1] for s in SEEDS]
        ours: list[Found] = [listen(f.samples, f.sample_rate_hz) for f in files]
        score = _f1(
            [
                mark(f.onsets_s, o.times_s, o.resolving_time_s)[:3]
                for f, o in zip(files, ours, strict=True)
            ]
        )
        cpu = sum(o.cpu_s for o in ours)
        best, untuned, theirs_cpu, setting = tuned(files)
        seconds = sum(f.duration_s for f in files)
        rows += [
            Row(
                f"F1 within ±1 ms at {rate:g}/s ({len(files)} recordings of {length:g} s)",
                f"{score:.4f}",
                f"{best:.4f}",
                f"errors {(1 - best) / max(1 - score, 1e-4):.1f} × fewer",
                f"untuned {untuned:.2f}; tuned by the truth: {setting}",
            ),
            Row(
                f"speed at {rate:g}/s, times real time (CPU)",
                f"{seconds / max(cpu, 1e-9):.0f}",
                f"{seconds / max(theirs_cpu, 1e-9):.0f}",
                f"{theirs_cpu / max(cpu, 1e-9):.1f} ×",
                "baseline with the settings above",
            ),
        ]
    return rows
