"""A room's echo: early reflections by image sources, then an exponential noise tail.

Image-source method after Allen & Berkley, J. Acoust. Soc. Am. 65 (1979) 943: a reflection at a
wall is a source behind it. The late tail is Gaussian noise decaying by 60 dB in the reverberation
time, joined where the reflections become dense.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SOUND_M_S = 343.0
Sound = NDArray[np.float32]


@dataclass(frozen=True)
class Room:
    """A shoebox room with a counter and a microphone in it.

    Args:
        size_m: length, width, height.
        counter_m: where the counter's speaker is.
        microphone_m: where the microphone is.
        reflection: amplitude reflected by a wall, 0…1.
        tail_s: time in which the late echo falls by 60 dB.
        tail_level: late echo's amplitude at its start, relative to the direct sound.
    """

    size_m: tuple[float, float, float]
    counter_m: tuple[float, float, float]
    microphone_m: tuple[float, float, float]
    reflection: float = 0.6
    tail_s: float = 0.3
    tail_level: float = 0.03


def draw_room(rng: np.random.Generator) -> Room:
    """Draw a small workshop or living room with the microphone 5 cm to 0.6 m from the counter."""
    size = (rng.uniform(2.5, 7.0), rng.uniform(2.2, 5.0), rng.uniform(2.2, 3.2))
    counter = (
        rng.uniform(0.2, 0.8) * size[0],
        rng.uniform(0.2, 0.8) * size[1],
        rng.uniform(0.7, 1.1),
    )
    away = np.exp(rng.uniform(np.log(0.05), np.log(0.6)))
    angle = rng.uniform(0, 2 * np.pi)
    microphone = (
        counter[0] + away * np.cos(angle),
        counter[1] + away * np.sin(angle),
        counter[2] + rng.uniform(0.0, 0.1),
    )
    return Room(
        size,
        counter,
        microphone,
        rng.uniform(0.3, 0.75),
        rng.uniform(0.15, 0.5),
        # a diffuse field is the louder, the further the microphone
        0.1 * away * rng.uniform(0.5, 1.5),
    )


def impulse_response(
    room: Room, sample_rate_hz: float, rng: np.random.Generator, *, order: int = 2
) -> Sound:
    """Return the room's response from counter to microphone, the direct sound at sample 0.

    Args:
        room: the room.
        sample_rate_hz: sample rate.
        rng: source of the late tail's noise.
        order: how many walls an early reflection may meet per axis.

    Returns:
        Response relative to the direct sound (1 at sample 0), shape (n,).
    """
    n = int(room.tail_s * sample_rate_hz)
    out = np.zeros(n)
    size, source = np.array(room.size_m), np.array(room.counter_m)
    ear = np.array(room.microphone_m)
    direct = float(np.linalg.norm(source - ear))
    k = np.arange(-order, order + 1)
    grid = np.stack(np.meshgrid(k, k, k, indexing="ij"), -1).reshape(-1, 3)
    # image k lies at k·L + x for even k and at (k+1)·L − x for odd k, after |k| reflections
    image = np.where(grid % 2 == 0, grid * size + source, (grid + 1) * size - source)
    path = np.linalg.norm(image - ear, axis=1)
    gain = room.reflection ** np.abs(grid).sum(axis=1) * direct / path
    at = (path - direct) / SOUND_M_S * sample_rate_hz
    whole = np.floor(at).astype(int)
    part = at - whole
    for shift, share in ((0, 1 - part), (1, part)):
        inside = whole + shift < n
        np.add.at(out, (whole + shift)[inside], (gain * share)[inside])
    t = np.arange(n) / sample_rate_hz
    start = min(0.02, room.tail_s / 4)
    rise = np.clip((t - 0.25 * start) / start, 0.0, 1.0)
    # noise power is spread over the whole band, so the tail's energy does not depend on the rate
    scale = room.tail_level * np.sqrt(8000.0 / sample_rate_hz)
    out += scale * rise * rng.standard_normal(n) * 10 ** (-3 * t / room.tail_s)
    return out.astype(np.float32)
