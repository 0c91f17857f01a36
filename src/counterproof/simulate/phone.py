"""What a phone does to sound: gain control, clipping, noise suppression, band limits, codecs.

Codecs are real: the sound is encoded and decoded by the libraries that recorders use (FFmpeg's
through PyAV; libsndfile for OGG Vorbis), so their pre-echo, band limits and losses are real too.
"""

from __future__ import annotations

import io
from fractions import Fraction
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.signal import ShortTimeFFT, butter, resample_poly, sosfilt
from scipy.signal.windows import hann

from counterproof.errors import UserError
from counterproof.texts import text

Sound = NDArray[np.float32]

_CONTAINERS = {  # suffix -> (container, codec) for PyAV
    ".m4a": ("ipod", "aac"),
    ".mp4": ("mp4", "aac"),
    ".mkv": ("matroska", "libopus"),
    ".opus": ("ogg", "libopus"),
    ".mp3": ("mp3", "libmp3lame"),
}
_OPUS_RATES = (8000, 12000, 16000, 24000, 48000)


def gain_control(
    sound: Sound,
    sample_rate_hz: float,
    *,
    target: float = 0.1,
    most_gain: float = 20.0,
    attack_s: float = 0.02,
    release_s: float = 1.0,
) -> Sound:
    """Return the sound after an automatic gain control.

    Level is the RMS of 10 ms blocks with fast attack and slow release; the gain brings it to
    ``target`` but never exceeds ``most_gain``, and is drawn as straight lines between blocks.
    """
    block = max(1, int(0.01 * sample_rate_hz))
    whole = sound.size // block
    if whole == 0:
        return sound
    level = np.sqrt(
        np.mean(np.square(sound[: whole * block].reshape(whole, block)), axis=1, dtype=np.float64)
    )
    up, down = 1 - np.exp(-0.01 / attack_s), 1 - np.exp(-0.01 / release_s)
    follow = np.empty(whole)
    now = float(np.median(level))
    for i, x in enumerate(level.tolist()):
        now += (up if x > now else down) * (x - now)
        follow[i] = now
    gain = np.minimum(target / np.maximum(follow, 1e-9), most_gain)
    centres = (np.arange(whole) + 1.0) * block  # a block's level is known at its end
    out = np.empty_like(sound)
    for lo in range(0, sound.size, 1 << 20):
        n = np.arange(lo, min(lo + (1 << 20), sound.size))
        out[n] = sound[n] * np.interp(n, centres, gain)
    return out


def clip(sound: Sound, *, soft: bool = False) -> Sound:
    """Return the sound limited to ±1, hard or with a soft knee (hyperbolic tangent)."""
    return np.tanh(sound) if soft else np.clip(sound, -1.0, 1.0)


def suppress_noise(
    sound: Sound, sample_rate_hz: float, *, floor_db: float = -15.0, over: float = 2.0
) -> Sound:
    """Return the sound after a phone's noise suppression (spectral gating).

    Frames of 20 ms, half overlapping. The noise in each band is the 30th percentile of its power
    over stretches of 8 s; bands are turned down by a spectral-subtraction rule (Boll, IEEE Trans.
    Acoust. 27 (1979) 113), not below ``floor_db``, with the gain smoothed over three frames.
    """
    size = int(0.02 * sample_rate_hz) // 2 * 2
    stft = ShortTimeFFT(hann(size, sym=False), size // 2, sample_rate_hz)
    floor = 10 ** (floor_db / 20)
    stretch = int(8 * sample_rate_hz) // size * size
    out = np.empty_like(sound)
    pad = 4 * size
    for lo in range(0, sound.size, stretch):
        a, b = max(0, lo - pad), min(sound.size, lo + stretch + pad)
        piece = np.asarray(sound[a:b], dtype=np.float64)
        short = piece.size
        if short < 2 * size:
            out[lo : lo + stretch] = sound[lo : lo + stretch]
            continue
        spectrum = stft.stft(piece)
        power = np.abs(spectrum) ** 2
        noise = np.percentile(power, 30, axis=1, keepdims=True) / 0.357  # median of χ²₂ at 30 %
        gain = np.sqrt(np.clip(1 - over * noise / np.maximum(power, 1e-20), floor**2, 1.0))
        gain[:, 1:-1] = (gain[:, :-2] + gain[:, 1:-1] + gain[:, 2:]) / 3
        back = stft.istft(spectrum * gain, k1=short)
        out[lo : lo + stretch] = back[lo - a : lo - a + min(stretch, sound.size - lo)]
    return out


def band(
    sound: Sound, sample_rate_hz: float, *, low_hz: float = 80.0, high_hz: float | None = None
) -> Sound:
    """Return the sound through a microphone's band: 2nd-order high-pass, 4th-order low-pass."""
    sos = butter(2, low_hz, "highpass", fs=sample_rate_hz, output="sos")
    if high_hz is not None and high_hz < 0.48 * sample_rate_hz:
        sos = np.vstack((sos, butter(4, high_hz, fs=sample_rate_hz, output="sos")))
    return np.asarray(sosfilt(sos.astype(np.float32), sound), dtype=np.float32)


def resample(sound: Sound, from_hz: int, to_hz: int) -> Sound:
    """Return the sound at another sample rate (polyphase, no delay)."""
    if from_hz == to_hz:
        return sound
    return np.asarray(resample_poly(sound, to_hz, from_hz), dtype=np.float32)


def _codec_rate(codec: str, sample_rate_hz: int) -> int:
    if codec != "libopus":
        return sample_rate_hz
    return min((r for r in _OPUS_RATES if r >= sample_rate_hz), default=48000)


def _encode(
    target: Path | io.BytesIO, sound: Sound, rate: int, container: str, codec: str, bits_per_s: int
) -> None:
    import av

    with av.open(target, "w", format=container) as out:
        stream = cast(
            "av.AudioStream", out.add_stream(codec, rate=_codec_rate(codec, rate), layout="mono")
        )
        stream.bit_rate = bits_per_s
        context = stream.codec_context
        convert = av.AudioResampler(
            format=context.format,
            layout="mono",
            rate=context.sample_rate,
            frame_size=context.frame_size or None,
        )
        block = 1 << 16
        for lo in [*range(0, sound.size, block), None]:
            frame = None
            if lo is not None:
                piece = np.ascontiguousarray(sound[None, lo : lo + block], dtype=np.float32)
                frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="mono")
                frame.sample_rate, frame.pts, frame.time_base = rate, lo, Fraction(1, rate)
            for ready in convert.resample(frame):
                out.mux(stream.encode(ready))
        out.mux(stream.encode(None))


def _decode(source: Path | io.BytesIO) -> tuple[Sound, int]:
    import av

    with av.open(source, "r") as container:
        stream = container.streams.audio[0]
        convert = av.AudioResampler(format="fltp", layout="mono")
        parts = [
            ready.to_ndarray()[0]
            for frame in [*container.decode(stream), None]
            for ready in convert.resample(frame)
        ]
        return np.concatenate(parts).astype(np.float32), int(stream.rate)


def through_codec(
    sound: Sound, sample_rate_hz: int, suffix: str, bits_per_s: int
) -> tuple[Sound, int]:
    """Return the sound after a real encoder and decoder, and its sample rate.

    Args:
        sound: mono, shape (n,), within ±1.
        sample_rate_hz: its rate.
        suffix: ``".m4a"`` (AAC), ``".mp3"``, ``".opus"`` or ``".ogg"`` (Vorbis).
        bits_per_s: bit rate asked of the encoder.

    Returns:
        Sound of the same length in seconds, aligned with the input, and its rate (Opus decodes at
        48 kHz).
    """
    buffer = io.BytesIO()
    if suffix == ".ogg":
        _write_sndfile(buffer, sound, sample_rate_hz, "OGG", "VORBIS", bits_per_s)
    else:
        _encode(buffer, sound, sample_rate_hz, *_CONTAINERS[suffix], bits_per_s)
    buffer.seek(0)
    out, rate = _decode(buffer)
    wanted = round(sound.size * rate / sample_rate_hz)
    return np.pad(out[:wanted], (0, max(0, wanted - out.size))), rate


def _write_sndfile(
    target: Path | io.BytesIO, sound: Sound, rate: int, form: str, subtype: str, bits_per_s: int
) -> None:
    import soundfile

    level = None
    if subtype == "VORBIS":
        # libsndfile takes 0 (best) … 1 (smallest): Vorbis quality −0.1 … 1.0, about 1–5 bit/sample
        level = float(np.clip(1.0 - (bits_per_s / rate - 0.7) / 4.0, 0.0, 1.0))
    with soundfile.SoundFile(
        target, "w", rate, 1, subtype=subtype, format=form, compression_level=level
    ) as out:
        block = 1 << 16  # libsndfile's Vorbis encoder overflows its stack on large blocks
        for lo in range(0, sound.size, block):
            out.write(sound[lo : lo + block])


def write_recording(
    path: str | Path, sound: Sound, sample_rate_hz: int, *, bits_per_s: int = 64000
) -> Path:
    """Write a mono sound file; the suffix says which kind.

    Args:
        path: ``.wav``, ``.flac`` (16 bit), ``.ogg`` (Vorbis), ``.mp3``, ``.m4a``/``.mp4`` (AAC),
            ``.opus`` or ``.mkv`` (Opus).
        sound: shape (n,), within ±1 (what lies outside is clipped).
        sample_rate_hz: sample rate.
        bits_per_s: bit rate for the lossy kinds.

    Returns:
        The path.

    Raises:
        UserError: if the suffix is unknown.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    sound = np.clip(sound, -1.0, 1.0)
    plain = {".wav": ("WAV", "PCM_16"), ".flac": ("FLAC", "PCM_16"), ".ogg": ("OGG", "VORBIS")}
    if suffix in plain:
        _write_sndfile(path, sound, sample_rate_hz, *plain[suffix], bits_per_s)
    elif suffix in _CONTAINERS:
        _encode(path, sound, sample_rate_hz, *_CONTAINERS[suffix], bits_per_s)
    else:
        kinds = ", ".join(sorted([*plain, *_CONTAINERS]))
        raise UserError(text("simulate.unknown_suffix", suffix=suffix, kinds=kinds))
    return path
