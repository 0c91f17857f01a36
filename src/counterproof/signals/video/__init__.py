"""One recording, two witnesses: what a display showed, read out of a video.

What to use when
----------------
* the picture of a video, with the frames' own times: :func:`open_video`;
* everything that takes long, once: :func:`watch` finds the numbers in the marked region, follows it
  and keeps what each looked like, from when to when;
* stills to key: :func:`sheet_of`; what was keyed, learned: :meth:`Sheet.glyphs` or :func:`teach`;
* the readings: :func:`read` gives a :class:`VideoReadings` with its log, what is still to be asked
  and the gaps;
* a pulse lamp's flashes as a pulse train: :func:`flashes_of`;
* the clicks of the same file: :mod:`counterproof.signals.audio` and
  :mod:`counterproof.signals.clicks`; both run on one clock.

The method is described in ``docs/theory/video.md``.
"""

from counterproof.signals.video.formats import Format
from counterproof.signals.video.frames import Box, Video, open_video
from counterproof.signals.video.glyphs import Glyphs, teach
from counterproof.signals.video.reading import VideoReadings
from counterproof.signals.video.refresh import Refresh
from counterproof.signals.video.sheet import Sheet, Still
from counterproof.signals.video.watching import Watched, flashes_of, read, sheet_of, watch

__all__ = [
    "Box",
    "Format",
    "Glyphs",
    "Refresh",
    "Sheet",
    "Still",
    "Video",
    "VideoReadings",
    "Watched",
    "flashes_of",
    "open_video",
    "read",
    "sheet_of",
    "teach",
    "watch",
]
