"""A phone's film of a counter: its display in the picture, its clicks in the sound, on one clock.

:func:`film` draws the display at every frame as it stood then, lays it in a scene, looks at the
scene through a trembling, tilted camera and packs the frames with the sound into one file. What the
display shows comes from outside, usually from the same pulses as the clicks
(:func:`counterproof.simulate.box.run_box`). :func:`draw_filming` draws a display, a camera and its
troubles from a seed.

Luminance only: chrominance is constant, since no reader should need it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from counterproof.progress import Report, silent, step
from counterproof.signals.video.warp import projection, warp
from counterproof.simulate.acoustics import Recording
from counterproof.simulate.typefaces import DOTS, Face, draw_face

if TYPE_CHECKING:
    import av

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Shown:
    """What one field of the display showed: each text from its time on until the next.

    Args:
        times_s: ascending, seconds from the recording's start.
        texts: as many texts.
    """

    times_s: Floats
    texts: tuple[str, ...]

    def at(self, time_s: float) -> str:
        """Return the text at a time; blank before the first."""
        i = int(np.searchsorted(self.times_s, time_s, side="right")) - 1
        return self.texts[i] if i >= 0 else ""


@dataclass(frozen=True)
class Panel:
    """A display: faces, colours and where its fields stand.

    Args:
        face: of the digits.
        digit_px: height of the main field's digits in pixels of the scene.
        dark_ink: dark on light (liquid crystal) or light on dark (diodes).
        paper: luminance of the background, 0…1.
        ink: luminance of the ink.
        unit: static text beside the digits; empty for none.
        places: digits that fit, for right-aligned fields; 0 aligns left.
        small: height of further fields over that of the main one.
        settle_s: time constant in which ink comes and goes (slow crystals).
        ghost: share of ink that unlit segments show.
    """

    face: Face = field(default_factory=Face)
    digit_px: int = 48
    dark_ink: bool = True
    paper: float = 0.62
    ink: float = 0.16
    unit: str = "µSv/h"
    places: int = 0
    small: float = 0.5
    settle_s: float = 0.0
    ghost: float = 0.0


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


@dataclass(frozen=True)
class Filmed:
    """The file with the truth about it.

    Args:
        path: the file.
        region: x, y, width and height of the display in the first frame, upright.
        fields: the same for each field's digits, main field first.
        lamp: the same for the lamp, or ``None``.
        frame_times_s: of every frame written, from the first sample of the sound.
    """

    path: Path
    region: tuple[int, int, int, int]
    fields: tuple[tuple[int, int, int, int], ...]
    lamp: tuple[int, int, int, int] | None
    frame_times_s: Floats


def shown_readings(times_s: Floats, values: Floats, decimals: int, start: float = 0.0) -> Shown:
    """Return readings as texts with fixed decimals; the first stands from ``start`` on."""
    times = np.array(times_s, dtype=np.float64)
    if times.size:
        times[0] = min(times[0], start)
    return Shown(times, tuple(f"{v:.{decimals}f}" for v in values))


class _Stage:
    """The scene in its own pixels: desk, case, display; redrawn only where texts change."""

    def __init__(self, panel: Panel, shown: Sequence[Shown], lamp: bool, rng: Any) -> None:
        self.panel, self.shown = panel, shown
        d = panel.digit_px
        longest = [max((len(t) for t in s.texts), default=1) for s in shown]
        self.heights = [d] + [max(8, round(panel.small * d))] * (len(shown) - 1)
        wide = max(
            panel.face.draw("8" * n, h, 1).shape[1]
            for n, h in zip(longest, self.heights, strict=True)
        )
        unit_face = panel.face if panel.face.kind in DOTS else Face("round", thickness=0.9)
        unit_high = d if panel.face.kind in DOTS and rng.random() < 0.5 else round(0.42 * d)
        self.unit = unit_face.draw(panel.unit, unit_high) if panel.unit else np.zeros((1, 1))
        self.unit_at = (d - self.unit.shape[0], wide + round(0.9 * d))
        rows = sum(self.heights) + round(0.6 * d) * (len(shown) - 1)
        self.size = (rows, wide + round(0.9 * d) + self.unit.shape[1])
        self.pad = round(rng.uniform(0.35, 0.7) * d)
        self.wide = wide
        rim = round(rng.uniform(0.3, 0.6) * d)
        around = round(1.6 * d)
        inner = (self.size[0] + 2 * self.pad, self.size[1] + 2 * self.pad)
        full = (inner[0] + 2 * (rim + around), inner[1] + 2 * (rim + around))
        desk = gaussian_filter(rng.standard_normal(full), 6) + 0.3 * gaussian_filter(
            rng.standard_normal(full), 1.2
        )
        scene = (0.45 + 0.5 * desk).astype(np.float32)
        case = rng.uniform(0.08, 0.75)
        scene[around:-around, around:-around] = case
        # screws and print on the case give a camera something to hold on to
        for _ in range(14):
            y = rng.integers(around, full[0] - around)
            x = rng.integers(around, full[1] - around)
            scene[y : y + 3, x : x + rng.integers(3, 12)] = np.clip(case + 0.3, 0, 1)
        self.at = around + rim
        self.lamp = None
        if lamp:
            self.lamp = (round(0.6 * around), full[1] - round(1.2 * around), round(0.35 * d))
            y, x, r = self.lamp
            scene[y - r : y + r, x - r : x + r] = 0.1
        self.base = scene
        self._inner = inner
        self._texts: tuple[str, ...] | None = None
        self._ink = np.zeros(inner, dtype=np.float32)
        self._target = self._ink

    def display_box(self) -> tuple[int, int, int, int]:
        return self.at, self.at, self._inner[1], self._inner[0]

    def field_boxes(self) -> list[tuple[int, int, int, int]]:
        at, boxes = self.at + self.pad, []
        for high in self.heights:
            boxes.append((self.at + self.pad, at, self.wide, high))
            at += high + round(0.6 * self.panel.digit_px)
        return boxes

    def ink(self, time_s: float, since_s: float) -> tuple[Picture, bool]:
        """Return the display's ink at a time and whether it changed since the last call."""
        texts = tuple(s.at(time_s) for s in self.shown)
        if texts != self._texts:
            self._texts = texts
            self._target = self._draw(texts)
        gone = abs(self._target - self._ink).max() if self._target is not self._ink else 0.0
        if gone < 0.01:
            return self._ink, False
        keep = np.exp(-since_s / self.panel.settle_s) if self.panel.settle_s > 0 else 0.0
        mixed = self._target + np.float32(keep) * (self._ink - self._target)
        self._ink = self._target if keep < 0.01 else mixed.astype(np.float32)
        return self._ink, True

    def _draw(self, texts: tuple[str, ...]) -> Picture:
        panel, out = self.panel, np.zeros(self._inner, dtype=np.float32)
        at = self.pad
        for text, high, shown in zip(texts, self.heights, self.shown, strict=True):
            glyphs = panel.face.draw(text, high) if text else np.zeros((high, 1), np.float32)
            x = self.pad
            if panel.places:
                x += max(0, panel.face.draw(max(shown.texts, key=len), high, 1).shape[1])
                x -= glyphs.shape[1]
            part = out[at : at + high, x : x + glyphs.shape[1]]
            np.maximum(part, glyphs[:, : part.shape[1]], out=part)
            if panel.ghost > 0 and panel.face.kind == "segments":
                all_lit = panel.face.draw("8" * sum(c.isdigit() for c in text), high)
                np.maximum(part, np.float32(panel.ghost) * _fitted(all_lit, part.shape), out=part)
            at += high + round(0.6 * panel.digit_px)
        y, x = self.pad + self.unit_at[0], self.pad + self.unit_at[1]
        out[y : y + self.unit.shape[0], x : x + self.unit.shape[1]] = self.unit
        return out


def _fitted(picture: Picture, shape: tuple[int, ...]) -> Picture:
    out = np.zeros(shape, dtype=np.float32)
    rows, cols = min(shape[0], picture.shape[0]), min(shape[1], picture.shape[1])
    out[:rows, :cols] = picture[:rows, :cols]
    return out


class _Camera:
    """Where the scene lies in each frame, and what light and hands do to it."""

    def __init__(self, filming: Filming, stage: _Stage, times: Floats, rng: Any) -> None:
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

    def to_scene(self, i: int) -> Floats:
        return projection(self.there + self.path[i], self.here)

    def to_frame(self, box: tuple[int, int, int, int], margin: int) -> tuple[int, int, int, int]:
        x, y, w, h = box
        m = projection(self.here, self.there)
        corners = np.array([[x, y, 1], [x + w, y, 1], [x + w, y + h, 1], [x, y + h, 1]]) @ m.T
        flat = corners[:, :2] / corners[:, 2:]
        low = np.floor(flat.min(axis=0)).astype(int) - margin
        high = np.ceil(flat.max(axis=0)).astype(int) + margin
        low, high = np.maximum(low, 0), np.minimum(high, [self.f.width, self.f.height])
        return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])

    def light(self, frame: Picture, i: int, rng: Any) -> Picture:
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
            y0, x0 = (
                rng.integers(0, _NOISE.shape[0] - rows),
                rng.integers(0, _NOISE.shape[1] - cols),
            )
            frame = frame + np.float32(f.noise) * _NOISE[y0 : y0 + rows, x0 : x0 + cols]
        return np.asarray(frame, dtype=np.float32)


_NOISE = np.empty((0, 0), dtype=np.float32)


def _grow_noise(rows: int, cols: int) -> None:
    global _NOISE
    if _NOISE.shape[0] <= rows or _NOISE.shape[1] <= cols:
        _NOISE = np.random.default_rng(5).standard_normal((rows + 97, cols + 131), np.float32)


def film(
    path: str | Path,
    shown: Shown | Sequence[Shown],
    duration_s: float,
    panel: Panel,
    filming: Filming,
    seed: int | np.random.SeedSequence,
    *,
    sound: Recording | None = None,
    flashes_s: Floats | None = None,
    report: Report = silent,
) -> Filmed:
    """Film a display and write the file; the suffix says which container.

    Args:
        path: ``.mp4``, ``.mov`` or ``.mkv``.
        shown: what each field shows, the main one first.
        duration_s: length.
        panel: the display.
        filming: the camera.
        seed: of scene, tremor and noise.
        sound: what the microphone heard, from the same start; ``None`` for a film without sound.
        flashes_s: when the pulse lamp flashes (needs ``lamp_lasts_s``).
        report: asked about once a second of film.

    Raises:
        Cancelled: if ``report`` answers ``False``; the file is then not complete.
    """
    import av

    path = Path(path)
    fields = [shown] if isinstance(shown, Shown) else list(shown)
    root = seed if isinstance(seed, np.random.SeedSequence) else np.random.SeedSequence(seed)
    rng, for_noise, for_time = (np.random.default_rng(s) for s in root.spawn(3))
    n = int(duration_s * filming.frames_per_s)
    steps = np.arange(n) + filming.uneven * for_time.uniform(-0.5, 0.5, n)
    times = np.maximum(steps, 0) / filming.frames_per_s
    stage = _Stage(panel, fields, filming.lamp_lasts_s > 0, rng)
    camera = _Camera(filming, stage, times, rng)
    _grow_noise(filming.height, filming.width)
    here = np.ones(n, dtype=bool)
    for start, end in filming.missing_s:
        here &= (times < start) | (times >= end)
    with av.open(str(path), "w") as out:
        packer = _Packer(out, filming, sound)
        for i in np.flatnonzero(here):
            if i % max(1, round(filming.frames_per_s)) == 0:
                step(report, int(i), n)
            picture = _frame(stage, camera, int(i), flashes_s, for_noise)
            packer.write(picture, float(times[i]))
        packer.close()
    y, x, r = stage.lamp or (0, 0, 0)
    return Filmed(
        path,
        camera.to_frame(stage.display_box(), 2),
        tuple(camera.to_frame(b, round(0.15 * panel.digit_px)) for b in stage.field_boxes()),
        camera.to_frame((x - r, y - r, 2 * r, 2 * r), 0) if stage.lamp else None,
        times[here],
    )


def _frame(
    stage: _Stage, camera: _Camera, i: int, flashes: Floats | None, rng: Any
) -> NDArray[np.uint8]:
    f, panel, t = camera.f, stage.panel, float(camera.times[i])
    ink, changed = stage.ink(t, 1.0 / f.frames_per_s)
    blur = f.focus_px + sum(
        2.2 * np.sin(np.pi * (t - start)) for start in f.hunting if 0 <= t - start <= 1
    )
    blur = round(float(blur) * 4) / 4 if f.hunting else blur
    dark = any(a <= t < b for a, b in f.dark_s)
    key = (blur, dark)
    if changed or getattr(stage, "cached_for", None) != key or f.lamp_lasts_s > 0:
        lit = panel.paper + (panel.ink - panel.paper) * ink
        if dark:  # without its backlight the display keeps next to no contrast
            lit = 0.04 + 0.01 * ink
        scene = stage.base.copy()
        x, y, w, h = stage.display_box()
        scene[y : y + h, x : x + w] = lit
        if stage.lamp and flashes is not None:
            # the shutter is open for half the time between frames
            k = np.searchsorted(flashes, [t - f.lamp_lasts_s, t + 0.5 / f.frames_per_s])
            if k[1] > k[0]:
                yy, xx, r = stage.lamp
                scene[yy - r : yy + r, xx - r : xx + r] = 0.95
        stage.cached = gaussian_filter(scene, blur / f.scale) if blur > 0.2 else scene  # type: ignore[attr-defined]
        stage.cached_for = key  # type: ignore[attr-defined]
    seen = warp(stage.cached, camera.to_scene(i), (f.height, f.width), 0.4)  # type: ignore[attr-defined]
    seen = camera.light(seen, i, rng)
    return np.asarray(np.clip(16 + 219 * seen, 0, 255), dtype=np.uint8)


class _Packer:
    """Frames and sound into one file, on one clock."""

    def __init__(self, out: Any, filming: Filming, sound: Recording | None) -> None:
        self._out, self._f, self._sound = out, filming, sound
        turned = filming.rotation_deg in (90, 270)
        rate = Fraction(filming.frames_per_s).limit_denominator(1001)
        stream = cast("av.VideoStream", out.add_stream(filming.codec, rate=rate))
        w, h = filming.width, filming.height
        stream.width, stream.height = (h, w) if turned else (w, h)
        stream.pix_fmt = "yuv420p"
        stream.time_base = Fraction(1, 90000)
        stream.codec_context.time_base = Fraction(1, 90000)
        stream.codec_context.gop_size = max(1, round(filming.keyframes_s * filming.frames_per_s))
        q = str(filming.quality)
        options: dict[str, dict[str, str]] = {
            "libx264": {"preset": "ultrafast", "crf": q},
            "libx265": {"preset": "ultrafast", "crf": q, "x265-params": "log-level=none"},
        }
        stream.options = dict(options.get(filming.codec, {"qmin": q, "qmax": q}))
        if filming.rotation_deg:
            stream.set_display_rotation(filming.rotation_deg)
        self._video = stream
        self._audio: Any = None
        self._heard = 0
        if sound is not None:
            self._audio = out.add_stream("aac", rate=sound.sample_rate_hz, layout="mono")
            self._audio.bit_rate = 96000

    def write(self, picture: NDArray[np.uint8], time_s: float) -> None:
        import av

        # the file's frames lie turned; the player turns them back
        picture = np.rot90(picture, -self._f.rotation_deg // 90)
        rows, cols = picture.shape
        planes = np.full((rows * 3 // 2, cols), 128, dtype=np.uint8)
        planes[:rows] = picture
        frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
        frame.pts, frame.time_base = round(time_s * 90000), Fraction(1, 90000)
        self._out.mux(self._video.encode(frame))
        self._hear(time_s)

    def _hear(self, until_s: float) -> None:
        import av

        sound = self._sound
        if sound is None:
            return
        rate, size = sound.sample_rate_hz, 1024
        while self._heard < min(sound.samples.size, until_s * rate):
            piece = np.ascontiguousarray(sound.samples[None, self._heard : self._heard + size])
            frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = rate, self._heard, Fraction(1, rate)
            self._out.mux(self._audio.encode(frame))
            self._heard += piece.shape[1]

    def close(self) -> None:
        self._hear(np.inf)
        self._out.mux(self._video.encode(None))
        if self._audio is not None:
            self._out.mux(self._audio.encode(None))


def draw_filming(
    seed: int | np.random.SeedSequence, kind: str, duration_s: float, **fixed: Any
) -> tuple[Panel, Filming]:
    """Draw a display with a face of one kind and a camera with ordinary troubles.

    Args:
        seed: of everything drawn.
        kind: of face, see :func:`counterproof.simulate.typefaces.draw_face`.
        duration_s: length of the film, for troubles that come at times.
        **fixed: fields of :class:`Filming` that are not drawn.
    """
    rng = np.random.default_rng(seed)
    dark_ink = bool(rng.random() < 0.6)
    far = rng.uniform(0.35, 0.5)
    panel = Panel(
        draw_face(rng, kind),
        digit_px=int(rng.integers(34, 60)),
        dark_ink=dark_ink,
        paper=rng.uniform(0.45, 0.75) if dark_ink else rng.uniform(0.03, 0.12),
        ink=0.0,
        unit=str(rng.choice(["", "µSv/h"])),
        settle_s=float(rng.choice([0.0, rng.uniform(0.02, 0.12)])) if dark_ink else 0.0,
        ghost=float(rng.choice([0.0, rng.uniform(0.0, 0.12)])) if dark_ink else 0.0,
    )
    panel = replace(panel, ink=panel.paper + (-far if dark_ink else far + 0.2))
    panel = replace(panel, ink=float(np.clip(panel.ink, 0.05, 0.9)))
    often = max(duration_s / 120.0, 0.0)
    hands = np.sort(rng.uniform(5, max(duration_s - 5, 6), rng.poisson(0.35 * often)))
    filming = Filming(
        scale=rng.uniform(0.75, 1.0),
        tilt=(rng.uniform(-0.1, 0.1), rng.uniform(-0.08, 0.08)),
        turn_deg=rng.uniform(-4, 4),
        tremor_px=rng.uniform(0.2, 1.6),
        drift_px=rng.uniform(0, 5),
        focus_px=rng.uniform(0.4, 1.4),
        hunting=tuple(rng.uniform(5, max(duration_s - 5, 6), rng.poisson(0.3 * often)).tolist()),
        flicker=rng.uniform(0, 0.08),
        mains_hz=float(rng.choice([50.0, 60.0])),
        noise=rng.uniform(0.005, 0.025),
        exposure_swing=rng.uniform(0, 0.12),
        glare=float(rng.choice([0.0, rng.uniform(0.0, 0.25)])),
        hands_s=tuple(hands.tolist()),
        quality=int(rng.integers(20, 30)),
        uneven=float(rng.choice([0.0, 0.3])),
    )
    return panel, replace(filming, **fixed)
