"""The picture of a video as a stream of luminance: frames with their own times, upright.

:func:`open_video` looks at the content, never at the name. :meth:`Video.frames` yields the
luminance plane of one part of each frame, cut out before anything else is done to it, with the time
that the frame itself carries; a frame's number over a rate is never used. Times run from the first
sample of the sound, as those of :func:`counterproof.signals.audio.open_audio` do, so that what is
seen and what is heard share one clock; without sound they run from the first frame.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.signals.closing import Closing
from counterproof.signals.container import (
    codec_name,
    decoded,
    open_container,
    stated_duration_s,
)
from counterproof.signals.sniff import recognise
from counterproof.texts import text

if TYPE_CHECKING:
    import av

Luma = NDArray[np.uint8]

GAP_S = 1.0
"""A longer stretch without a frame is a gap in the recording."""


@dataclass(frozen=True)
class Box:
    """An upright rectangle in the picture, in pixels from the upper left corner.

    Raises:
        UserError: from :meth:`parse` and :meth:`within`, for what is no rectangle in the picture.
    """

    x: int
    y: int
    width: int
    height: int

    @classmethod
    def parse(cls, written: str) -> Box:
        """Return the box written as ``x,y,w,h``."""
        try:
            x, y, w, h = (round(float(part)) for part in written.replace(";", ",").split(","))
        except (ValueError, OverflowError):
            raise UserError(text("video.region_form", given=written)) from None
        return cls(x, y, w, h)

    def within(self, width: int, height: int) -> Box:
        """Return the part inside a picture of this size."""
        x0, y0 = max(self.x, 0), max(self.y, 0)
        x1, y1 = min(self.x + self.width, width), min(self.y + self.height, height)
        if x1 - x0 < 8 or y1 - y0 < 8:
            given = f"{self.x},{self.y},{self.width},{self.height}"
            raise UserError(text("video.region_outside", given=given, width=width, height=height))
        return Box(x0, y0, x1 - x0, y1 - y0)

    def grown(self, share: float, width: int, height: int) -> Box:
        """Return the box with a margin of ``share`` of its height, cut to the picture."""
        m = max(8, round(share * self.height))
        return Box(self.x - m, self.y - m, self.width + 2 * m, self.height + 2 * m).within(
            width, height
        )


class Video(Closing):
    """One video, opened; may be gone through more than once. Made by :func:`open_video`.

    Attributes:
        path: the file.
        width: of the picture as it is shown, upright, in pixels.
        height: likewise.
        rotation_deg: by how much the file's frames are turned (counterclockwise) to stand upright.
        duration_s: length that the file states; ``None`` where it states none.
        has_sound: whether times run from the first sample of a sound track.
        warnings: sentences that the reader of a result must see; complete after the last frame.
    """

    def __init__(self, path: Path) -> None:
        """Open; use :func:`open_video`."""
        self.path = path
        self.warnings: list[str] = []
        self._kind = recognise(path)
        with self._open() as container:
            stream = self._first_picture(container)
            self.duration_s = stated_duration_s(container, stream)
            self.origin_s, self.has_sound = self._origin(container)
        with self._open() as container:
            stream = self._first_picture(container)
            frame = next(decoded(container, stream, self._note_damage), None)
            if frame is None:
                raise UserError(text("video.nothing_decodes", path=path))
            self.rotation_deg = round(frame.rotation / 90.0) * 90 % 360
            turned = self.rotation_deg in (90, 270)
            self.width = frame.height if turned else frame.width
            self.height = frame.width if turned else frame.height
            if not self.has_sound:
                self.origin_s = float(frame.time or 0.0)

    def close(self) -> None:
        """Nothing stays open between two passes; here for symmetry with recordings."""

    def frames(
        self,
        boxes: tuple[Box, ...] = (),
        *,
        from_s: float = 0.0,
        keyframes_only: bool = False,
        every_s: float = 0.0,
    ) -> Iterator[tuple[float, tuple[Luma, ...]]]:
        """Yield (time, luminance of each box) frame by frame, in order of time.

        Args:
            boxes: parts of the upright picture; the whole picture when empty.
            from_s: where to begin; what lies before is passed over.
            keyframes_only: decode key frames alone, which costs a small part of the time.
            every_s: yield a frame only this long after the one before (0: every frame).

        Yields:
            Seconds on the recording's clock, and arrays of shape (height, width), uint8, contiguous
            copies that stay valid.
        """
        wanted = boxes or (Box(0, 0, self.width, self.height),)
        coded = [self._coded(b) for b in wanted]
        last = -np.inf
        with self._open() as container:
            stream = self._first_picture(container)
            stream.thread_type = "AUTO"
            if keyframes_only:
                stream.codec_context.skip_frame = "NONKEY"
            if from_s > 2.0 and stream.time_base is not None:
                at = max(0.0, from_s - 0.5) + self.origin_s
                container.seek(int(at / stream.time_base), stream=stream)
            for frame in decoded(container, stream, self._note_damage):
                if frame.pts is None:
                    continue
                now = float(frame.time) - self.origin_s
                if now <= last:
                    self._warn("video.time_falls")
                    continue
                if now < from_s or now < last + every_s * (1 - 1e-6):
                    continue
                last = now
                plane = _luma(frame)
                parts = tuple(self._cut(plane, box) for box in coded)
                yield now, parts

    def still(self, at_s: float = 0.0, box: Box | None = None) -> tuple[float, Luma]:
        """Return the first picture at or after a time, or a part of it, and its time.

        Raises:
            UserError: if the video ends before.
        """
        for now, (picture,) in self.frames((box,) if box else (), from_s=at_s):
            return now, picture
        raise UserError(text("video.no_still", path=self.path, time=at_s))

    def keyframe_spacing_s(self, look_s: float = 30.0) -> float:
        """Return the longest time between key frames in the first ``look_s`` seconds."""
        times: list[float] = []
        with self._open() as container:
            stream = self._first_picture(container)
            for packet in container.demux(stream):
                if packet.is_keyframe and packet.pts is not None and packet.time_base is not None:
                    times.append(float(packet.pts * packet.time_base))
                    if times[-1] - times[0] > look_s:
                        break
        return float(np.diff(times).max()) if len(times) > 1 else np.inf

    def _open(self) -> av.container.InputContainer:
        return open_container(self.path, self._kind)

    def _first_picture(self, container: av.container.InputContainer) -> av.VideoStream:
        # a cover picture of a sound file is no video
        found = [
            s
            for s in container.streams.video
            if not s.disposition & type(s.disposition).attached_pic
        ]
        if not found:
            raise UserError(text("video.no_picture", path=self.path))
        if codec_name(found[0]) is None:
            raise UserError(text("video.unknown_codec", path=self.path))
        return found[0]

    def _origin(self, container: av.container.InputContainer) -> tuple[float, bool]:
        """Return the time of the first sample of the sound in the container's time."""
        import av

        if not container.streams.audio:
            return 0.0, False
        try:
            for frame in container.decode(container.streams.audio[0]):
                if frame.time is not None:
                    return float(frame.time), True
        except (av.FFmpegError, AttributeError, RuntimeError, ValueError):
            pass
        return 0.0, False

    def _note_damage(self) -> None:
        self._warn("video.damaged")

    def _warn(self, key: str) -> None:
        sentence = text(key, path=self.path)
        if sentence not in self.warnings:
            self.warnings.append(sentence)

    def _coded(self, box: Box) -> Box:
        """Return where an upright box lies in the file's frames."""
        x, y, w, h = box.x, box.y, box.width, box.height
        if self.rotation_deg == 90:  # upright (x, y) = coded (y, width - 1 - x) turned left
            return Box(self.height - y - h, x, h, w)
        if self.rotation_deg == 180:
            return Box(self.width - x - w, self.height - y - h, w, h)
        if self.rotation_deg == 270:
            return Box(y, self.width - x - w, h, w)
        return box

    def _cut(self, plane: Luma, box: Box) -> Luma:
        part = plane[box.y : box.y + box.height, box.x : box.x + box.width]
        return np.array(np.rot90(part, self.rotation_deg // 90), order="C", copy=True)


def _luma(frame: av.VideoFrame) -> Luma:
    """Return a frame's luminance as a view where its format has a plane of it."""
    name = frame.format.name
    plain = name.startswith(("yuv4", "yuvj4", "nv12", "nv21", "nv16")) or name == "gray"
    if plain and not any(depth in name for depth in ("9", "10", "12", "14", "16le", "16be")):
        plane: Any = frame.planes[0]
        rows = np.frombuffer(plane, dtype=np.uint8).reshape(-1, plane.line_size)
        return rows[: frame.height, : frame.width]
    return np.asarray(frame.to_ndarray(format="gray"), dtype=np.uint8)


def open_video(path: str | Path) -> Video:
    """Open a video for reading its picture.

    Raises:
        UserError: if the file is missing, unreadable, no recording, without a picture, or nothing
            in it can be decoded.
    """
    return Video(Path(path))
