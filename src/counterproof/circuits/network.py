"""Networks of resistors and capacitors: exact answer to a charge moved at one instant.

For node voltages v (deviations from rest), capacitance matrix C and conductance matrix G,

    C dv/dt + G v = 0,  C v(0) = q,

with q the charge put on each node. Both matrices are symmetric, so G w = λ C w has real
λ ≥ 0 and v(t) = Σ w exp(-λ t) (wᵀ q). Kirchhoff's current law; from first principles. Lines shorter
than a few metres are lumped: light needs 5 ns for a metre of cable, pulses last microseconds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import eigh

from counterproof.circuits.checks import Floats, positive

Branch = tuple[str, str, float]
GROUND, SUPPLY = "ground", "supply"


def _stamped(nodes: Sequence[str], branches: Iterable[tuple[str, str, float]]) -> Floats:
    matrix = np.zeros((len(nodes), len(nodes)))
    for a, b, value in branches:
        inside = [nodes.index(n) for n in (a, b) if n in nodes]
        for i in inside:
            matrix[i, i] += value
        if len(inside) == 2:
            i, j = inside
            matrix[i, j] -= value
            matrix[j, i] -= value
    return matrix


@dataclass(frozen=True, eq=False)
class Network:
    """Resistors and capacitors between nodes, ground and an ideal supply.

    Args:
        nodes: names of the nodes, shape (n,). ``"ground"`` and ``"supply"`` are not among them:
            both stand still for signals.
        resistors: (node, node, ohms).
        capacitors: (node, node, farads); each node needs a path of capacitors to ground or supply.

    Raises:
        UserError: if a value is not positive.
        LinAlgError: if a node is without capacitance.
    """

    nodes: tuple[str, ...]
    resistors: tuple[Branch, ...]
    capacitors: tuple[Branch, ...]
    capacitance: Floats = field(init=False)
    conductance: Floats = field(init=False)
    decay_per_s: Floats = field(init=False)
    modes: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Build the matrices and the modes."""
        positive("resistance", [r for *_, r in self.resistors])
        positive("capacitance", [c for *_, c in self.capacitors])
        C = _stamped(self.nodes, self.capacitors)
        G = _stamped(self.nodes, [(a, b, 1 / r) for a, b, r in self.resistors])
        # scaled so that picofarads and megohms meet the solver as numbers near one
        c0, g0 = np.trace(C), np.trace(G)
        decay, modes = eigh(G / g0, C / c0)
        object.__setattr__(self, "capacitance", C)
        object.__setattr__(self, "conductance", G)
        object.__setattr__(self, "decay_per_s", np.maximum(decay, 0.0) * g0 / c0)
        object.__setattr__(self, "modes", modes / np.sqrt(c0))

    def transfer_vector(self, source: str, sink: str) -> Floats:
        """Unit charge taken from one node and put on another, shape (n,)."""
        q = np.zeros(len(self.nodes))
        for node, sign in ((source, -1.0), (sink, 1.0)):
            if node in self.nodes:
                q[self.nodes.index(node)] += sign
        return q

    def across_f(self, a: str, b: str) -> float:
        """Capacitance that a sudden discharge between two nodes meets, in farads.

        1 / (eᵀ C⁻¹ e) with e = +1 at one and -1 at the other node; from first principles.
        """
        e = self.transfer_vector(a, b)
        return float(1.0 / (e @ np.linalg.solve(self.capacitance, e)))

    def propagator(self, factors: ArrayLike) -> Floats:
        """Matrices W f Wᵀ C that carry voltages on, for factors (…, n) of the modes: (…, n, n)."""
        f = np.asarray(factors, dtype=np.float64)
        W = self.modes
        result = np.einsum("im,...m,jm,jk->...ik", W, f, W, self.capacitance)
        return np.asarray(result, dtype=np.float64)

    def response(
        self, node: str, charge_c: Floats, times_s: ArrayLike, spread_s: float = 0.0
    ) -> Floats:
        """Voltage of ``node`` at ``times_s`` (≥ 0) after the charges moved, same shape, volts.

        Args:
            node: which node to look at.
            charge_c: charge put on each node, shape (n,).
            times_s: times.
            spread_s: time constant with which the charge arrives (exponentially); 0 = at once.
        """
        t = np.asarray(times_s, dtype=np.float64)[..., None]
        weight = self.modes[self.nodes.index(node)] * (self.modes.T @ charge_c)
        decay = self.decay_per_s
        if spread_s <= 0:
            return np.asarray((weight * np.exp(-decay * t)).sum(-1))
        x = decay * spread_s
        x = np.where(np.abs(1 - x) < 1e-6, 1 - 1e-6, x)  # equal time constants: take the limit
        shape = (np.exp(-x / spread_s * t) - np.exp(-t / spread_s)) / (1 - x)
        return np.asarray((weight * shape).sum(-1))

    def mean_v(self, node: str, charge_c: Floats, rate_per_s: float) -> float:
        """Mean voltage of ``node`` with the charges moved at a mean rate: rate · (G⁻¹ q).

        Holds for any pattern in time, as ∫ v dt of one pulse does (Campbell's theorem, first
        moment). The network must lead every node's charge away.
        """
        return float(
            rate_per_s * np.linalg.solve(self.conductance, charge_c)[self.nodes.index(node)]
        )

    def rms_v(self, node: str, charge_c: Floats, rate_per_s: float) -> float:
        """Root mean square fluctuation of ``node`` for Poisson pulses.

        Campbell's theorem, second moment: rate · ∫ v² dt = rate · Σᵢⱼ aᵢ aⱼ / (λᵢ + λⱼ).
        """
        a = self.modes[self.nodes.index(node)] * (self.modes.T @ charge_c)
        d = self.decay_per_s
        return float(np.sqrt(rate_per_s * np.sum(np.outer(a, a) / (d[:, None] + d))))

    def gain(self, node: str, frequency_hz: ArrayLike) -> Floats:
        """Share of a ripple on the supply that reaches ``node``: |(G + jωC)⁻¹ y|, same shape.

        ``y`` is the admittance of each node to the supply; from first principles.
        """
        index = self.nodes.index(node)
        w = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)[..., None]
        to_supply = np.zeros((2, len(self.nodes)))
        branches = [(r[0], r[1], 1 / r[2]) for r in self.resistors], self.capacitors
        for row, kind in enumerate(branches):
            for a, b, value in kind:
                for one, other in ((a, b), (b, a)):
                    if other == SUPPLY and one in self.nodes:
                        to_supply[row, self.nodes.index(one)] += value
        y = to_supply[0] + w * to_supply[1]
        system = self.conductance + w[..., None] * self.capacitance
        return np.asarray(np.abs(np.linalg.solve(system, y[..., None])[..., index, 0]))
