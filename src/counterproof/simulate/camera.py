"""The camera that films a display: where the scene lies in each frame, light, hands and noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from counterproof.signals.video.warp import projection
from counterproof.simulate.display import Stage

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

_SPARE = (97, 131)
"""Rows and columns of noise beyond a frame's: each frame takes its own part of them."""


@dataclass(frozen=True)
class Filming:
    """The camera, its hands and what comes between.

    Args:
        width: of the frame in pixels, upright.
        height: of the frame.
        frames_per_s: frame rate.
        uneven: spread of the times between frames, as a share (variable frame rate).
        scale: of the display in the frame.
        tilt: keystone in x and in y, as the share by which the far side is shorter.
        turn_deg: rotation in the picture.
        tremor_px: standard deviation of the hand's tremor.
        drift_px: slow wandering over the whole film.
        focus_px: blur (standard deviation).
        hunting: times at which the focus searches for a second, in s.
        flicker: depth of the mains flicker; the bands roll through the frame.
        mains_hz: mains frequency; light flickers at twice this.
        noise: standard deviation of the sensor's noise, in 0…1.
        exposure_swing: slow swing of the exposure, as a share.
        glare: luminance of a soft reflection over part of the display.
        hands_s: times at which a hand passes.
        hand_lasts_s: how long it covers the display.
        dark_s: stretches (start, end) with the backlight out.
        missing_s: stretches (start, end) that the recording lacks, times running on.
        rotation_deg: 0, 90, 180 or 270: the file says that its frames are to be turned.
        lamp_lasts_s: length of a pulse lamp's flash; 0 for no lamp.
        codec: ``"libx264"``, ``"libx265"`` or ``"mpeg4"``.
        quality: constant rate factor (x264, x265) or quantiser (mpeg4).
        keyframes_s: time between key frames.
    """

    width: int = 480
    height: int = 270
    frames_per_s: float = 10.0
    uneven: float = 0.0
    scale: float = 1.0
    tilt: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    tremor_px: float = 0.6
    drift_px: float = 0.0
    focus_px: float = 0.7
    hunting: tuple[float, ...] = ()
    flicker: float = 0.0
    mains_hz: float = 50.0
    noise: float = 0.012
    exposure_swing: float = 0.0
    glare: float = 0.0
    hands_s: tuple[float, ...] = ()
    hand_lasts_s: float = 2.0
    dark_s: tuple[tuple[float, float], ...] = ()
    missing_s: tuple[tuple[float, float], ...] = ()
    rotation_deg: int = 0
    lamp_lasts_s: float = 0.0
    codec: str = "libx264"
    quality: int = 24
    keyframes_s: float = 1.0


class Camera:
    """Where the scene lies in each frame, and what light and hands do to it."""

    def __init__(self, filming: Filming, stage: Stage, times: Floats, rng: Any) -> None:
        """Set it up before the scene, with its tremor for every frame."""
        self.f, self.times = filming, times
        rows, cols = stage.base.shape
        w, h, s = filming.width, filming.height, filming.scale
        cx, cy = w / 2 + rng.uniform(-0.04, 0.04) * w, h / 2 + rng.uniform(-0.04, 0.04) * h
        half = np.array([[-cols, -rows], [cols, -rows], [cols, rows], [-cols, rows]]) * s / 2
        kx, ky = filming.tilt
        half = half * np.array([[1, 1], [1, 1 - kx], [1, 1 - kx], [1, 1]])
        half = half * np.array([[1, 1], [1, 1], [1 - ky, 1], [1 - ky, 1]])
        turn = np.radians(filming.turn_deg)
        rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        self.there = half @ rotate.T + np.array([cx, cy])
        self.here = np.array([[0, 0], [cols - 1, 0], [cols - 1, rows - 1], [0, rows - 1]], float)
        n = times.size
        per_s = filming.frames_per_s
        shake = rng.standard_normal((n + 1, 2))
        smooth = max(0.15 * per_s, 0.4)
        shake = gaussian_filter1d(shake, smooth, axis=0)
        shake = shake / max(float(shake.std()), 1e-9) * filming.tremor_px
        slow = gaussian_filter1d(rng.standard_normal((n + 1, 2)), max(20 * per_s, 1), axis=0)
        slow = slow / max(float(slow.std()), 1e-9) * filming.drift_px
        self.path = shake + slow - shake[0] - slow[0]
        self.glare_at = rng.uniform(0.3, 0.7, 2) * [w, h]
        self.glare_size = rng.uniform(0.06, 0.16) * w
        self.swing = rng.uniform(0, 2 * np.pi)
        spare = (h + _SPARE[0], w + _SPARE[1])
        self.noise = np.random.default_rng(5).standard_normal(spare, np.float32)

    def to_scene(self, i: int) -> Floats:
        """Return the matrix from a frame's pixels to the scene's."""
        return projection(self.there + self.path[i], self.here)

    def to_frame(self, box: tuple[int, int, int, int], margin: int) -> tuple[int, int, int, int]:
        """Return where a box of the scene lies in the first frame."""
        x, y, w, h = box
        m = projection(self.here, self.there)
        corners = np.array([[x, y, 1], [x + w, y, 1], [x + w, y + h, 1], [x, y + h, 1]]) @ m.T
        flat = corners[:, :2] / corners[:, 2:]
        low = np.floor(flat.min(axis=0)).astype(int) - margin
        high = np.ceil(flat.max(axis=0)).astype(int) + margin
        low, high = np.maximum(low, 0), np.minimum(high, [self.f.width, self.f.height])
        return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])

    def light(self, frame: Picture, i: int, rng: Any) -> Picture:
        """Return the frame with glare, a passing hand, exposure, flicker and noise."""
        f, t = self.f, self.times[i]
        rows, cols = frame.shape
        y, x = np.ogrid[0:rows, 0:cols]
        if f.glare > 0:
            wander = 0.2 * self.glare_size * np.sin(2 * np.pi * t / 47.0)
            off = (x - self.glare_at[0] - wander) ** 2 + (y - self.glare_at[1]) ** 2
            frame = frame + np.float32(f.glare) * np.exp(-off / (2 * self.glare_size**2))
        for start in f.hands_s:
            share = (t - start) / f.hand_lasts_s
            if 0 <= share <= 1:
                middle = (1.6 * share - 0.3) * cols
                off = ((x - middle) / (0.32 * cols)) ** 2 + ((y - 0.6 * rows) / (0.75 * rows)) ** 2
                cover = 1 / (1 + np.exp(np.clip((off - 1) * 12, -50, 50)))
                frame = frame * (1 - cover) + cover * (0.5 + 0.06 * np.sin(x / 9.0 + y / 13.0))
        gain = 1 + f.exposure_swing * np.sin(2 * np.pi * t / 23.0 + self.swing)
        if f.flicker > 0:
            # each line is read out a little later: the light's 2 f beats with the frames
            line = t + np.arange(rows)[:, None] * (0.02 / rows)
            gain = gain * (1 + f.flicker * np.sin(2 * np.pi * 2 * f.mains_hz * line))
        frame = frame * gain
        if f.noise > 0:
            y0, x0 = rng.integers(0, _SPARE[0]), rng.integers(0, _SPARE[1])
            frame = frame + np.float32(f.noise) * self.noise[y0 : y0 + rows, x0 : x0 + cols]
        return np.asarray(frame, dtype=np.float32)
