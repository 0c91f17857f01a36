"""Interactions of photons by numba: what a collision sets free, and the ray through the cells.

Photoelectric absorption with K fluorescence and Auger electrons, incoherent scattering after Klein
and Nishina with the incoherent scattering function, coherent scattering with the form factor, pair
production with its annihilation quanta. Photoelectrons leave after F. Sauter, Ann. Phys. 11 (1931)
454. Energies in keV, lengths in cm.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import turned
from counterproof.physics.tube.layout import (
    B_K,
    B_L,
    B_M,
    COHERENT,
    HC,
    INCOHERENT,
    LINE_A,
    MC2,
    OMEGA_K,
    PAIR,
    PHOTO,
    SHARE_A,
    SHARE_B,
    Tables,
)
from counterproof.physics.tube.stream import rand

_TWO_PI = 6.283185307179586


@njit(cache=True)
def sauter_cosine(e: float, rng: np.ndarray) -> float:
    """Cosine between photon and photoelectron of kinetic energy ``e``."""
    gamma = 1.0 + e / MC2
    beta = math.sqrt(e * (e + 2.0 * MC2)) / (e + MC2)
    a = 1.0 / beta - 1.0
    c = 0.5 * beta * gamma * (gamma - 1.0) * (gamma - 2.0)
    top = 2.0 * (1.0 / a + c)
    while True:
        q = rand(rng)
        nu = 2.0 * a / ((a + 2.0) ** 2 - 4.0 * q) * (2.0 * q + (a + 2.0) * math.sqrt(q))
        if rand(rng) * top < (2.0 - nu) * (1.0 / (a + nu) + c):
            return 1.0 - nu


@njit(cache=True)
def compton(t: Tables, m: int, e: float, rng: np.ndarray) -> tuple[float, float]:
    """Energy and cosine of the scattered photon."""
    alpha = e / MC2
    lo = 1.0 / (1.0 + 2.0 * alpha)
    b1 = -math.log(lo)
    b2 = 0.5 * (1.0 - lo * lo)
    while True:
        if rand(rng) * (b1 + b2) < b1:
            eps = math.exp(-b1 * rand(rng))
        else:
            eps = math.sqrt(lo * lo + 2.0 * b2 * rand(rng))
        one_minus = (1.0 - eps) / (alpha * eps)
        sin2 = one_minus * (2.0 - one_minus)
        if rand(rng) > 1.0 - eps * sin2 / (1.0 + eps * eps):
            continue
        x = e / HC * math.sqrt(max(0.5 * one_minus, 1e-12))
        p = (math.log(x) - t.x_lo) * t.x_inv
        i = int(p)
        if p > 0.0 and i < t.bound.shape[1] - 1:
            s = t.bound[m, i] + (p - i) * (t.bound[m, i + 1] - t.bound[m, i])
        elif p <= 0.0:
            s = t.bound[m, 0] * math.exp(2.0 * p / t.x_inv)
        else:
            s = 1.0
        if rand(rng) < s:
            return eps * e, 1.0 - one_minus


@njit(cache=True)
def coherent_cosine(t: Tables, m: int, e: float, rng: np.ndarray) -> float:
    """Cosine of coherent scattering, by the cumulative squared form factor."""
    form = t.form[m]
    x_max = e / HC
    p = (math.log(x_max) - t.x_lo) * t.x_inv
    i = min(max(int(p), 0), form.size - 2)
    f = min(max(p - i, 0.0), 1.0)
    top = form[i] + f * (form[i + 1] - form[i])
    while True:
        want = rand(rng) * top
        j = min(max(np.searchsorted(form, want) - 1, 0), form.size - 2)
        f = (want - form[j]) / max(form[j + 1] - form[j], 1e-300)
        x = math.exp(t.x_lo + (j + min(max(f, 0.0), 1.0)) / t.x_inv)
        cos = 1.0 - 2.0 * min(x / x_max, 1.0) ** 2
        if 2.0 * rand(rng) < 1.0 + cos * cos:
            return cos


@njit(cache=True, inline="always")
def put(rows: np.ndarray, n: int, e: float, at: np.ndarray, u: float, v: float, w: float) -> int:
    """Append a particle of energy ``e`` at point ``at`` flying along (u, v, w)."""
    if n < rows.shape[0]:
        rows[n, 0] = e
        rows[n, 1] = at[0]
        rows[n, 2] = at[1]
        rows[n, 3] = at[2]
        rows[n, 4] = u
        rows[n, 5] = v
        rows[n, 6] = w
        return n + 1
    return n


@njit(cache=True, inline="always")
def isotropic(rng: np.ndarray) -> tuple[float, float, float]:
    """Direction without preference."""
    w = 2.0 * rand(rng) - 1.0
    s = math.sqrt(max(0.0, 1.0 - w * w))
    phi = _TWO_PI * rand(rng)
    return s * math.cos(phi), s * math.sin(phi), w


@njit(cache=True)
def interact(
    t: Tables,
    m: int,
    e: float,
    at: np.ndarray,
    u: float,
    v: float,
    w: float,
    rng: np.ndarray,
    es: np.ndarray,
    ne: int,
    ps: np.ndarray,
    np_: int,
) -> tuple[int, int]:
    """Let a photon interact in material ``m`` at ``at``.

    Electrons are appended to ``es`` and photons to ``ps`` (rows ``energy, x, y, z, u, v, w``).

    Returns:
        how many rows of ``es`` and ``ps`` are in use.
    """
    p = (math.log(e) - t.p_lo) * t.p_inv
    i = min(int(p), t.photon.shape[1] - 2)
    f = p - i
    lo = t.photon[m, i]
    hi = t.photon[m, i + 1]
    total = lo[0] + f * (hi[0] - lo[0])
    photo = lo[PHOTO] + f * (hi[PHOTO] - lo[PHOTO])
    inco = lo[INCOHERENT] + f * (hi[INCOHERENT] - lo[INCOHERENT])
    cohe = lo[COHERENT] + f * (hi[COHERENT] - lo[COHERENT])
    pick = rand(rng) * total
    return _react(t, m, e, at, u, v, w, rng, es, ne, ps, np_, i, pick, photo, inco, cohe)


@njit(cache=True)
def _react(
    t: Tables,
    m: int,
    e: float,
    at: np.ndarray,
    u: float,
    v: float,
    w: float,
    rng: np.ndarray,
    es: np.ndarray,
    ne: int,
    ps: np.ndarray,
    np_: int,
    i: int,
    pick: float,
    photo: float,
    inco: float,
    cohe: float,
) -> tuple[int, int]:
    if pick < photo:
        k = 0
        q = rand(rng)
        while k < t.atom_share.shape[2] - 1 and q > t.atom_share[m, i, k]:
            k += 1
        atom = t.atom[m, k]
        if e > atom[B_K] and rand(rng) < t.k_share[m, i + 1, k]:
            left = e - atom[B_K]
            if rand(rng) < atom[OMEGA_K]:
                q = rand(rng)
                line = LINE_A
                if q > atom[SHARE_B]:
                    line = LINE_A + 2
                elif q > atom[SHARE_A]:
                    line = LINE_A + 1
                if atom[line] > t.p_cut:
                    a, b, c = isotropic(rng)
                    np_ = put(ps, np_, atom[line], at, a, b, c)
            else:
                auger = atom[B_K] - 2.0 * atom[B_L]
                if auger > t.cut:
                    a, b, c = isotropic(rng)
                    ne = put(es, ne, auger, at, a, b, c)
        elif e > atom[B_L]:
            left = e - atom[B_L]
            auger = atom[B_L] - 2.0 * atom[B_M]
            if auger > t.cut:
                a, b, c = isotropic(rng)
                ne = put(es, ne, auger, at, a, b, c)
        else:
            left = e
        if left > t.cut:
            cos = sauter_cosine(left, rng)
            a, b, c = turned(u, v, w, cos, _TWO_PI * rand(rng))
            ne = put(es, ne, left, at, a, b, c)
    elif pick < photo + inco:
        e2, cos = compton(t, m, e, rng)
        phi = _TWO_PI * rand(rng)
        if e2 > t.p_cut:
            a, b, c = turned(u, v, w, cos, phi)
            np_ = put(ps, np_, e2, at, a, b, c)
        te = e - e2
        if te > t.cut:
            pe = math.sqrt(te * (te + 2.0 * MC2))
            ce = min((e - e2 * cos) / pe, 1.0)
            a, b, c = turned(u, v, w, ce, phi + 3.141592653589793)
            ne = put(es, ne, te, at, a, b, c)
    elif pick < photo + inco + cohe:
        cos = coherent_cosine(t, m, e, rng)
        a, b, c = turned(u, v, w, cos, _TWO_PI * rand(rng))
        np_ = put(ps, np_, e, at, a, b, c)
    else:
        free = e - 2.0 * MC2
        if free > 0.0:
            q = rand(rng)
            for j in range(2):
                te = free * (q if j == 0 else 1.0 - q)
                if te > t.cut:
                    beta = math.sqrt(te * (te + 2.0 * MC2)) / (te + MC2)
                    s = 2.0 * rand(rng) - 1.0
                    a, b, c = turned(u, v, w, (s + beta) / (1.0 + s * beta), _TWO_PI * rand(rng))
                    ne = put(es, ne, te, at, a, b, c)
            # the positron annihilates where it was born: its path is short against the photons'
            a, b, c = isotropic(rng)
            np_ = put(ps, np_, MC2, at, a, b, c)
            np_ = put(ps, np_, MC2, at, -a, -b, -c)
    return ne, np_


@njit(cache=True)
def free_electrons(
    t: Tables,
    m: int,
    e: float,
    favour: float,
    mean_recoil: float,
    at: np.ndarray,
    rng: np.ndarray,
    es: np.ndarray,
    ps: np.ndarray,
) -> tuple[int, float]:
    """Let a photon that flies along z set electrons free, fast ones preferred.

    Compton collisions are chosen ``favour`` times less often than they happen, and among them
    recoils in proportion to their energy; both is made good by the weight.

    Args:
        t: tables.
        m: material.
        e: photon energy.
        favour: 0 < favour ≤ 1.
        mean_recoil: mean energy of the recoil electron at ``e`` in this material.
        at: origin.
        rng: stream.
        es: filled with electrons.
        ps: scratch.

    Returns:
        number of electrons, and the weight times the attenuation coefficient (1/cm).
    """
    p = (math.log(e) - t.p_lo) * t.p_inv
    i = min(int(p), t.photon.shape[1] - 2)
    f = p - i
    lo = t.photon[m, i]
    hi = t.photon[m, i + 1]
    photo = lo[PHOTO] + f * (hi[PHOTO] - lo[PHOTO])
    inco = lo[INCOHERENT] + f * (hi[INCOHERENT] - lo[INCOHERENT])
    pair = lo[PAIR] + f * (hi[PAIR] - lo[PAIR])
    pick = rand(rng) * (photo + favour * inco + pair)
    total = photo + favour * inco + pair
    if photo <= pick < photo + favour * inco:
        edge = 2.0 * e * e / (MC2 + 2.0 * e)
        while True:
            e2, cos = compton(t, m, e, rng)
            te = e - e2
            if rand(rng) * edge < te:
                break
        weight = total / favour * mean_recoil / te
        if te <= t.cut:
            return 0, weight
        ce = min((e - e2 * cos) / math.sqrt(te * (te + 2.0 * MC2)), 1.0)
        a, b, c = turned(0.0, 0.0, 1.0, ce, _TWO_PI * rand(rng))
        return put(es, 0, te, at, a, b, c), weight
    if pick >= photo:
        pick = 2.0 * (photo + inco)  # past every other process: a pair
    ne, _ = _react(t, m, e, at, 0.0, 0.0, 1.0, rng, es, 0, ps, 0, i, pick, photo, inco, 0.0)
    return ne, total
