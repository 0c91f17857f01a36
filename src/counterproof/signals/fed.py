"""A source of sound whose samples are handed in, as a page in a browser does.

The sender numbers its samples, so that a block that got lost is seen; while nobody sends, nothing
is counted, and the stretch becomes a gap as soon as somebody sends again.
"""

from __future__ import annotations

import threading

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.live import Gap, QueuedSource, SoundBlock
from counterproof.texts import text

_LATE_S = 0.25
"""Browsers hand sound over in pieces of some 10 to 100 ms; only more than this is a pause."""


class FedSource(QueuedSource):
    """Sound from :meth:`hear`; yields :class:`SoundBlock` and :class:`Gap`.

    Args:
        sample_rate_hz: of the samples.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        """Wait for the first samples."""
        super().__init__(most_waiting=1000)
        self.sample_rate_hz = sample_rate_hz
        self._guard = threading.Lock()
        self._samples = 0  # delivered, gaps included
        self._next = 0  # number of the sender's next sample
        self._began = False
        self._sender: object | None = None

    @property
    def reached_s(self) -> float:
        """Up to where sound was handed in, in s."""
        return self._samples / self.sample_rate_hz

    def begin(self, sender: object, first: int = 0) -> bool:
        """Let a sender start; the time since the last sample becomes a gap.

        ``False`` if another is sending: two would be heard as one that stumbles.
        """
        with self._guard:
            if self._sender is not None:
                return False
            self._sender, self._next = sender, first
            if not self._began:
                self._zero += self.now_s()
                self._began = True
                return True
            late = self.now_s() - self.reached_s
            if late > _LATE_S:
                self._miss(late, text("signals.fed_paused"))
            return True

    def leave(self, sender: object) -> None:
        """Note that a sender has gone, so that another may begin."""
        with self._guard:
            if self._sender is sender:
                self._sender = None

    @property
    def taken(self) -> bool:
        """Whether somebody sends."""
        return self._sender is not None

    def hear(self, first: int, samples: NDArray[np.float32]) -> None:
        """Take samples; ``first`` is the sender's number of the first of them."""
        with self._guard:
            if self._closed.is_set():
                return
            lost = first - self._next
            if lost > 0:
                self._miss(lost / self.sample_rate_hz, text("signals.fed_lost"))
            self._next = first + samples.size
            start = self.reached_s
            self._samples += samples.size
            self._put(SoundBlock(start, self.reached_s, samples))

    def _miss(self, seconds: float, reason: str) -> None:
        start = self.reached_s
        self._samples += round(seconds * self.sample_rate_hz)
        self._put(Gap(start, self.reached_s, reason))

    def _stop(self) -> None:
        """Nothing runs here that would have to end."""
