"""Tables of the materials for the compiled transport, from the project's cross-section modules."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from counterproof.physics import attenuation, stopping, xcom
from counterproof.physics.elements import ELEMENTS
from counterproof.physics.materials import Material, mean_excitation_ev
from counterproof.physics.tube import layout as lay
from counterproof.physics.tube.elastic import (
    screening_of_ratio,
    transport_cross_sections,
)
from counterproof.physics.tube.ionisation import primary_ionisation_per_cm
from counterproof.physics.tube.layout import MC2, Array, Tables

_AVOGADRO = 6.02214076e23
_TWO_PI_RE2 = 2.0 * math.pi * 0.07940787e-24  # cm²
E_LOW, E_HIGH, E_POINTS = 1.0, 4000.0, 400
P_LOW, P_HIGH, P_POINTS = 1.0, 4000.0, 2400
X_LOW, X_HIGH, X_POINTS = 1e-3, 300.0, 600
COARSE_C1 = 0.3


@dataclass(frozen=True)
class Settings:
    """How finely electrons are followed.

    Args:
        c1: mean deflection 1 − ⟨cos θ⟩ between two simulated elastic collisions, at most.
        max_loss: largest fraction of the energy lost in one step.
        cut_kev: electrons below are absorbed.
        photon_cut_kev: photons below are absorbed.
        moller_cut_kev: least simulated energy loss to an atomic electron.
        moller_fraction: … or this fraction of the energy.
        follow_brems: transport bremsstrahlung photons.
    """

    c1: float = 0.1
    max_loss: float = 0.1
    cut_kev: float = 1.0
    photon_cut_kev: float = 2.0
    moller_cut_kev: float = 1.0
    moller_fraction: float = 0.02
    brems_cut_kev: float = 5.0
    brems_fraction: float = 0.02
    follow_brems: bool = True


def _electron_density(m: Material) -> float:
    return m.density_g_cm3 * m.z_over_a * _AVOGADRO


def _moller(energy: Array, low: Array, high: Array, power: int, angle: bool = False) -> Array:
    """∫ Wᵖ dσ/dW of Møller per electron in cm² keVᵖ, or of 1 − cos θ of the primary."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    high = np.minimum(high, 0.5 * energy)
    low = np.minimum(low, high)  # an empty interval gives zero
    lnw = 0.5 * (np.log(high / low))[:, None] * (nodes + 1.0) + np.log(low)[:, None]
    w = np.exp(lnw)
    k = w / energy[:, None]
    tau = energy / MC2
    beta2 = (tau * (tau + 2.0) / (1.0 + tau) ** 2)[:, None]
    a = ((tau / (1.0 + tau)) ** 2)[:, None]
    shape = (
        1.0 / k**2
        + 1.0 / (1.0 - k) ** 2
        - 1.0 / (k * (1.0 - k))
        + a * (1.0 + 1.0 / (k * (1.0 - k)))
    )
    dsdw = _TWO_PI_RE2 * MC2 / beta2 / energy[:, None] ** 2 * shape
    if angle:
        left = energy[:, None] - w
        cos = np.sqrt(left / energy[:, None] * (energy[:, None] + 2 * MC2) / (left + 2 * MC2))
        value = 1.0 - cos
    else:
        value = w**power
    jac = 0.5 * np.log(high / low)[:, None] * weights * w
    return np.asarray((dsdw * value * jac).sum(axis=1))


def low_energy_factor(m: Material, energy: Array) -> Array:
    """Ratio of stopping powers that keeps Bethe's formula falling off below about 6.3 I.

    D. C. Joy and S. Luo, Scanning 11 (1989) 176: E is replaced by E + 0.85 I inside the logarithm.
    Normalised to one at 20 keV.
    """
    j = mean_excitation_ev(m) * 1e-3

    def ratio(e: Array) -> Array:
        return np.asarray(
            np.log(1.166 * (e + 0.85 * j) / j) / np.log(np.maximum(1.166 * e / j, 1.2))
        )

    return np.where(energy < 20.0, ratio(energy) / ratio(np.array([20.0])), 1.0)


@lru_cache(maxsize=256)
def electron_table(m: Material, s: Settings, is_fill: bool) -> Array:
    """Rows over energy, columns as in :mod:`.layout`."""
    e = np.geomspace(E_LOW, E_HIGH, E_POINTS)
    rho = m.density_g_cm3
    n_e = _electron_density(m)
    col = stopping.collision_stopping_power(m, e * 1e-3) * rho * 1e3
    rad = stopping.radiative_stopping_power(m, e * 1e-3) * rho * 1e3
    col = col * low_energy_factor(m, e)
    full = col + rad
    out = np.zeros((E_POINTS, lay.ELECTRON_COLUMNS))
    # range
    lne = np.log(e)
    f = e / full
    out[:, lay.RANGE] = 0.5 * e[0] / full[0] + np.concatenate(
        [[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * np.diff(lne))]
    )
    # hard collisions with electrons
    wc = np.maximum(s.moller_cut_kev, s.moller_fraction * e)
    top = 0.5 * e
    hard = n_e * _moller(e, wc, top, 0)
    loss = n_e * _moller(e, wc, top, 1)
    # hard bremsstrahlung: k dσ/dk ∝ 1 − x + ¾x²
    kc = np.maximum(s.brems_cut_kev, s.brems_fraction * e) / e
    x = np.minimum(kc, 1.0)
    norm = 1.0 - 0.5 + 0.25
    soft_share = (x - 0.5 * x**2 + 0.25 * x**3) / norm
    number = np.where(x < 1.0, (-np.log(x) - (1 - x) + 0.375 * (1 - x**2)) / norm / e, 0.0)
    out[:, lay.MOLLER] = hard
    out[:, lay.BREMS] = rad * number
    out[:, lay.SOFT_LOSS] = np.maximum(col - loss, 0.05 * col) + rad * soft_share
    # elastic
    g1, g2 = np.zeros(E_POINTS), np.zeros(E_POINTS)
    for z, w in m.mass_fractions.items():
        atoms = w * rho * _AVOGADRO / ELEMENTS[z].atomic_weight
        first, second = transport_cross_sections(z, e)
        g1 += atoms * first
        g2 += atoms * second
    a = screening_of_ratio(g2 / g1)
    mean = a * ((1.0 + a) * np.log1p(1.0 / a) - 1.0)
    sigma = g1 / (2.0 * mean)
    sigma_hard = np.minimum(sigma, g1 / s.c1)
    mu_c = a * (sigma - sigma_hard) / (sigma_hard + sigma * a)
    soft = 2.0 * sigma * a * (1.0 + a) * (np.log((mu_c + a) / a) + a / (mu_c + a) - 1.0)
    low = np.minimum(np.full(E_POINTS, mean_excitation_ev(m) * 1e-3), 0.3 * e)
    soft_inelastic = n_e * _moller(e, low, np.minimum(np.maximum(wc, low), 0.5 * e), 0, angle=True)
    out[:, lay.ELASTIC] = sigma_hard
    out[:, lay.G_SOFT] = np.maximum(soft, 0.0) + soft_inelastic
    out[:, lay.SCREEN] = a
    out[:, lay.MU_CUT] = mu_c
    if is_fill:
        out[:, lay.IONS] = primary_ionisation_per_cm(m, e)
    out.flags.writeable = False
    return out


@lru_cache(maxsize=256)
def photon_tables(m: Material) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Cross sections, shares of atoms and K shells, atoms, scattering functions, form factors."""
    import xraylib as xl

    e = np.geomspace(P_LOW, P_HIGH, P_POINTS)
    parts = attenuation.partial(m, e)
    rho = m.density_g_cm3
    cross = np.zeros((P_POINTS, lay.PHOTON_COLUMNS))
    cross[:, lay.PHOTO] = parts["photoelectric"] * rho
    cross[:, lay.INCOHERENT] = parts["incoherent"] * rho
    cross[:, lay.COHERENT] = parts["coherent"] * rho
    cross[:, lay.PAIR] = (parts["pair"] + parts["triplet"]) * rho
    cross[:, lay.TOTAL] = cross[:, 1:].sum(axis=1)
    share = np.ones((P_POINTS, lay.MAX_ATOMS))
    k_share = np.zeros((P_POINTS, lay.MAX_ATOMS))
    atom = np.zeros((lay.MAX_ATOMS, lay.ATOM_COLUMNS))
    # the eight that absorb most; the rest of a complicated mixture counts as the last of them
    by_weight = sorted(m.mass_fractions.items(), key=lambda p: -p[1] * p[0] ** 3)[: lay.MAX_ATOMS]
    photo = np.array([w * xcom.mass_coefficients(z, e)[0] for z, w in by_weight])
    running = np.cumsum(photo, axis=0) / photo.sum(axis=0)
    for k, (z, _) in enumerate(by_weight):
        share[:, k] = running[k]
        edges = xcom.edges_kev(z)
        shells = xcom.fluorescence(z)
        row = atom[k]
        row[lay.B_K] = _edge(z, xl.K_SHELL)
        row[lay.B_L] = np.mean([_edge(z, n) for n in (xl.L1_SHELL, xl.L2_SHELL, xl.L3_SHELL)])
        row[lay.B_M] = np.mean([_edge(z, n) for n in (xl.M1_SHELL, xl.M3_SHELL, xl.M5_SHELL)])
        if "K" in shells:
            edge, jump, fluorescence, lines = shells["K"]
            k_share[:, k] = np.where(e > edge, jump, 0.0)
            row[lay.OMEGA_K] = fluorescence
            ka1 = [p for p in lines if p[0] <= lines[1][0] * 1.0001]
            kb = [p for p in lines if p[0] > lines[1][0] * 1.0001]
            groups = [ka1[:1], ka1[1:], kb]
            total = sum(p for _, p in lines)
            at = 0.0
            for j, group in enumerate(groups):
                weight = sum(p for _, p in group)
                mean = sum(en * p for en, p in group) / weight if weight > 0 else 0.0
                row[lay.LINE_A + j] = mean
                at += weight / total
                if j < 2:
                    row[lay.SHARE_A + j] = at
        elif "K" in edges or row[lay.B_K] > P_LOW:
            k_share[:, k] = np.where(e > row[lay.B_K], 0.9, 0.0)
    share[:, len(by_weight) - 1 :] = 1.0
    x = np.geomspace(X_LOW, X_HIGH, X_POINTS)
    bound = np.zeros(X_POINTS)
    form2 = np.zeros(X_POINTS)
    electrons = 0.0
    for z, w in m.mass_fractions.items():
        atoms = w / ELEMENTS[z].atomic_weight
        xs, sf = xcom.scattering_function(z)
        bound += atoms * np.interp(x, xs, sf)
        form2 += atoms * np.array([xl.FF_Rayl(z, q) for q in x]) ** 2
        electrons += atoms * z
    bound = np.clip(bound / electrons, 1e-9, 1.0)
    lnx = np.log(x)
    g = 2.0 * form2 * x**2
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (g[1:] + g[:-1]) * np.diff(lnx))])
    cumulative += 0.5 * g[0]  # below the grid F is constant: F² x²
    cumulative[0] = 0.0
    return cross, share, k_share, atom, bound, cumulative / cumulative[-1]


def _edge(z: int, shell: int) -> float:
    import xraylib as xl

    try:
        return float(xl.EdgeEnergy(z, shell))
    except ValueError:
        return 0.0


@lru_cache(maxsize=64)
def tables(materials: tuple[Material, ...], s: Settings) -> Tables:
    """Stack the tables of ``materials``, the gas first."""
    electron = np.array([electron_table(m, s, i == 0) for i, m in enumerate(materials)])
    rough = replace(s, c1=max(s.c1, COARSE_C1))
    coarse = np.array([electron_table(m, rough, i == 0) for i, m in enumerate(materials)])
    parts = [photon_tables(m) for m in materials]
    stacked = [np.ascontiguousarray(np.array([p[k] for p in parts])) for k in range(6)]
    return Tables(
        electron=electron,
        coarse=coarse,
        e_lo=math.log(E_LOW),
        e_inv=(E_POINTS - 1) / math.log(E_HIGH / E_LOW),
        cut=s.cut_kev,
        moller_cut=s.moller_cut_kev,
        moller_fraction=s.moller_fraction,
        brems_cut=s.brems_cut_kev,
        brems_fraction=s.brems_fraction,
        max_loss=s.max_loss,
        follow_brems=1.0 if s.follow_brems else 0.0,
        photon=stacked[0],
        p_lo=math.log(P_LOW),
        p_inv=(P_POINTS - 1) / math.log(P_HIGH / P_LOW),
        p_cut=s.photon_cut_kev,
        atom_share=stacked[1],
        k_share=stacked[2],
        atom=stacked[3],
        x_lo=math.log(X_LOW),
        x_inv=(X_POINTS - 1) / math.log(X_HIGH / X_LOW),
        bound=stacked[4],
        form=stacked[5],
    )
