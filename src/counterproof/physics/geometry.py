"""Where a source's activity lies and how it is seen: quadrature over point, disc, line, cylinder.

The result for every quadrature point and distance: inverse-square factor, obliquity of the flat
cover, path inside the matrix. Gauss–Legendre nodes in the square of the radius, in depth and
length; azimuths evenly spaced. Few nodes far away, more near by.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.sources import SourceTerm

Array = NDArray[np.float64]


class View(NamedTuple):
    """Seen from the detector, arrays of shape (points, distances).

    Args:
        inverse_square: weight / (4π r²) in 1/cm²; sums over the points to the geometric factor.
        distance_cm: r.
        slant: path through a flat cover over its thickness.
        matrix_cm: path inside the source's own matrix.
        depth_g_cm2: mass of matrix above each point along the axis, shape (points,).
    """

    inverse_square: Array
    distance_cm: Array
    slant: Array
    matrix_cm: Array


def _nodes(count: int) -> tuple[Array, Array]:
    x, w = np.polynomial.legendre.leggauss(count)
    return (x + 1.0) / 2.0, w / 2.0


def _many(size: float, nearest: float) -> int:
    if size <= 0.0:
        return 1
    ratio = nearest / size
    return 2 if ratio > 4.0 else 4 if ratio > 1.0 else 12


def source_points(source: SourceTerm, nearest_cm: float, angle_deg: float) -> tuple[Array, Array]:
    """Quadrature points, shape (p, 3) in cm, and weights that sum to one."""
    radius = source.diameter_cm / 2.0 if source.form in ("disc", "cylinder") else 0.0
    length = source.length_cm if source.form != "point" else 0.0
    if source.form == "line":
        # a line cannot be represented by few nodes unless far: it is the longest form
        x, w = _nodes(max(3, 2 * _many(length / 2.0, nearest_cm)))
        points = np.zeros((x.size, 3))
        points[:, 0] = (x - 0.5) * length
        return points, w
    rings = _many(radius, nearest_cm)
    square, ring_weight = _nodes(rings)
    rho = radius * np.sqrt(square)
    turns = 1 if angle_deg == 0.0 or radius == 0.0 else 8 if rings < 12 else 16
    azimuth = 2.0 * math.pi * (np.arange(turns) + 0.5) / turns
    absorbing = source.matrix is not None and length > 0.0
    depth, depth_weight = _nodes(1 if length == 0.0 else 12 if absorbing else 4)
    z = (depth - 0.5) * length
    rr, aa, zz = np.meshgrid(rho, azimuth, z, indexing="ij")
    weight = np.einsum("i,k->ik", ring_weight, depth_weight)[:, None, :] / turns
    weight = np.broadcast_to(weight, rr.shape)
    points = np.stack([rr * np.cos(aa), rr * np.sin(aa), zz], axis=-1)
    return points.reshape(-1, 3), weight.reshape(-1).copy()


def view(source: SourceTerm, distances_cm: Array, angle_deg: float = 0.0) -> View:
    """How the source looks from each distance at an angle to its axis.

    Args:
        source: the source.
        distances_cm: from the source's centre, shape (d,), positive.
        angle_deg: between the axis (for a line: its perpendicular) and the line of sight.
    """
    points, weights = source_points(source, float(distances_cm.min()), angle_deg)
    angle = math.radians(angle_deg)
    along = np.array([math.sin(angle), 0.0, math.cos(angle)])
    ray = distances_cm[None, :, None] * along - points[:, None, :]
    r2 = np.maximum((ray**2).sum(axis=-1), 1e-12)
    r = np.sqrt(r2)
    inverse = weights[:, None] / (4.0 * math.pi * r2)
    slant = np.ones_like(r)
    if source.form == "disc" and source.cover:
        # beyond 80 degrees the flat cover's edge would be seen instead
        slant = 1.0 / np.maximum(np.abs(ray[..., 2]) / r, math.cos(math.radians(80.0)))
    inside = np.zeros_like(r)
    if source.matrix is not None and source.form in ("disc", "cylinder") and source.length_cm > 0:
        inside = _path_inside(
            points, ray / r[..., None], source.diameter_cm / 2.0, source.length_cm
        )
    return View(inverse, r, slant, inside)


def _path_inside(points: Array, direction: Array, radius: float, length: float) -> Array:
    """Path from inside a cylinder to its surface, shape (points, distances)."""
    x, y, z = points[:, 0, None], points[:, 1, None], points[:, 2, None]
    u, v, w = direction[..., 0], direction[..., 1], direction[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        end = np.where(w > 0.0, (length / 2.0 - z) / w, (-length / 2.0 - z) / w)
        end = np.where(np.abs(w) < 1e-12, np.inf, end)
        a = u * u + v * v
        b = x * u + y * v
        c = x * x + y * y - radius * radius
        side = np.where(a < 1e-18, np.inf, (-b + np.sqrt(np.maximum(b * b - a * c, 0.0))) / a)
    return np.asarray(np.maximum(np.minimum(end, side), 0.0), dtype=np.float64)
