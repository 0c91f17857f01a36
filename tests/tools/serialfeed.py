"""A serial line without a counter at its end: random bytes into a pseudo-terminal."""

from __future__ import annotations

import os
import threading
import time
import tty

import numpy as np


class SerialFeed:
    """A line that sends a byte for each pulse, at random, from :meth:`start` on until it is left.

    Args:
        rate_per_s: mean number of pulses per second.
        seed: of the random numbers.
    """

    def __init__(self, rate_per_s: float, seed: int = 1) -> None:
        self._there, self._here = os.openpty()
        tty.setraw(self._there)
        tty.setraw(self._here)
        self.port = os.ttyname(self._here)
        self._rate, self._rng = rate_per_s, np.random.default_rng(seed)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._feed, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def _feed(self) -> None:
        last = time.monotonic()
        while not self._over.wait(0.01):
            now = time.monotonic()
            os.write(self._there, b"x" * self._rng.poisson(self._rate * (now - last)))
            last = now

    def stop(self) -> None:
        self._over.set()
