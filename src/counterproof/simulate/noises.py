"""What else a microphone hears: hiss, hum, speech, knocks, beeps, alarms, music.

Steady noises have unit RMS, events unit peak; the scene sets their level. Voices and notes are
drawn once into a bank and then placed many times, so that ten minutes take a second or two.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

Sound = NDArray[np.float32]
Floats = NDArray[np.float64]


def _unit_rms(x: NDArray[np.floating]) -> Sound:
    rms = float(np.sqrt(np.mean(np.square(x, dtype=np.float64)))) if x.size else 0.0
    return (x / rms if rms > 0 else x).astype(np.float32)


def _place(
    bank: list[Sound], at: NDArray[np.int64], which: NDArray[np.int64], gain: Floats, n: int
) -> Sound:
    """Add ``bank[which[i]]`` times ``gain[i]`` at sample ``at[i]``."""
    out = np.zeros(n, dtype=np.float32)
    for start, w, g in zip(at, which, gain, strict=True):
        if 0 <= start < n:
            piece = bank[int(w)][: n - int(start)]
            out[start : start + piece.size] += np.float32(g) * piece
    return out


def white(n: int, sample_rate_hz: float, rng: np.random.Generator) -> Sound:
    """White noise of unit RMS, shape (n,)."""
    return rng.standard_normal(n, dtype=np.float32)


def pink(n: int, sample_rate_hz: float, rng: np.random.Generator) -> Sound:
    """Pink noise of unit RMS, shape (n,): white noise through a three-pole pinking filter.

    The filter's coefficients are those of J. O. Smith, Spectral Audio Signal Processing (2011),
    section "Example: Synthesis of 1/F Noise".
    """
    b = np.array([0.049922035, -0.095993537, 0.050612699, -0.004408786], dtype=np.float32)
    a = np.array([1.0, -2.494956002, 2.017265875, -0.522189400], dtype=np.float32)
    return _unit_rms(lfilter(b, a, rng.standard_normal(n, dtype=np.float32)))


def hum(
    n: int, sample_rate_hz: float, rng: np.random.Generator, *, mains_hz: float = 50.0
) -> Sound:
    """Mains hum of unit RMS with harmonics to the 20th, shape (n,), slightly off nominal."""
    table_size = 8192
    phase = 2 * np.pi * np.arange(table_size) / table_size
    table = np.zeros(table_size)
    for k in range(1, 21):
        level = rng.uniform(0.3, 1.0) / k ** rng.uniform(0.8, 1.6) * (1.0 if k % 2 == 0 else 0.7)
        table += level * np.sin(k * phase + rng.uniform(0, 2 * np.pi))
    step = mains_hz * (1 + rng.uniform(-0.002, 0.002)) / sample_rate_hz * table_size
    index = (np.arange(n) * step + rng.uniform(0, table_size)).astype(np.int64) % table_size
    return _unit_rms(table.astype(np.float32)[index])


# first three formants (Hz) of ten vowels, rounded; after Peterson & Barney, J. Acoust. Soc. Am. 24
# (1952) 175, from memory: only the likeness matters here
_VOWELS = (
    (270, 2290, 3010), (390, 1990, 2550), (530, 1840, 2480), (660, 1720, 2410), (730, 1090, 2440),
    (570, 840, 2410), (440, 1020, 2240), (300, 870, 2240), (640, 1190, 2390), (490, 1350, 1690),
)  # fmt: skip


def _syllable(fs: float, f0: float, rng: np.random.Generator) -> Sound:
    """One syllable: a burst or hiss (or neither), then a voiced vowel with gliding pitch."""
    length = rng.uniform(0.10, 0.28)
    n = int(length * fs)
    t = np.arange(n) / fs
    pitch = f0 * (1 + rng.uniform(-0.15, 0.15) - rng.uniform(0.0, 0.25) * t / length)
    cycles = np.cumsum(pitch) / fs
    pulses = np.diff(np.floor(cycles), prepend=0.0)
    voice = lfilter([1.0], [1.0, -1.86, 0.8649], pulses + 0.01 * rng.standard_normal(n))
    out = np.zeros(n)
    for k, f in enumerate(_VOWELS[int(rng.integers(len(_VOWELS)))]):
        r = np.exp(-np.pi * (60 + 40 * k) / fs)
        if f < 0.45 * fs:
            poles = [1.0, -2 * r * np.cos(2 * np.pi * f / fs), r * r]
            # each resonator to unit gain at its own formant, the higher ones weaker
            gain = abs(np.polyval(poles[::-1], np.exp(-2j * np.pi * f / fs)))
            out += 0.5**k * gain * lfilter([1.0], poles, voice)
    out *= np.sin(np.pi * np.clip(t / length, 0, 1)) ** 0.6
    out /= np.abs(out).max() + 1e-12
    kind = rng.random()
    if kind < 0.3:  # fricative: hiss before the vowel
        m = int(rng.uniform(0.05, 0.12) * fs)
        top = min(0.45 * fs, rng.uniform(4500, 8000))
        sos = butter(2, [rng.uniform(1800, 3500), top], "bandpass", fs=fs, output="sos")
        hiss = sosfilt(sos, rng.standard_normal(m)) * np.sin(np.pi * np.arange(m) / m)
        out = np.concatenate((rng.uniform(0.1, 0.35) * hiss / np.abs(hiss).max(), out))
    elif kind < 0.55:  # plosive: a short burst, a gap, the vowel
        m = int(rng.uniform(0.006, 0.02) * fs)
        burst = rng.standard_normal(m) * np.exp(-np.arange(m) / (0.25 * m))
        gap = np.zeros(int(rng.uniform(0.005, 0.04) * fs))
        burst = lfilter([0.5, 0.5], [1.0], burst)
        out = np.concatenate((rng.uniform(0.1, 0.4) * burst / np.abs(burst).max(), gap, out))
    return out.astype(np.float32)


def speech(n: int, sample_rate_hz: float, rng: np.random.Generator) -> Sound:
    """Speech-like sound, shape (n,): syllables, words and pauses of one or two voices.

    Unit RMS while speaking (pauses left out of the mean). Formant synthesis with voiced vowels,
    fricatives and plosives.
    """
    fs = sample_rate_hz
    voices = rng.uniform(95, 230, size=int(rng.integers(1, 3)))
    bank = [_syllable(fs, float(v), rng) for v in voices for _ in range(40)]
    at: list[int] = []
    which: list[int] = []
    now, voice = rng.uniform(0.0, 1.0) * fs, 0
    while now < n:
        for _ in range(int(rng.integers(2, 14))):  # one phrase
            w = voice * 40 + int(rng.integers(40))
            at.append(int(now))
            which.append(w)
            now += bank[w].size * rng.uniform(0.8, 1.05)
            if rng.random() < 0.3:
                now += rng.uniform(0.02, 0.12) * fs
        now += rng.uniform(0.3, 2.5) * fs
        voice = int(rng.integers(voices.size))
    gains = np.exp(0.4 * rng.standard_normal(len(at)))
    out = _place(bank, np.array(at), np.array(which), gains, n)
    speaking = np.abs(out) > 1e-3
    rms = float(np.sqrt(np.mean(np.square(out[speaking], dtype=np.float64)))) if n else 1.0
    return out / np.float32(rms or 1.0)


def knocks(
    n: int, sample_rate_hz: float, rng: np.random.Generator, *, per_minute: float = 12.0
) -> Sound:
    """Knocks on wood and cups put down, shape (n,), peaks about 1: low rings with a hard start."""
    fs = sample_rate_hz
    bank: list[Sound] = []
    for _ in range(12):
        t = np.arange(int(0.25 * fs)) / fs
        piece = np.zeros(t.size)
        for _ in range(int(rng.integers(3, 7))):
            f = np.exp(rng.uniform(np.log(90), np.log(1800)))
            piece += (
                rng.uniform(0.3, 1)
                * np.exp(-t / rng.uniform(0.008, 0.05))
                * np.sin(2 * np.pi * f * t)
            )
        piece += rng.uniform(0.0, 0.3) * rng.standard_normal(t.size) * np.exp(-t / 0.002)
        bank.append((piece / np.abs(piece).max()).astype(np.float32))
    at: list[float] = []
    for start in rng.uniform(0, n, size=int(rng.poisson(per_minute * n / fs / 60))):
        # people knock two or three times as often as once
        times = range(int(rng.integers(1, 4)))
        at.extend(start + k * rng.uniform(0.12, 0.3) * fs for k in times)
    where = np.array(at, dtype=np.int64)
    gains = np.exp(0.4 * rng.standard_normal(where.size))
    return _place(bank, where, rng.integers(12, size=where.size), gains, n)


def _tone(fs: float, hz: float, length_s: float, edge_s: float) -> Sound:
    t = np.arange(int(length_s * fs)) / fs
    edge = np.clip(np.minimum(t, length_s - t) / edge_s, 0.0, 1.0)
    return (edge * np.sin(2 * np.pi * hz * t)).astype(np.float32)


def beeps(
    n: int, sample_rate_hz: float, rng: np.random.Generator, *, per_minute: float = 6.0
) -> Sound:
    """Key beeps, shape (n,), unit peak: one tone of 40–120 ms with hard edges."""
    fs = sample_rate_hz
    tone = _tone(fs, rng.uniform(1800, 4200), rng.uniform(0.04, 0.12), rng.uniform(0.0003, 0.002))
    at = rng.uniform(0, n, size=int(rng.poisson(per_minute * n / fs / 60))).astype(np.int64)
    return _place([tone], at, np.zeros(at.size, dtype=np.int64), np.ones(at.size), n)


def alarm(n: int, sample_rate_hz: float, rng: np.random.Generator) -> Sound:
    """An alarm, shape (n,), unit peak: bouts of regular or two-tone beeps now and then."""
    fs = sample_rate_hz
    f = rng.uniform(2000, 3600)
    on = rng.uniform(0.08, 0.3)
    bank = [_tone(fs, f, on, 0.001), _tone(fs, f * rng.uniform(0.75, 1.0), on, 0.001)]
    at: list[int] = []
    now = rng.uniform(0, 20) * fs
    while now < n:
        for _ in range(int(rng.integers(4, 16))):
            at.append(int(now))
            now += 2 * on * fs
        now += rng.uniform(20, 60) * fs
    where = np.array(at, dtype=np.int64)
    return _place(bank, where, np.arange(where.size) % 2, np.ones(where.size), n)


def music(n: int, sample_rate_hz: float, rng: np.random.Generator) -> Sound:
    """Music-like sound, shape (n,), unit RMS: chords, a tune and (mostly) drums in time."""
    fs = sample_rate_hz
    beat = 60.0 / rng.uniform(70, 150)
    notes: list[Sound] = []
    root = rng.uniform(110, 220)
    scale = root * 2 ** (np.array([0, 2, 4, 5, 7, 9, 11, 12, 14, 16, 19, 24]) / 12)
    attack = np.exp(rng.uniform(np.log(0.001), np.log(0.03)))
    for f in scale:
        t = np.arange(int(min(2.0, 3 * beat) * fs)) / fs
        wave = np.zeros(t.size)
        for k in range(1, 9):
            if k * f < 0.45 * fs:
                wave += (
                    np.sin(2 * np.pi * k * f * t + rng.uniform(0, 6)) * np.exp(-t * k / beat) / k
                )
        notes.append((wave * np.clip(t / attack, 0, 1)).astype(np.float32))
    t = np.arange(int(0.2 * fs)) / fs
    kick = np.sin(2 * np.pi * (50 * t + 4 * (1 - np.exp(-t / 0.03)))) * np.exp(-t / 0.06)
    snare = 0.7 * rng.standard_normal(t.size) * np.exp(-t / 0.05)
    hat = np.diff(rng.standard_normal(t.size + 1)) * np.exp(-t / 0.02) * 0.4
    bank = [*notes, *(d.astype(np.float32) for d in (kick, snare, hat))]
    drums = rng.random() < 0.7
    at: list[float] = []
    which: list[int] = []
    for i in range(int(n / fs / beat * 2) + 1):  # eighths
        now = i * beat / 2 * fs
        if i % 8 == 0:
            base = int(rng.integers(0, 5))
            for k in (0, 2, 4):
                at.append(now)
                which.append(base + k)
        if rng.random() < 0.6:
            at.append(now)
            which.append(int(rng.integers(4, 12)))
        if drums:
            at.append(now)
            which.append(14)
            if i % 2 == 0:
                at.append(now)
                which.append(12 if i % 4 == 0 else 13)
    where = np.array(at, dtype=np.int64)
    gains = np.exp(0.25 * rng.standard_normal(where.size))
    return _unit_rms(_place(bank, where, np.array(which), gains, n))
