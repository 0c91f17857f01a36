"""Rebuild the elastic cross sections: ``python -m counterproof.physics.tube.build_elastic``.

Partial-wave solution of Dirac's equation for an electron in the static field of an atom (N. F.
Mott, Proc. R. Soc. A 124 (1929) 425; D. W. Walker, Adv. Phys. 20 (1971) 257). The atom's screening
function is the sine transform of its form factor (Hubbell et al. 1975, from xraylib):
φ(r) = 1 − (2/π) ∫ F(q)/Z sin(qr)/q dq. Exchange and polarisation, which matter below about 1 keV,
are left out. Kept are the first and second transport cross sections. About ten minutes of one core.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
from numba import njit

from counterproof.physics.tube.layout import MC2, Array

ATOMS = (1, 4, 6, 8, 11, 14, 18, 20, 24, 26, 29, 36, 42, 50, 56, 74, 82, 92)
ENERGY_KEV = (1.0, 2.0, 4.0, 7.0, 12.0, 20.0, 35.0, 60.0, 100.0, 180.0, 350.0, 700.0)
TABLE = Path(__file__).parent / "data" / "elastic_transport_2026.npz"
_HBARC = 1.973269804  # keV Å
_FAR = 9.0  # Å, beyond which the atom is neutral


def screening(z: int) -> tuple[Array, Array]:
    """Radii in Å on a logarithmic grid and the screening function φ there."""
    import xraylib as xl

    r = np.geomspace(1e-6, _FAR, 1200)
    # F(q) with q = 4π x, x = sin(θ/2)/λ; steps fine enough that sin(qr) is resolved at r = _FAR
    x = np.concatenate([np.linspace(0.0, 8.0, 12001), np.geomspace(8.0, 900.0, 6001)[1:]])
    f = np.array([xl.FF_Rayl(z, float(v)) if v > 0 else float(z) for v in x]) / z
    q = 4.0 * math.pi * x
    phi = np.empty(r.size)
    for i, radius in enumerate(r):
        kernel = np.where(q * radius < 1e-6, radius, np.sin(q * radius) / np.maximum(q, 1e-300))
        phi[i] = 1.0 - 2.0 / math.pi * np.trapezoid(f * kernel, q)
    phi = np.clip(phi, 1e-12, 1.0)
    # the transform is noisy where the atom ends: go on as an exponential from where φ = 1 %
    i, j = int(np.argmax(phi < 0.03)), int(np.argmax(phi < 0.01))
    rate = math.log(phi[i] / phi[j]) / (r[j] - r[i])
    phi[j:] = phi[j] * np.exp(-rate * (r[j:] - r[j]))
    phi[phi < 3e-6] = 0.0
    return r, phi


@njit(cache=True)
def _phi_at(lnr: float, lo: float, inv: float, phi: Array) -> float:
    p = (lnr - lo) * inv
    if p < 0.0:
        return 1.0
    i = int(p)
    if i >= phi.size - 1:
        return 0.0
    return float(phi[i] + (p - i) * (phi[i + 1] - phi[i]))


@njit(cache=True, inline="always")
def _slope(a: float, r: float, v: float, kappa: int, w: float, m: float, gamma: float) -> float:
    # P' = −κ/r P + (w − v + m) Q, Q' = κ/r Q − (w − v − m) P, tan a = Q/(γP)
    s = math.sin(a)
    c = math.cos(a)
    return 2.0 * kappa / r * s * c - (w - v - m) / gamma * c * c - (w - v + m) * gamma * s * s


@njit(cache=True)
def _log_derivative(
    kappa: int, z: float, w: float, m: float, r_far: float, lo: float, inv: float, phi: Array
) -> float:
    """P'/P at ``r_far``; energies ``w`` and ``m`` in 1/Å."""
    ang = kappa if kappa > 0 else -kappa - 1
    k = math.sqrt(w * w - m * m)
    za = z * 7.2973525693e-3
    # start well inside the turning point, but where (r/turn)^l is not yet nothing
    turn = (ang + 1.0) / k
    r = max(1e-6, 0.9 * turn * math.exp(-36.0 / (ang + 1.0))) if ang > 0 else 1e-6
    r = min(r, 0.3 * turn)
    g = math.sqrt(kappa * kappa - za * za)
    v = -za / r * _phi_at(math.log(r), lo, inv, phi)
    if kappa < 0:
        ratio = -za / (g - kappa) if r < 2e-6 else -(w - v - m) * r / (2.0 * ang + 3.0)
    else:
        ratio = (g + kappa) / za if r < 2e-6 else (2.0 * ang + 1.0) / (r * (w - v + m))
    # Q is scaled by what it is beside P in free space, so that the angle turns evenly
    gamma = math.sqrt((w - m) / (w + m))
    a = math.atan(ratio / gamma)
    while r < r_far:
        v = -za * _phi_at(math.log(r), lo, inv, phi) / r
        kl = math.sqrt(max((w - v) * (w - v) - m * m, k * k))
        h = min(0.5 * r / (abs(kappa) + 9.0), 0.2 / kl)
        if r + h > r_far:
            h = r_far - r
        v_half = -za * _phi_at(math.log(r + 0.5 * h), lo, inv, phi) / (r + 0.5 * h)
        v_end = -za * _phi_at(math.log(r + h), lo, inv, phi) / (r + h)
        k1 = _slope(a, r, v, kappa, w, m, gamma)
        k2 = _slope(a + 0.5 * h * k1, r + 0.5 * h, v_half, kappa, w, m, gamma)
        k3 = _slope(a + 0.5 * h * k2, r + 0.5 * h, v_half, kappa, w, m, gamma)
        k4 = _slope(a + h * k3, r + h, v_end, kappa, w, m, gamma)
        a += h * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
        r += h
    return -kappa / r_far + (w + m) * gamma * math.tan(a)


@njit(cache=True)
def transport(z: float, e: float, lo: float, inv: float, phi: Array, r_far: float) -> Array:
    """Total, first and second transport cross sections in Å² per atom."""
    hbarc = 1.973269804
    m = 510.99895 / hbarc
    w = (e + 510.99895) / hbarc
    k = math.sqrt(w * w - m * m)
    x = k * r_far
    most = int(x * 0.95)
    d_up = np.zeros(most + 2)  # κ = −l − 1
    d_dn = np.zeros(most + 2)  # κ = l
    j0, j1 = math.sin(x), math.sin(x) / x - math.cos(x)
    n0, n1 = -math.cos(x), -math.cos(x) / x - math.sin(x)
    used = 0
    small = 0
    for ang in range(most):
        # derivatives of the Riccati functions: f' = (l + 1)/x f_l − f_{l+1}
        dj = (ang + 1.0) / x * j0 - j1
        dn = (ang + 1.0) / x * n0 - n1
        for up in range(2):
            if up == 0 and ang == 0:
                continue
            kappa = -ang - 1 if up == 1 else ang
            d = _log_derivative(kappa, z, w, m, r_far, lo, inv, phi)
            delta = math.atan2(k * dj - d * j0, k * dn - d * n0)
            # the same without the atom: what is left then is the error of the integration
            d = _log_derivative(kappa, 1e-9, w, m, r_far, lo, inv, phi)
            delta -= math.atan2(k * dj - d * j0, k * dn - d * n0)
            # a phase is known up to π: take the principal value
            delta -= math.pi * math.floor(delta / math.pi + 0.5)
            if up == 1:
                d_up[ang] = delta
            else:
                d_dn[ang] = delta
        used = ang + 1
        if ang > 3 and abs(d_up[ang]) < 2e-5 and abs(d_dn[ang]) < 2e-5:
            small += 1
            if small > 6:
                break
        else:
            small = 0
        j0, j1 = j1, (2.0 * ang + 3.0) / x * j1 - j0
        n0, n1 = n1, (2.0 * ang + 3.0) / x * n1 - n0
    # amplitudes on nodes crowded forwards, even in ln sin(θ/2)
    n_nodes = 1200
    out = np.zeros(3)
    s_lo = 1e-3 / (1.0 + x / 200.0)
    step = math.log(1.0 / s_lo) / n_nodes
    for i in range(n_nodes):
        s = s_lo * math.exp((i + 0.5) * step)
        mu = 1.0 - 2.0 * s * s
        sin = math.sqrt(max(1.0 - mu * mu, 0.0))
        fr = fi = gr = gi = 0.0
        p0, p1 = 1.0, mu  # Legendre polynomials of l and l + 1
        q0, q1 = 0.0, sin  # associated, order 1, without Condon–Shortley's sign
        for ang in range(used):
            cu, su = math.cos(2.0 * d_up[ang]) - 1.0, math.sin(2.0 * d_up[ang])
            cd, sd = math.cos(2.0 * d_dn[ang]) - 1.0, math.sin(2.0 * d_dn[ang])
            fr += ((ang + 1.0) * su + ang * sd) * p0
            fi -= ((ang + 1.0) * cu + ang * cd) * p0
            gr += (sd - su) * q0
            gi -= (cd - cu) * q0
            p0, p1 = p1, ((2.0 * ang + 3.0) * mu * p1 - (ang + 1.0) * p0) / (ang + 2.0)
            q0, q1 = q1, ((2.0 * ang + 3.0) * mu * q1 - (ang + 2.0) * q0) / (ang + 1.0)
        dcs = (fr * fr + fi * fi + gr * gr + gi * gi) / (4.0 * k * k)
        weight = 2.0 * math.pi * 4.0 * s * s * step * dcs  # dΩ = 2π · 4 s ds, ds = s · step
        out[0] += weight
        out[1] += weight * (1.0 - mu)
        out[2] += weight * 1.5 * (1.0 - mu * mu)
    return out


def of_atom(z: int) -> tuple[Array, Array]:
    """First and second transport cross sections of one atom at the energies, cm²."""
    first, second = np.zeros(len(ENERGY_KEV)), np.zeros(len(ENERGY_KEV))
    r, phi = screening(z)
    inv = (r.size - 1) / math.log(r[-1] / r[0])
    reach = r[int(np.argmax(phi <= 0.0))] if (phi <= 0.0).any() else r[-1]
    for j, e in enumerate(ENERGY_KEV):
        far = float(max(reach, 20.0 * _HBARC / math.sqrt(e * (e + 2.0 * MC2))))
        _, s1, s2 = transport(float(z), e, math.log(r[0]), inv, phi, far)
        first[j], second[j] = s1 * 1e-16, s2 * 1e-16
    return first, second


def main() -> None:
    """Compute and write the table."""
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor() as pool:
        rows = list(pool.map(of_atom, ATOMS))
    TABLE.parent.mkdir(exist_ok=True)
    np.savez(
        TABLE,
        atoms=np.array(ATOMS),
        energy_kev=np.array(ENERGY_KEV),
        first=np.array([first for first, _ in rows]),
        second=np.array([second for _, second in rows]),
    )
    sys.stdout.write(f"{TABLE}\n")


if __name__ == "__main__":
    main()
