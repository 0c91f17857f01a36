"""Sources by numba: a parallel beam, a rotational field, a point or a disc at a position."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from counterproof.physics.tube.stream import rand

BEAM = 0
ROTATION = 1
DISC = 2

# fractional parts of the powers of 1/g, g the real root of x⁵ = x + 1: a low-discrepancy sequence
# of additive recurrence in four dimensions
_A1 = 0.8566748838545029
_A2 = 0.733891856627126
_A3 = 0.6287067210378087


class Source(NamedTuple):
    """A source of photons or electrons.

    Args:
        kind: ``BEAM``, ``ROTATION`` or ``DISC``.
        kind_of_particle: 0 photons, 1 electrons.
        energy: shape (n,), keV.
        cumulative: shape (n,), cumulative share of the energies; ends at 1. For one energy: [1].
        angle: between the tube's axis and the way to the source, radians; 0 is a source in front
            of the upper end (the window's).
        outer_r: radius of the whole tube.
        z_lo: lower end of the whole tube.
        z_hi: upper end of the whole tube.
        x: position of a disc: distance from the axis.
        z: position of a disc along the axis.
        radius: of the disc, whose axis passes through the tube's centre line (side) or is the
            tube's axis (end).
        end_on: 1 if the disc faces an end of the tube.
    """

    kind: int
    kind_of_particle: int
    energy: NDArray[np.float64]
    cumulative: NDArray[np.float64]
    angle: float
    outer_r: float
    z_lo: float
    z_hi: float
    x: float
    z: float
    radius: float
    end_on: int


@njit(cache=True, inline="always")
def _part(x: float) -> float:
    return x - math.floor(x)


@njit(cache=True)
def start(s: Source, shift: np.ndarray, k: int, rng: np.ndarray, photon: np.ndarray) -> float:
    """Set ``photon`` to the k-th source particle; returns its weight.

    The weight is an area in cm² for a beam or rotation (so that the mean score is an effective
    area) and a share of the emission for a disc (so that it is a score per particle emitted).
    """
    q1 = _part(shift[0] + k * _A1)
    q2 = _part(shift[1] + k * _A2)
    q3 = _part(shift[2] + k * _A3)
    if s.energy.size == 1:
        photon[0] = s.energy[0]
    else:
        j = min(np.searchsorted(s.cumulative, q3), s.energy.size - 1)
        photon[0] = s.energy[j]
    r = s.outer_r
    if s.kind == BEAM or s.kind == ROTATION:
        angle = s.angle if s.kind == BEAM else 3.141592653589793 * rand(rng)
        sa = abs(math.sin(angle))
        ca = -math.cos(angle)
        mid = 0.5 * (s.z_lo + s.z_hi)
        wide = (s.z_hi - s.z_lo) * sa + 2.0 * r * abs(ca)
        y = (2.0 * q1 - 1.0) * r
        h = (q2 - 0.5) * wide
        far = r + (s.z_hi - s.z_lo) + 1.0
        # beam along (sa, 0, ca); across it y and (−ca, 0, sa)
        photon[1] = -ca * h - far * sa
        photon[2] = y
        photon[3] = mid + sa * h - far * ca
        photon[4] = sa
        photon[5] = 0.0
        photon[6] = ca
        return 2.0 * r * wide
    # a disc: aim at a plane figure that every ray from it to the tube crosses
    a = s.radius * math.sqrt(rand(rng))
    phi = 6.283185307179586 * rand(rng)
    if s.end_on == 1:
        sx = s.x + a * math.cos(phi)
        sy = a * math.sin(phi)
        sz = s.z
        plane = s.z_hi if sz > s.z_hi else s.z_lo
        tx = (2.0 * q1 - 1.0) * r
        ty = (2.0 * q2 - 1.0) * r
        tz = plane
        area = 4.0 * r * r
        gap = abs(sz - plane)
    else:
        sx = s.x
        sy = a * math.cos(phi)
        sz = s.z + a * math.sin(phi)
        # the silhouette on the plane through the axis, seen from (x, ·, z), source outside
        near = sx / max(sx - r, 1e-3 * r)
        far = sx / (sx + r)
        lo = min(sz + (s.z_lo - sz) * near, sz + (s.z_lo - sz) * far)
        hi = max(sz + (s.z_hi - sz) * near, sz + (s.z_hi - sz) * far)
        half = r * sx / math.sqrt(max(sx * sx - r * r, 1e-6 * r * r))
        # tangents from a point off the middle: widen by its offset as seen from the far side
        half = half * (1.0 + abs(sy) / max(sx - r, 1e-3 * r)) + abs(sy)
        tx = 0.0
        ty = (2.0 * q1 - 1.0) * half
        tz = lo + q2 * (hi - lo)
        area = 2.0 * half * (hi - lo)
        gap = sx
    dx = tx - sx
    dy = ty - sy
    dz = tz - sz
    d2 = dx * dx + dy * dy + dz * dz
    d = math.sqrt(d2)
    photon[1] = sx
    photon[2] = sy
    photon[3] = sz
    photon[4] = dx / d
    photon[5] = dy / d
    photon[6] = dz / d
    return area * gap / d / d2 / 12.566370614359172
