"""Random numbers for the transport: one counter-based stream per chunk of histories.

The n-th number of a stream is a hash of ``key + n·γ`` (SplitMix64: Steele, Lea & Flood, "Fast
splittable pseudorandom number generators", OOPSLA 2014). A chunk's key is a hash of seed and chunk
number, so that results depend on neither the number of threads nor the order of the work.
"""

from __future__ import annotations

import numpy as np
from numba import njit, uint64

_GAMMA = uint64(0x9E3779B97F4A7C15)
_M1 = uint64(0xBF58476D1CE4E5B9)
_M2 = uint64(0x94D049BB133111EB)
_MASK = (1 << 64) - 1


@njit(cache=True, inline="always")
def rand(state: np.ndarray) -> float:
    """Next number of the stream in the open interval (0, 1); ``state`` is ``uint64[1]``."""
    state[0] += _GAMMA
    z = state[0]
    z = (z ^ (z >> uint64(30))) * _M1
    z = (z ^ (z >> uint64(27))) * _M2
    z = z ^ (z >> uint64(31))
    return (np.float64(z >> uint64(12)) + 0.5) * 2.220446049250313e-16


def _mix(z: int) -> int:
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
    return z ^ (z >> 31)


def stream_key(*numbers: int) -> np.ndarray:
    """State at the start of the stream that belongs to ``numbers`` (seed, task, chunk, …)."""
    key = 0
    for number in numbers:
        key = _mix((key ^ (number & _MASK)) + 0x9E3779B97F4A7C15 & _MASK)
    return np.array([key], dtype=np.uint64)
