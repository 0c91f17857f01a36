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
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from counterproof.progress import Report, silent, step
from counterproof.signals.video.warp import warp
from counterproof.simulate.acoustics import Recording
from counterproof.simulate.camera import Camera, Filming
from counterproof.simulate.display import Panel, Shown, Stage, shown_readings
from counterproof.simulate.typefaces import draw_face

if TYPE_CHECKING:
    import av

__all__ = ["Filmed", "Filming", "Panel", "Shown", "draw_filming", "film", "shown_readings"]

Floats = NDArray[np.float64]


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
    stage = Stage(panel, fields, filming.lamp_lasts_s > 0, rng)
    camera = Camera(filming, stage, times, rng)
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
    stage: Stage, camera: Camera, i: int, flashes: Floats | None, rng: Any
) -> NDArray[np.uint8]:
    f, panel, t = camera.f, stage.panel, float(camera.times[i])
    ink, changed = stage.ink(t, 1.0 / f.frames_per_s)
    blur = f.focus_px + sum(
        2.2 * np.sin(np.pi * (t - start)) for start in f.hunting if 0 <= t - start <= 1
    )
    blur = round(float(blur) * 4) / 4 if f.hunting else blur
    dark = any(a <= t < b for a, b in f.dark_s)
    key = (blur, dark)
    if changed or stage.cached_for != key or f.lamp_lasts_s > 0:
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
        stage.cached = gaussian_filter(scene, blur / f.scale) if blur > 0.2 else scene
        stage.cached_for = key
    seen = warp(stage.cached, camera.to_scene(i), (f.height, f.width), 0.4)
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
