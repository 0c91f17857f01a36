"""Electrons that photons set free in a layer, and what of them the gas's surface receives.

The same cross sections and angles as the Monte Carlo's (:mod:`.photon_kernel`), as sums over a few
nodes: photoelectrons after F. Sauter, Ann. Phys. 11 (1931) 454, Auger electrons, recoils after
O. Klein and Y. Nishina, Z. Phys. 52 (1929) 853, with the incoherent scattering function, pairs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from counterproof.physics.materials import Material
from counterproof.physics.tube import layout as lay
from counterproof.physics.tube.escape import ENERGY_KEV, SIN2, Skin, places
from counterproof.physics.tube.layout import HC, MC2, Array
from counterproof.physics.tube.tables import (
    P_HIGH,
    P_LOW,
    P_POINTS,
    X_HIGH,
    X_LOW,
    X_POINTS,
    photon_tables,
)

COSINE: Array = np.array([-1.0, -0.75, -0.5, -0.25, -0.08, 0.08, 0.25, 0.5, 0.75, 1.0])
"""Cosines between photon and inward normal for which a yield is computed."""
PHOTON_SIN2: Array = np.array([0.0, 1.0])
"""Squared sines of the angle, in the surface, between photon and axis."""
_LEAST_KEV = ENERGY_KEV[0]
_LIGHT_KEV = 4.0  # atoms bound less are taken together
_TURNS = 4
_ALONE = 0.4  # chance that an electron from just below the surface does not get out
_STEEPEST = 0.2  # in a curved wall no path is longer than this slope's


class Electrons(NamedTuple):
    """Electrons per cm of photon path; arrays (photon energy, kind)."""

    per_cm: Array
    energy_kev: Array
    cosine: Array


class Coefficients(NamedTuple):
    """Attenuation coefficients in 1/cm, without coherent scattering, and their parts."""

    total: Array
    photo: Array
    incoherent: Array
    pair: Array


def rows(values: Array, energy_kev: Array) -> Array:
    """Rows of a photon table at energies of any shape, linear in ln E."""
    at = np.log(energy_kev / P_LOW) * ((P_POINTS - 1) / math.log(P_HIGH / P_LOW))
    i = np.clip(at.astype(np.int64), 0, P_POINTS - 2)
    f = (at - i).reshape((*at.shape, *(1,) * (values.ndim - 1)))
    return np.asarray(values[i] + f * (values[i + 1] - values[i]))


def coefficients(medium: Material, energy_kev: Array) -> Coefficients:
    """Coefficients of a medium at photon energies of any shape."""
    photo, inco, pair = (
        rows(photon_tables(medium)[0][:, column], energy_kev)
        for column in (lay.PHOTO, lay.INCOHERENT, lay.PAIR)
    )
    return Coefficients(photo + inco + pair, photo, inco, pair)


def bound_share(medium: Material, energy_kev: Array, one_minus_cos: Array) -> Array:
    """Incoherent scattering function per electron, 0 to 1."""
    bound = photon_tables(medium)[4]
    x = energy_kev / HC * np.sqrt(np.maximum(0.5 * one_minus_cos, 1e-12))
    grid = np.linspace(math.log(X_LOW), math.log(X_HIGH), X_POINTS)
    return np.interp(np.log(x), grid, bound)


def _sauter(energy_kev: Array, count: int) -> Array:
    """Cosines at the middles of ``count`` equal shares of the photoelectrons: shape (…, count)."""
    e = np.maximum(energy_kev, 1.0)[..., None]
    gamma = 1.0 + e / MC2
    beta = np.sqrt(e * (e + 2.0 * MC2)) / (e + MC2)
    a = 1.0 / beta - 1.0
    c = 0.5 * beta * gamma * (gamma - 1.0) * (gamma - 2.0)
    nu = 2.0 * ((np.arange(200) + 0.5) / 200.0) ** 2
    density = (2.0 - nu) * (1.0 / (a + nu) + c) * nu / (a + nu) ** 3 * np.sqrt(nu)
    whole = np.cumsum(np.maximum(density, 0.0), axis=-1)
    whole /= whole[..., -1:]
    parts = [
        1.0 - nu[np.minimum((whole < (k + 0.5) / count).sum(axis=-1), 199)] for k in range(count)
    ]
    return np.stack(parts, axis=-1)


def released(medium: Material, energy_kev: Array) -> Electrons:
    """Electrons that photons of these energies (n,) set free per cm of path."""
    cross, share, k_share, atom, _, _ = photon_tables(medium)
    e = np.asarray(energy_kev, dtype=np.float64)
    parts: list[tuple[Array, Array, Array]] = []

    def add(per_cm: Array, energy: Array, cosine: Array) -> None:
        n = cosine.shape[-1]
        per = np.where(energy > _LEAST_KEV, per_cm, 0.0)
        parts.append((np.repeat(per[:, None], n, 1) / n, np.repeat(energy[:, None], n, 1), cosine))

    photo = rows(cross[:, lay.PHOTO], e)
    of_atom = np.diff(rows(share, e), axis=1, prepend=0.0)
    of_k = rows(k_share, e)
    isotropic = np.broadcast_to(np.array([-0.75, -0.25, 0.25, 0.75]), (e.size, 4))
    light = np.zeros(e.size)
    light_energy = np.zeros(e.size)
    for k, row in enumerate(atom):
        part = photo * of_atom[:, k]
        if not part.any():
            continue
        if row[lay.B_K] < _LIGHT_KEV:
            light += part
            light_energy += part * (e - of_k[:, k] * row[lay.B_K])
            continue
        inner = np.where(e > row[lay.B_K], part * of_k[:, k], 0.0)
        for rate, bond in ((inner, row[lay.B_K]), (part - inner, row[lay.B_L])):
            left = np.where(e > bond, e - bond, e)
            add(rate, left, _sauter(left, 3))
        auger = float(row[lay.B_K] - 2.0 * row[lay.B_L])
        # where the slower of photoelectron and Auger electron gets out, the other often has too
        alone = np.where(e - row[lay.B_K] > auger, _ALONE, 1.0)
        add(alone * inner * (1.0 - row[lay.OMEGA_K]), np.full(e.size, auger), isotropic)
        outer = float(row[lay.B_L] - 2.0 * row[lay.B_M])
        if outer > _LEAST_KEV:
            add(_ALONE * (part - inner), np.full(e.size, outer), isotropic)
    if light.any():
        left = light_energy / np.maximum(light, 1e-300)
        add(light, left, _sauter(left, 3))
    parts.append(_recoils(medium, e))
    free = np.maximum(e - 2.0 * MC2, 0.0)
    pair = rows(cross[:, lay.PAIR], e)
    for q in (1.0 / 6.0, 0.5, 5.0 / 6.0):
        energy = free * q
        beta = np.sqrt(energy * (energy + 2.0 * MC2)) / (energy + MC2)
        s = np.array([-0.5, 0.5])
        add(2.0 * pair / 3.0, energy, (s + beta[:, None]) / (1.0 + s * beta[:, None]))
    columns = [np.concatenate([p[c] for p in parts], axis=1) for c in range(3)]
    return Electrons(*columns)


def _recoils(medium: Material, e: Array) -> tuple[Array, Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(10)
    edge = 2.0 * e**2 / (MC2 + 2.0 * e)
    energy = 0.5 * edge[:, None] * (nodes + 1.0)
    e = e[:, None]
    kept = 1.0 - energy / e
    one_minus = (1.0 - kept) / (e / MC2 * kept)
    density = (kept + 1.0 / kept - one_minus * (2.0 - one_minus)) * weights
    density *= bound_share(medium, e, one_minus)
    momentum = np.sqrt(energy * (energy + 2.0 * MC2))
    cosine = np.minimum((e - (e - energy) * (1.0 - one_minus)) / momentum, 1.0)
    rate = coefficients(medium, e[:, 0]).incoherent[:, None] * density
    rate = np.where(energy > _LEAST_KEV, rate, 0.0)
    return rate / density.sum(axis=1, keepdims=True), energy, cosine


def yields(skin: Skin, media: Sequence[Material], energy_kev: Array) -> tuple[Array, Array]:
    """Counts and entries per unit fluence and area of the gas's surface.

    The fluence is that at the surface; what it is at the depth where the electrons start follows
    from the attenuation between.

    Args:
        skin: of this piece of the surface.
        media: the layers' materials, from the gas outwards.
        energy_kev: photon energies, shape (n,).

    Returns:
        Both of shape (n, :data:`COSINE`, :data:`PHOTON_SIN2`).
    """
    shape = (energy_kev.size, COSINE.size, PHOTON_SIN2.size)
    counts, entries = np.zeros(shape), np.zeros(shape)
    mu = [coefficients(m, energy_kev).total for m in media]
    # the photon: (normal, around, along the axis)
    sine = np.sqrt(1.0 - COSINE**2)
    normal = COSINE[:, None, None]
    side = sine[:, None, None]
    around = np.sqrt(PHOTON_SIN2)[None, :, None]
    along = np.sqrt(1.0 - PHOTON_SIN2)[None, :, None]
    chi = np.pi * (np.arange(_TURNS) + 0.5) / _TURNS
    slope = np.sign(COSINE) / np.maximum(np.abs(COSINE), _STEEPEST)
    for number, medium in enumerate(media):
        born = released(medium, energy_kev)
        ct = born.cosine[:, :, None, None, None]
        st = np.sqrt(np.maximum(1.0 - ct**2, 0.0))
        # turned by θ about the photon, at the angle χ from the plane of photon and normal
        out = np.clip(ct * normal + st * side * np.cos(chi), -1.0, 1.0)
        flat = ct * side - st * normal * np.cos(chi)
        across = st * np.sin(chi)
        tangent2 = np.maximum(1.0 - out**2, 1e-9)
        sin2 = np.clip((flat * around + across * along) ** 2 / tangent2, 0.0, 1.0)
        # everything the skin says, in columns: three slants, entry, thickness passed of each layer
        columns = [skin.count[number], skin.entry[number][..., None]]
        columns.append(np.moveaxis(skin.moment[number], 0, -1))
        said = _between(np.concatenate(columns, axis=-1), born.energy_kev, skin.cosine, out)
        s, h = places(SIN2, sin2)
        slant = np.take_along_axis(said[..., :3], np.stack([s, s + 1], axis=-1), axis=-1)
        counted = slant[..., 0] * (1 - h) + slant[..., 1] * h
        depth = np.einsum("nmcptl,ln->nmcpt", said[..., 4:], np.array(mu))
        more = np.exp(np.clip(depth * slope[:, None, None], -8.0, 4.0))
        rate = born.per_cm[:, :, None, None, None] * more / _TURNS
        counts += np.einsum("nmcpt,nmcpt->ncp", rate, counted)
        entries += np.einsum("nmcpt,nmcpt->ncp", rate, said[..., 3])
    return counts, entries


def _between(table: Array, energy_kev: Array, cosines: Array, out: Array) -> Array:
    """Rows of a table (energy, cosine, …) at energies (n, m) and cosines (n, m, …)."""
    k, f = places(np.log(ENERGY_KEV), np.log(np.maximum(energy_kev, ENERGY_KEV[0])))
    c, g = places(cosines, out)
    k = k.reshape(*k.shape, *(1,) * (out.ndim - 2))
    # single precision: these arrays are large, and the table is good to three digits
    table = table.astype(np.float32)
    f = f.reshape(*k.shape, 1).astype(np.float32)
    g = g[..., None].astype(np.float32)
    low = table[k, c] * (1 - g) + table[k, c + 1] * g
    high = table[k + 1, c] * (1 - g) + table[k + 1, c + 1] * g
    return np.asarray(low * (1 - f) + high * f)
