"""Recordings of a clicking counter: clicks, room, noises and phone put together.

:func:`record` takes event times and a :class:`Scene` and returns samples with the true onsets.
Levels are in decibels relative to the median click's peak, so that a scene says how hard it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import oaconvolve

from counterproof.simulate import noises, phone
from counterproof.simulate.clicks import Click, draw_click, render_clicks
from counterproof.simulate.room import Room, draw_room, impulse_response

Floats = NDArray[np.float64]
Sound = NDArray[np.float32]

NOISES: dict[str, Callable[[int, float, np.random.Generator], Sound]] = {
    "white": noises.white,
    "pink": noises.pink,
    "hum": noises.hum,
    "speech": noises.speech,
    "knocks": noises.knocks,
    "beeps": noises.beeps,
    "alarm": noises.alarm,
    "music": noises.music,
}


@dataclass(frozen=True)
class Phone:
    """The recorder.

    Args:
        low_hz: microphone's high-pass.
        high_hz: low-pass, or ``None``.
        gain_control: automatic gain on.
        suppress: noise suppression on.
        soft_clip: clip with a soft knee.
        sample_rate_hz: rate of the file.
        codec: suffix of a lossy kind, or ``""`` for none (16 bit).
        bits_per_s: its bit rate.
    """

    low_hz: float = 80.0
    high_hz: float | None = None
    gain_control: bool = False
    suppress: bool = False
    soft_clip: bool = False
    sample_rate_hz: int = 44100
    codec: str = ""
    bits_per_s: int = 64000


@dataclass(frozen=True)
class Scene:
    """One counter in one room before one phone.

    Args:
        click: the box's sound; ``None`` for a scene without a counter.
        room: the room, or ``None`` for no echo.
        noise_db: level of each noise by name (:data:`NOISES`), dB re the median click's peak
            (RMS of steady noises, peak of knocks, beeps and alarms).
        loudness_sigma: standard deviation of the natural logarithm of the clicks' loudness.
        jitter_s: delay of each click after its pulse, drawn evenly from 0 to this.
        per_pulses: the box clicks once per this many pulses.
        hold_s: pulses within this time of a click's start make none (the box's click length).
        peak: median click's peak at the recorder's input; above 1 it clips.
        phone: the recorder.
    """

    click: Click | None
    room: Room | None = None
    noise_db: dict[str, float] = field(default_factory=dict)
    loudness_sigma: float = 0.2
    jitter_s: float = 0.0
    per_pulses: int = 1
    hold_s: float = 0.0
    peak: float = 0.25
    phone: Phone = field(default_factory=Phone)


@dataclass(frozen=True, eq=False)
class Recording:
    """Samples with the truth about them.

    Args:
        samples: mono sound, shape (n,), float32.
        sample_rate_hz: sample rate.
        onsets_s: true onsets of the clicks, ascending, shape (m,).
        click_length_s: length of the click itself, without echo (0 without clicks).
    """

    samples: Sound
    sample_rate_hz: int
    onsets_s: Floats
    click_length_s: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.samples.size / self.sample_rate_hz


def clicked(times_s: Floats, scene: Scene, rng: np.random.Generator) -> Floats:
    """Return the onsets of the clicks that the box makes of its pulses.

    Args:
        times_s: ascending pulse times, shape (n,).
        scene: gives ``per_pulses``, ``jitter_s`` and ``hold_s``.
        rng: source of the jitter.
    """
    from counterproof.simulate.pulses import recorded

    onsets = times_s[scene.per_pulses - 1 :: scene.per_pulses]
    if scene.jitter_s > 0:
        onsets = np.sort(onsets + scene.jitter_s * rng.random(onsets.size))
    return recorded(onsets, non_paralysable_s=scene.hold_s)


def record(
    times_s: Floats,
    duration_s: float,
    scene: Scene,
    seed: int | np.random.SeedSequence,
    *,
    beside: Sequence[tuple[Click, Floats]] = (),
) -> Recording:
    """Return the recording of a counter whose tube pulses at ``times_s``.

    Each component has its own stream of the seed, so adding a noise leaves the others alone.

    Args:
        times_s: ascending pulse times in seconds, shape (n,).
        duration_s: length of the recording.
        scene: what is heard, and how.
        seed: a number or a seed sequence.
        beside: other counters as loud in the same place, by click and onsets; no truth is
            returned about them.
    """
    root = seed if isinstance(seed, np.random.SeedSequence) else np.random.SeedSequence(seed)
    names = ["jitter", "loudness", "room", *NOISES]
    streams = dict(
        zip(names, (np.random.default_rng(s) for s in root.spawn(len(names))), strict=True)
    )
    rate = scene.phone.sample_rate_hz
    n = round(duration_s * rate)
    onsets = np.empty(0)
    sound = np.zeros(n, dtype=np.float32)
    if scene.click is not None:
        onsets = clicked(times_s, scene, streams["jitter"])
        onsets = onsets[onsets < duration_s]
        loud = np.exp(scene.loudness_sigma * streams["loudness"].standard_normal(onsets.size))
        sound = render_clicks(scene.click, onsets, loud, rate, n)
    for click, when in beside:
        loud = np.exp(scene.loudness_sigma * streams["loudness"].standard_normal(when.size))
        sound += render_clicks(click, when, loud, rate, n)
    noise = np.zeros(n, dtype=np.float32)
    for name, level in scene.noise_db.items():
        noise += np.float32(10 ** (level / 20)) * NOISES[name](n, rate, streams[name])
    if scene.room is not None:
        echo = impulse_response(scene.room, rate, streams["room"])
        sound = oaconvolve(sound, echo)[:n]
    sound = (sound + noise) * np.float32(scene.peak)
    sound, out_rate = through_phone(sound, scene.phone)
    length = scene.click.length_s if scene.click is not None else 0.0
    return Recording(sound, out_rate, onsets, length)


def through_phone(sound: Sound, recorder: Phone) -> tuple[Sound, int]:
    """Return the sound as the recorder's file gives it back, and its sample rate."""
    rate = recorder.sample_rate_hz
    sound = phone.band(sound, rate, low_hz=recorder.low_hz, high_hz=recorder.high_hz)
    if recorder.suppress:
        sound = phone.suppress_noise(sound, rate)
    if recorder.gain_control:
        sound = phone.gain_control(sound, rate)
    sound = phone.clip(sound, soft=recorder.soft_clip)
    if recorder.codec:
        return phone.through_codec(sound, rate, recorder.codec, recorder.bits_per_s)
    return (np.round(sound * 32767) / 32767).astype(np.float32), rate


_CODECS = (
    ("", 0, (16000, 22050, 44100, 48000)),
    (".m4a", 64000, (44100, 48000)),
    (".m4a", 32000, (16000, 22050)),
    (".mp3", 64000, (44100,)),
    (".mp3", 48000, (24000,)),
    (".opus", 32000, (48000,)),
    (".opus", 24000, (24000,)),
    (".ogg", 64000, (44100,)),
)


def draw_scene(seed: int | np.random.SeedSequence, *, clicks: bool = True) -> Scene:
    """Draw an invented counter, room, background and phone.

    Spreads (from nothing but common sense about workshops and phones): click loudness σ 0.1…0.35,
    hiss −50…−28 dB, hum −40…−6 dB, and each of speech (RMS −34…−20 dB), knocks (peak −16…0 dB),
    key beeps (−20…−4 dB) and alarms (−20…−6 dB) present in some scenes, all re the median click.

    Args:
        seed: a number or a seed sequence.
        clicks: draw a counter too.
    """
    rng = np.random.default_rng(seed)
    codec, bits, rates = _CODECS[int(rng.integers(len(_CODECS)))]
    rate = int(rng.choice(rates))
    kind = "loudspeaker" if rng.random() < 0.5 else "piezo"
    click = draw_click(kind, rng, highest_hz=min(7000.0, 0.42 * rate))
    level = {
        "pink" if rng.random() < 0.5 else "white": rng.uniform(-50, -28),
        "hum": rng.uniform(-40, -6),
    }
    for name, share, low, high in (
        ("speech", 0.35, -34, -20),
        ("knocks", 0.3, -16, 0),
        ("beeps", 0.25, -20, -4),
        ("alarm", 0.15, -20, -6),
    ):
        present, drawn = rng.random() < share, rng.uniform(low, high)
        if present:
            level[name] = drawn
    recorder = Phone(
        low_hz=rng.uniform(50, 200),
        high_hz=None if rng.random() < 0.6 else rng.uniform(5000, 12000),
        gain_control=bool(rng.random() < 0.35),
        suppress=bool(rng.random() < 0.25),
        soft_clip=bool(rng.random() < 0.5),
        sample_rate_hz=rate,
        codec=codec,
        bits_per_s=bits,
    )
    return Scene(
        click if clicks else None,
        draw_room(rng),
        level,
        loudness_sigma=rng.uniform(0.1, 0.35),
        jitter_s=0.0,
        peak=float(np.exp(rng.uniform(np.log(0.05), np.log(1.6)))),
        phone=recorder,
    )


def without_counter(scene: Scene) -> Scene:
    """Return the same scene with the counter switched off."""
    return replace(scene, click=None)
