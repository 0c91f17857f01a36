"""The display as it was marked, and a survey of the whole video that finds its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.errors import UserError
from counterproof.progress import Report, silent, step
from counterproof.signals.video.fields import Field, find_fields
from counterproof.signals.video.follow import Follower
from counterproof.signals.video.frames import Box, Luma, Video
from counterproof.signals.video.warp import Picture, grown, shrunk, warp
from counterproof.texts import text

SURVEY = 60
"""Stills that are looked at beforehand."""
_MARGIN = 0.3
"""Margin around the marked region, as a share of its height: room for the hand's tremor."""


@dataclass(frozen=True, eq=False)
class Layout:
    """The display as it was surveyed.

    Args:
        around: the marked region with its margin: what is cut from every frame.
        reference: luminance of ``around`` in the reference still.
        fields: the numbers found, the largest first, then from top to bottom.
    """

    around: Box
    reference: Luma
    fields: tuple[Field, ...]


def survey(
    video: Video,
    regions: Box | Sequence[Box],
    *,
    fields: int = 1,
    at_s: float = 0.0,
    report: Report = silent,
) -> Layout:
    """Look at stills spread over a video and find the numbers in the marked region.

    Args:
        video: the video.
        regions: where the display is, in the still at ``at_s``; or one region for each number.
        fields: how many numbers are wanted from a single region.
        at_s: time of the still on which the region was marked.
        report: progress.

    Raises:
        UserError: if the region lies outside the picture or holds no number.
        Cancelled: if ``report`` answers ``False``.
    """
    marked = [regions] if isinstance(regions, Box) else list(regions)
    marked = [r.within(video.width, video.height) for r in marked]
    around = _hull(marked).grown(_MARGIN, video.width, video.height)
    _, first = video.still(at_s, around)
    # numbers are found in pictures of moderate size, whatever the camera's
    shrink = max(1, around.height // 200)
    stills = _spread(video, around, first, shrink, report)
    found: list[Field] = []
    for r in marked:
        inner = Box(*(n // shrink for n in (r.x - around.x, r.y - around.y, r.width, r.height)))
        each = find_fields(stills, inner, fields if len(marked) == 1 else 1)
        found += [f.enlarged(shrink) for f in each]
    wanted = max(fields, len(marked))
    if len(found) < wanted:
        key = "no_number" if not found else "fewer_numbers"
        raise UserError(text(f"video.{key}", path=video.path, found=len(found), wanted=wanted))
    return Layout(around, first, tuple(found))


def _hull(boxes: Sequence[Box]) -> Box:
    """Return the smallest box that holds all."""
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    right = max(b.x + b.width for b in boxes)
    return Box(x, y, right - x, max(b.y + b.height for b in boxes) - y)


def _spread(video: Video, around: Box, first: Luma, shrink: int, report: Report) -> list[Picture]:
    """Return stills over the whole video, laid on the first one, without those that are lost."""
    follower = Follower(first)
    stills = [shrunk(first, shrink)]
    large = grown(shrink)
    small = np.linalg.inv(large)
    length = video.duration_s or 0.0
    # key frames cost least; a video that has few of them is looked at where it has none
    sparse = video.keyframe_spacing_s() <= max(2.0, length / SURVEY)
    for k in range(SURVEY):
        step(report, k, SURVEY)
        at = (k + 0.5) * length / SURVEY
        for _, (part,) in video.frames((around,), from_s=at, keyframes_only=sparse):
            held = follower.follow(part)
            if not held.lost:
                picture = shrunk(part, shrink)
                stills.append(warp(picture, small @ held.matrix @ large, picture.shape, np.nan))
            break
    # what lay outside a picture is taken as it was in the first
    return [np.where(np.isnan(s), stills[0], s).astype(np.float32) for s in stills]
