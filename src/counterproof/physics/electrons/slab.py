"""Monte Carlo of electrons in a slab or around a point, compiled by numba.

Mixed simulation with a random hinge (F. Salvat, J. M. Fernández-Varea, J. Sempau, PENELOPE-2008,
OECD/NEA 2009, chapter 4): hard elastic and hard Møller collisions singly, the rest continuous;
electrons set free with more than 10 keV are followed too. Lengths in g/cm², energies in MeV.

A plane is scored only at an electron's first crossing (secondaries inherit how deep their parent
had been): what has crossed once would have left a slab of that thickness, so one history scores
every thickness; the same holds for balls of several radii. In an infinite medium around a point,
and in a thick one for dose at a depth, every crossing is scored.
"""

# ruff: noqa: NPY002  numba compiles np.random.random to its own seeded stream, as fast as C

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

SLAB_BEAM = 0  # parallel beam, normal to the slab
SLAB_ISOTROPIC = 1  # isotropic point at the slab's face, scored on the axis
SPHERE = 2  # isotropic point in an infinite medium
DEPTH = 3  # parallel beam into a thick medium, every crossing scored
SHELL = 4  # isotropic point in a ball, scored as it leaves the ball
_STACK = 256
_GRAZING = 0.1


@njit(cache=True)
def _turn(u: float, v: float, w: float, cos: float, phi: float) -> tuple[float, float, float]:
    sin = math.sqrt(max(0.0, 1.0 - cos * cos))
    a, b = sin * math.cos(phi), sin * math.sin(phi)
    perp2 = 1.0 - w * w
    if perp2 < 1e-12:
        return a, b, math.copysign(cos, w)
    perp = math.sqrt(perp2)
    return (
        u * cos + (u * w * a - v * b) / perp,
        v * cos + (v * w * a + u * b) / perp,
        w * cos - perp * a,
    )


@njit(cache=True)
def _moller(energy: float, least: float) -> float:
    """Energy given in a hard collision, by rejection."""
    tau = energy / 0.51099895
    c = (tau / (tau + 1.0)) ** 2
    d = (2.0 * tau + 1.0) / (tau + 1.0) ** 2
    low = least / energy
    while True:
        r = np.random.random()
        x = low / (1.0 - r * (1.0 - 2.0 * low))  # ∝ 1/x² on (low, 1/2)
        y = x / (1.0 - x)
        # (1 + y² + C x² − D y) stays below 1 + 1 + C/4
        if np.random.random() * (2.0 + 0.25 * c) < 1.0 + y * y + c * x * x - d * y:
            return x * energy


@njit(cache=True)
def _soft_angle(step: float, first: float, second: float) -> float:
    """Deflection μ of the soft collisions along a step (PENELOPE-2008, section 4.1)."""
    one = 0.5 * (1.0 - math.exp(-step * first))
    two = one - (1.0 - math.exp(-step * second)) / 6.0
    if one >= 0.4999:
        return np.random.random()
    b = (2.0 * one - 3.0 * two) / (1.0 - 2.0 * one)
    b = min(max(b, 1e-12), 1.0)
    a = min(max(1.0 - 2.0 * one + b, 0.0), 1.0)
    if np.random.random() < a:
        return b * np.random.random()
    return b + (1.0 - b) * np.random.random()


@njit(cache=True)
def _score(tally: Array, plane: int, energy: float, start: float, weight: float) -> None:
    bins = tally.shape[1]
    place = int(energy / start * bins)
    tally[plane, min(place, bins - 1)] += weight


@njit(cache=True)
def run(
    mode: int,
    start_mev: float,
    histories: int,
    seed: int,
    planes: Array,
    bins: int,
    least_mev: float,
    cone_cos: float,
    log_energy: Array,
    screening: Array,
    cut: Array,
    hard_elastic: Array,
    soft_first: Array,
    soft_second: Array,
    moller: Array,
    soft_loss: Array,
    reach: Array,
) -> tuple[Array, Array, float]:
    """Follow electrons and score them at planes or spheres.

    Args:
        mode: ``SLAB_BEAM``, ``SLAB_ISOTROPIC``, ``SPHERE``, ``DEPTH`` or ``SHELL``.
        start_mev: kinetic energy at the start.
        histories: number of electrons.
        seed: of the random stream.
        planes: thicknesses or radii, g/cm², rising, shape (p,).
        bins: equal bins of energy over start energy.
        least_mev: electrons below are dropped.
        cone_cos: cosine of the cone about the axis that ``SLAB_ISOTROPIC`` scores.
        log_energy: and the rest: the columns of :class:`scatter.Scatter`.

    Returns:
        ``(fluence, current, backscattered)``: the first two (p, bins), per unit of what would
        arrive without the medium; the last the number that left through the slab's face. For
        ``SLAB_ISOTROPIC`` the fluence is the intensity on the axis, the current the number that
        comes through over the number sent into the slab; for ``SHELL`` both are the number that
        leaves the ball.
    """
    np.random.seed(seed)
    fluence = np.zeros((planes.size, bins))
    current = np.zeros((planes.size, bins))
    stack = np.zeros((_STACK, 8))
    back = 0.0
    first_log = log_energy[0]
    spacing = log_energy[1] - log_energy[0]
    last = log_energy.size - 2
    deepest_plane = planes[-1] if planes.size > 0 else np.inf
    for _ in range(histories):
        w0 = 1.0
        if mode == SLAB_ISOTROPIC:
            w0 = 2.0 * np.random.random() - 1.0
            if w0 <= 0.0:
                continue
        sin0 = math.sqrt(max(0.0, 1.0 - w0 * w0))
        stack[0, 0] = start_mev
        stack[0, 1:4] = 0.0
        stack[0, 4] = sin0
        stack[0, 5] = 0.0
        stack[0, 6] = w0
        stack[0, 7] = 0.0
        held = 1
        while held > 0:
            held -= 1
            energy = stack[held, 0]
            x, y, z = stack[held, 1], stack[held, 2], stack[held, 3]
            u, v, w = stack[held, 4], stack[held, 5], stack[held, 6]
            deepest = stack[held, 7]
            next_plane = 0
            while next_plane < planes.size and planes[next_plane] <= deepest:
                next_plane += 1
            while energy > least_mev:
                place = (math.log(energy) - first_log) / spacing
                i = min(max(int(place), 0), last)
                f = place - i
                g = 1.0 - f
                here = g * reach[i] + f * reach[i + 1]
                if mode == DEPTH:
                    if np.min(np.abs(planes - z)) > here:
                        break
                elif mode == SHELL:
                    if next_plane >= planes.size:
                        break
                    if planes[next_plane] - math.sqrt(x * x + y * y + z * z) > here:
                        break
                elif mode != SPHERE:
                    if planes.size > 0 and (
                        next_plane >= planes.size or planes[next_plane] - z > here
                    ):
                        break  # cannot reach another plane
                elif math.sqrt(x * x + y * y + z * z) - here > deepest_plane:
                    break
                elastic = g * hard_elastic[i] + f * hard_elastic[i + 1]
                knock = g * moller[i] + f * moller[i + 1]
                longest = 0.08 * here + 1e-7
                rate = elastic + knock
                step = -math.log(1.0 - np.random.random()) / rate
                hard = step < longest
                if not hard:
                    step = longest
                loss = g * soft_loss[i] + f * soft_loss[i + 1]
                tau1 = g * soft_first[i] + f * soft_first[i + 1]
                tau2 = g * soft_second[i] + f * soft_second[i + 1]
                before = step * np.random.random()
                for part in range(2):
                    piece = before if part == 0 else step - before
                    if part == 1:
                        mu = _soft_angle(step, tau1, tau2)
                        u, v, w = _turn(u, v, w, 1.0 - 2.0 * mu, 2.0 * math.pi * np.random.random())
                    end = max(energy - loss * piece, 0.0)
                    if mode == SPHERE:
                        along = x * u + y * v + z * w
                        r2 = x * x + y * y + z * z
                        nearest2 = r2 - along * along
                        for k in range(planes.size):
                            inside = planes[k] * planes[k] - nearest2
                            if inside <= 0.0:
                                continue
                            root = math.sqrt(inside)
                            for sign in (-1.0, 1.0):
                                path = -along + sign * root
                                if 0.0 < path <= piece:
                                    cosine = root / planes[k]
                                    weight = 1.0 / cosine if cosine > _GRAZING else 2.0 / _GRAZING
                                    at = energy - loss * path
                                    if at > least_mev:
                                        _score(fluence, k, at, start_mev, weight)
                                        _score(current, k, at, start_mev, sign)
                    elif mode == SHELL:
                        x2, y2, z2 = x + u * piece, y + v * piece, z + w * piece
                        deep = math.sqrt(x2 * x2 + y2 * y2 + z2 * z2)
                        along = x * u + y * v + z * w
                        nearest2 = x * x + y * y + z * z - along * along
                        while next_plane < planes.size and deep > planes[next_plane]:
                            radius2 = planes[next_plane] * planes[next_plane]
                            at = energy - loss * (math.sqrt(radius2 - nearest2) - along)
                            if at > least_mev:
                                _score(fluence, next_plane, at, start_mev, 1.0)
                                _score(current, next_plane, at, start_mev, 1.0)
                            next_plane += 1
                        deepest = max(deepest, deep)
                    elif mode == DEPTH:
                        for k in range(planes.size):
                            path = (planes[k] - z) / w if w != 0.0 else -1.0
                            if 0.0 < path <= piece and energy - loss * path > least_mev:
                                weight = 1.0 / abs(w) if abs(w) > _GRAZING else 2.0 / _GRAZING
                                at = energy - loss * path
                                _score(fluence, k, at, start_mev, weight)
                                _score(current, k, at, start_mev, math.copysign(1.0, w))
                    elif w > 0.0:
                        deep = z + w * piece
                        while next_plane < planes.size and deep > planes[next_plane]:
                            at = energy - loss * (planes[next_plane] - z) / w
                            if at > least_mev:
                                if mode == SLAB_BEAM:
                                    weight = 1.0 / w if w > _GRAZING else 2.0 / _GRAZING
                                    _score(fluence, next_plane, at, start_mev, weight)
                                    _score(current, next_plane, at, start_mev, 1.0)
                                else:
                                    _score(current, next_plane, at, start_mev, 2.0)
                                    if w > cone_cos:
                                        weight = 2.0 / (1.0 - cone_cos)
                                        _score(fluence, next_plane, at, start_mev, weight)
                            next_plane += 1
                        deepest = max(deepest, deep)
                    x += u * piece
                    y += v * piece
                    z += w * piece
                    energy = end
                    if energy <= least_mev:
                        break
                if energy <= least_mev:
                    break
                if mode != SPHERE and mode != SHELL and z < 0.0:
                    back += 1.0
                    break
                if not hard:
                    continue
                phi = 2.0 * math.pi * np.random.random()
                if np.random.random() * rate < elastic:
                    a = g * screening[i] + f * screening[i + 1]
                    c = g * cut[i] + f * cut[i + 1]
                    top = 1.0 / (c + a)
                    value = top - np.random.random() * (top - 1.0 / (1.0 + a))
                    mu = 1.0 / value - a
                    u, v, w = _turn(u, v, w, 1.0 - 2.0 * mu, phi)
                elif energy > 2.0 * 0.01:
                    given = _moller(energy, 0.01)
                    if held < _STACK:
                        cosine = math.sqrt(
                            given * (energy + 1.0219979) / (energy * (given + 1.0219979))
                        )
                        a1, b1, c1 = _turn(u, v, w, min(cosine, 1.0), phi)
                        stack[held, 0] = given
                        stack[held, 1], stack[held, 2], stack[held, 3] = x, y, z
                        stack[held, 4], stack[held, 5], stack[held, 6] = a1, b1, c1
                        stack[held, 7] = deepest
                        held += 1
                    left = energy - given
                    cosine = math.sqrt(left * (energy + 1.0219979) / (energy * (left + 1.0219979)))
                    u, v, w = _turn(u, v, w, min(cosine, 1.0), phi + math.pi)
                    energy = left
    return fluence / histories, current / histories, back / histories
