"""Electrons set free near the gas: how many reach it, and how many of those are counted.

The probability of escape comes from a table (``data/``, made by :mod:`.build_escape`) over the
medium's scattering, the energy, the slope, the depth and what lies behind, lengths in units of the
range. Layers act as one: depths in units of the range add; scattering is that of the layers on the
way in for an electron that starts inwards, and of those behind for one that must turn back. An
electron in the gas counts if it ionises at least once on its chord, or on a later one after the
wall has thrown it back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import as_file, files

import numpy as np
from numpy.typing import NDArray

from counterproof.physics import stopping
from counterproof.physics.electrons.scatter import effective_z
from counterproof.physics.materials import Material
from counterproof.physics.tube.ionisation import primary_ionisation_per_cm
from counterproof.physics.tube.layout import Array
from counterproof.physics.tube.tables import low_energy_factor

ENERGY_KEV: Array = np.geomspace(2.0, 3500.0, 32)
"""Energies at birth for which a skin is computed."""
SIN2: Array = np.array([0.0, 0.5, 1.0])
"""Squared sines of the angle, in the surface, between an electron's way and the tube's axis."""
NODES = 10
"""Depths in a layer."""
_LEAST_KEV = 1.0
_BOUNCES = 5
_USUAL = 0.3  # most electrons that get in come from this far into their layer, in ranges

Chords = Callable[[Array, Array, Array], Array]
"""Probability of a count from ionisations per cm, cosine to the surface and sin² in the surface."""


@dataclass(frozen=True)
class _Table:
    z: Array
    energy: Array
    cosine: Array
    depth: Array
    back: Array
    number: Array  # (z, energy, cosine, depth, back, bin)
    carried: Array  # without bin
    turned: Array


@cache
def _table() -> _Table:
    source = files(__package__) / "data" / "electron_escape_2026.npz"
    with as_file(source) as path, np.load(path) as store:
        back = store["back"].copy()
        back[-1] = 1.0  # an electron goes back by one range at most
        return _Table(
            np.log(store["z"]), np.log(store["energy_kev"]), store["cosine"], store["depth"], back,
            store["per_mille"].astype(np.float32) * np.float32(1e-3),
            store["energy_percent"].astype(np.float32) * np.float32(1e-2),
            store["turn_percent"].astype(np.float32) * np.float32(1e-2),
        )  # fmt: skip


@lru_cache(maxsize=256)
def ranges_cm(medium: Material) -> Array:
    """CSDA ranges at :data:`ENERGY_KEV` in cm, of the stopping power that the Monte Carlo uses."""
    e = np.geomspace(_LEAST_KEV, ENERGY_KEV[-1], 300)
    power = stopping.collision_stopping_power(medium, e * 1e-3) * low_energy_factor(medium, e)
    power = (power + stopping.radiative_stopping_power(medium, e * 1e-3)) * 1e3
    f = e / power
    whole = 0.5 * f[0] + np.concatenate(
        [[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * np.diff(np.log(e)))]
    )
    return np.asarray(np.interp(np.log(ENERGY_KEV), np.log(e), whole) / medium.density_g_cm3)


def places(grid: Array, at: Array) -> tuple[NDArray[np.int64], Array]:
    """Lower neighbours in ``grid`` and the shares of the upper ones; the ends are held."""
    i = np.clip(np.searchsorted(grid, at) - 1, 0, grid.size - 2)
    return i.astype(np.int64), np.clip((at - grid[i]) / (grid[i + 1] - grid[i]), 0.0, 1.0)


def _mixed(table: Array, i: NDArray[np.int64], f: Array, j: NDArray[np.int64], g: Array) -> Array:
    """Table at energies j+g for scattering i+f, one per energy: shape (energies, …)."""
    f = f.reshape((-1,) + (1,) * (table.ndim - 2)).astype(np.float32)
    g = g.reshape(f.shape).astype(np.float32)
    low = table[i, j] * (1 - f) + table[i + 1, j] * f
    high = table[i, j + 1] * (1 - f) + table[i + 1, j + 1] * f
    return np.asarray(low * (1 - g) + high * g)


@dataclass(frozen=True)
class Skin:
    """What electrons born in the layers behind a piece of the gas's surface do.

    Energies are :data:`ENERGY_KEV` (e), cosines to the inward normal those of the table (c).

    Args:
        cosine: shape (c,).
        count: depth from which an electron counts, summed over the layer, cm: shape (layer, e, c,
            sin²).
        entry: the same for entering the gas, (layer, e, c).
        moment: the same times the mean path-free depth below the surface, per layer crossed:
            mean thickness passed of each layer, cm, (layer, layer passed, e, c).
        through: probability that an electron from outside counts, (e, c, sin²).
        through_entry: … enters, (e, c).
    """

    cosine: Array
    count: Array
    entry: Array
    moment: Array
    through: Array
    through_entry: Array


def _inwards(units: Array, logs: Array, layer: int) -> Array:
    """Mean logarithm of the atomic number on the way in from a layer; ``units`` (layer, e)."""
    weight = units[: layer + 1].copy()
    weight[-1] = 0.5 * np.minimum(weight[-1], _USUAL)
    return np.asarray((weight * logs[: layer + 1, None]).sum(axis=0) / weight.sum(axis=0))


def _behind(units: Array, logs: Array, layer: int) -> Array:
    """The same for electrons that turn back: at some depth, few at once: weights x (1 − x)³."""
    steps = units[layer:]
    edges = np.minimum(np.concatenate([np.zeros((1, units.shape[1])), steps.cumsum(axis=0)]), 1.0)
    weight = np.diff(1.0 - (1.0 - edges) ** 4 * (1.0 + 4.0 * edges), axis=0)
    return np.asarray((weight * logs[layer:, None]).sum(axis=0) / weight.sum(axis=0))


def _media(
    t: _Table, units: Array, media: Sequence[Material], layer: int, depths: int | None = None
) -> tuple[Array, Array, Array]:
    """The table's three columns for electrons of a layer: (e, cosine, depth, back, …).

    ``depths``: only so many, from the surface on.
    """
    logs = np.log([effective_z(m) for m in media])
    j, g = places(t.energy, np.log(ENERGY_KEV))

    def of(ln_z: Array) -> list[Array]:
        i, f = places(t.z, ln_z)
        columns = (t.number, t.carried, t.turned)
        return [_mixed(v[:, :, :, :depths], i, f, j, g) for v in columns]

    back = of(_behind(units, logs, layer))
    if len(media) > 1:
        inward = t.cosine > 0.0
        for values, others in zip(back, of(_inwards(units, logs, layer)), strict=True):
            values[:, inward] = others[:, inward]
    return back[0], back[1], back[2]


def skin(
    layers: Sequence[tuple[Material, float]],
    gas: Material,
    chords: Chords,
    opposite: Sequence[tuple[Material, float]],
) -> Skin:
    """Compute a skin.

    Args:
        layers: material and thickness in cm, from the gas outwards.
        gas: the filling.
        chords: of the gas as seen from this surface.
        opposite: the layers on which an electron falls that has crossed the gas.
    """
    t = _table()
    media = [m for m, _ in layers]
    units = np.array([x / ranges_cm(m) for m, x in layers])  # (layer, e)
    edges = np.concatenate([np.zeros((1, ENERGY_KEV.size)), units.cumsum(axis=0)])
    whole = edges[-1]
    # nodes crowd towards the gas: x = a + (b − a) u²
    u = (np.arange(NODES) + 0.5) / NODES
    low, high = np.minimum(edges[:-1], 1.0), np.minimum(edges[1:], 1.0)
    x = low[..., None] + (high - low)[..., None] * u**2  # (layer, e, node)
    weight = (high - low)[..., None] * 2.0 * u / NODES
    again = _second_chance(opposite, gas, chords)
    seen_l, entered_l = [], []
    for layer in range(len(layers)):
        at = np.concatenate([x[layer], whole[:, None]], axis=1)
        escape, ratio, straight = _at_depths(t, *_media(t, units, media, layer), at, whole)
        seen_l.append(_seen(escape, ratio, straight, gas, chords, again))  # (e, node, c, sin²)
        entered_l.append(escape.sum(axis=-1))
    lost = whole > 1.0
    through = np.where(lost[:, None, None], 0.0, seen_l[-1][:, -1])
    through_entry = np.where(lost[:, None], 0.0, entered_l[-1][:, -1])
    seen, entered = np.array(seen_l)[:, :, :-1], np.array(entered_l)[:, :, :-1]
    cm = np.array([ranges_cm(m) for m in media])[..., None] * weight  # (layer, e, node)
    count = np.einsum("len,lencs->lecs", cm, seen)
    entry = np.einsum("len,lenc->lec", cm, entered)
    passed = np.clip(x[:, None] - edges[:-1][None, ..., None], 0.0, units[None, ..., None])
    passed = passed * np.array([ranges_cm(m) for m in media])[None, ..., None]
    moment = np.einsum("len,lpen,lenc->lpec", cm, passed, entered)
    moment = moment / np.maximum(entry, 1e-30)[:, None]
    return Skin(t.cosine, count, entry, moment, through, through_entry)


def _at_depths(
    t: _Table, number: Array, carried: Array, turned: Array, at: Array, whole: Array
) -> tuple[Array, Array, Array]:
    """Escape (e, node, c, bin), energy over the first and straightness (e, node, c)."""
    d, fd = places(t.depth, at)
    b, fb = places(t.back, np.clip(whole[:, None] - at, 0.0, 1.0))
    e = np.arange(at.shape[0])[:, None]

    def pick(values: Array) -> Array:
        # (e, c, depth, back, …) → (e, node, c, …)
        rest = (1,) * (values.ndim - 3)
        p, q = fd.reshape(*fd.shape, *rest), fb.reshape(*fb.shape, *rest)
        low = values[e, :, d, b] * (1 - q) + values[e, :, d, b + 1] * q
        high = values[e, :, d + 1, b] * (1 - q) + values[e, :, d + 1, b + 1] * q
        return np.asarray(low * (1 - p) + high * p)

    return pick(number), pick(carried), pick(turned)


def _out_cosines(bins: int) -> Array:
    # mean cosine of an isotropic fluence in each bin
    edges = np.linspace(0.0, 1.0, bins + 1)
    return np.asarray(2.0 / 3.0 * np.diff(edges**3) / np.diff(edges**2))


def _ions(gas: Material, energy: Array) -> Array:
    grid = np.geomspace(_LEAST_KEV, ENERGY_KEV[-1], 200)
    n = primary_ionisation_per_cm(gas, grid)
    return np.interp(np.log(np.maximum(energy, _LEAST_KEV)), np.log(grid), n)


_AROUND: Array = np.sin(np.pi * (np.arange(4) + 0.5) / 8.0) ** 2


def _all_around(chords: Chords, ions: Array, cosine: Array) -> Array:
    total = np.zeros(np.broadcast_shapes(ions.shape, cosine.shape))
    for s in _AROUND:
        total += chords(ions, cosine, np.array(s))
    return np.asarray(total / _AROUND.size)


def _second_chance(
    layers: Sequence[tuple[Material, float]], gas: Material, chords: Chords
) -> Array:
    """Probability to be thrown back and counted then or later, by energy and cosine: (e, bin)."""
    t = _table()
    units = np.array([x / ranges_cm(m) for m, x in layers])
    whole = units.sum(axis=0)
    columns = _media(t, units, [m for m, _ in layers], 0, depths=2)
    escape, ratio, _ = _at_depths(t, *columns, np.zeros((whole.size, 1)), whole)
    out = _out_cosines(escape.shape[-1])
    c, share = places(t.cosine, -out)
    escape = escape[:, 0, c] * (1 - share)[:, None] + escape[:, 0, c + 1] * share[:, None]
    ratio = ratio[:, 0, c] * (1 - share) + ratio[:, 0, c + 1] * share
    energy = ratio * ENERGY_KEV[:, None]
    seen = _all_around(chords, _ions(gas, energy)[..., None], out)
    # what escapes notice again falls on the wall again
    k, f = places(np.log(ENERGY_KEV), np.log(np.maximum(energy, ENERGY_KEV[0])))
    again: Array = np.zeros((ENERGY_KEV.size, out.size))
    for _ in range(_BOUNCES):
        later = again[k] * (1 - f)[..., None] + again[k + 1] * f[..., None]
        again = (escape * (seen + (1 - seen) * later)).sum(axis=-1)
    return again


def _seen(
    escape: Array, ratio: Array, straight: Array, gas: Material, chords: Chords, again: Array
) -> Array:
    """Probability to be counted, (e, node, c, sin²)."""
    out = _out_cosines(escape.shape[-1])
    energy = ratio * ENERGY_KEV[:, None, None]
    ions = _ions(gas, energy)[..., None]
    k, f = places(np.log(ENERGY_KEV), np.log(np.maximum(energy, ENERGY_KEV[0])))
    back = again[k] * (1 - f)[..., None] + again[k + 1] * f[..., None]  # (e, node, c, bin)
    around = _all_around(chords, ions, out)
    w = np.clip(straight, 0.0, 1.0)[..., None]
    rows = []
    for s in SIN2:
        one = w * chords(ions, out, np.array(s)) + (1 - w) * around
        rows.append((escape * (one + (1 - one) * back)).sum(axis=-1))
    return np.stack(rows, axis=-1)


def side_chords(radius_cm: float, length_cm: float) -> Chords:
    """Chords of a cylinder from its side, starting points spread evenly along it."""

    def chords(ions: Array, cosine: Array, sin2: Array) -> Array:
        along2 = (1.0 - cosine**2) * (1.0 - sin2)
        chord = 2.0 * radius_cm * cosine / np.maximum(1.0 - along2, 1e-6)
        along = np.sqrt(np.maximum(along2, 1e-12))
        rise = np.minimum(along * chord, length_cm)
        part = 1.0 - np.exp(-ions * rise / along)
        inside = (1.0 - rise / length_cm) * part
        return np.asarray(inside + rise / length_cm - along / (ions * length_cm) * part)

    return chords


def end_chords(radius_cm: float, length_cm: float) -> Chords:
    """Chords of a cylinder from one end, starting points spread evenly over it."""
    k = np.arange(12) + 0.5
    start = radius_cm * np.sqrt(k / 12.0)
    phi = np.pi * np.modf(k * 0.6180339887498949)[0]
    across = -start * np.cos(phi) + np.sqrt(radius_cm**2 - (start * np.sin(phi)) ** 2)

    def chords(ions: Array, cosine: Array, sin2: Array) -> Array:
        total = np.zeros(np.broadcast_shapes(ions.shape, cosine.shape))
        sine = np.sqrt(np.maximum(1.0 - cosine**2, 1e-9))
        for p in across:
            total += 1.0 - np.exp(-ions * np.minimum(p / sine, length_cm / cosine))
        return np.asarray(total / across.size)

    return chords
