"""Counts from sound: find the clicks of a counter's loudspeaker or piezo in a recording.

What to use when:

* :func:`detect_clicks`: a recording (array or blocks) becomes a pulse train; batch.
* :func:`learn_shape`, then :class:`ClickDetector`: live sound, block by block.
* :class:`ClickShape`: a shape from a teaching run, stored and passed as ``taught``.
"""

from counterproof.signals.clicks.conclude import ClickResult
from counterproof.signals.clicks.detect import detect_clicks, learn_shape
from counterproof.signals.clicks.detector import ClickDetector
from counterproof.signals.clicks.shape import ClickShape

__all__ = ["ClickDetector", "ClickResult", "ClickShape", "detect_clicks", "learn_shape"]
