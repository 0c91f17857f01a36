"""Rate estimators as an inference needs them: evaluated many times on one pulse train, fast.

The estimators are those of ``counterproof.readout``; here a change of the clock offset or of the
time constant costs little, because what does not change is kept.
"""

from __future__ import annotations

from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BOXCAR, EXPONENTIAL, TICKED, FIXED = "boxcar", "exponential", "ticked exponential", "fixed count"
FAMILY = {BOXCAR: "boxcar", EXPONENTIAL: "exponential", TICKED: "exponential", FIXED: "fixed count"}
"""What a kind is called: whether an exponential is fed by ticks is a detail."""


def held_sums(pulses: Floats, tau_s: float) -> Floats:
    """Return Σ exp(−(tⱼ − tᵢ)/τ) over i ≤ j for every pulse j, shape (n,)."""
    out = np.empty(pulses.size)
    carried, last, i = 0.0, 0.0, 0
    while i < pulses.size:
        j = int(np.searchsorted(pulses, pulses[i] + 30.0 * tau_s, side="right"))
        grown = np.exp((pulses[i:j] - pulses[i]) / tau_s)
        head = carried * np.exp(-min((pulses[i] - last) / tau_s, 700.0)) if i else 0.0
        out[i:j] = (np.cumsum(grown) + head) / grown
        carried, last, i = float(out[j - 1]), float(pulses[j - 1]), j
    return out


class Tracker:
    """Numbers of pulses up to given times; quick when the times have moved only a little."""

    def __init__(self, pulses: Floats) -> None:
        """Fence the pulses in, so that every number has a neighbour on both sides."""
        self._pulses = pulses
        self._fenced = np.concatenate(([-np.inf], pulses, [np.inf]))
        self._last: NDArray[np.int64] = np.empty(0, dtype=np.int64)

    def __call__(self, at: Floats) -> NDArray[np.int64]:
        """Return how many pulses lie at or before each time, shape (k,)."""
        if self._last.size != at.size:
            self._last = np.searchsorted(self._pulses, at, side="right").astype(np.int64)
            return self._last
        moved = (self._fenced[self._last] > at) | (at >= self._fenced[self._last + 1])
        if moved.any():
            self._last = self._last.copy()
            self._last[moved] = np.searchsorted(self._pulses, at[moved], side="right")
        return self._last


class Rates:
    """Count rates in cpm at given times, and their variance if every count were drawn anew."""

    def __init__(self, pulses: Floats, kind: str, resolving_time_s: float = 0.0) -> None:
        """Prepare for one kind of estimator on one pulse train.

        With a resolving time the rates are those of the pulses behind the heard ones,
        m/(1 − mτ).
        """
        self.pulses = pulses
        self.kind = kind
        self.resolving_time_s = resolving_time_s
        self._until, self._since = Tracker(pulses), Tracker(pulses)
        self._relative = 0.0
        self._nodes: Floats = np.empty(0)
        self._tables: list[Floats] = []

    def __call__(self, shape: float, at: Floats) -> tuple[Floats, Floats]:
        """Return rate (cpm) and its full counting variance (cpm²) at ``at``, each shape (k,).

        ``shape`` is the window in s, the time constant in s or the number of pulses.
        """
        rate, counting = self._heard(shape, at)
        if self.resolving_time_s == 0.0:
            return rate, counting
        gain = 1.0 / (1.0 - np.minimum(rate / 60.0 * self.resolving_time_s, 0.9))
        return rate * gain, counting * gain * gain

    def _heard(self, shape: float, at: Floats) -> tuple[Floats, Floats]:
        if self.kind == BOXCAR:
            n = self._until(at) - self._since(at - shape)
            per = 60.0 / shape
            return np.asarray(n * per), np.asarray((n + 1.0) * per * per)
        if self.kind == FIXED:
            count = max(round(shape), 1)
            last = np.clip(self._until(at) - 1, count, max(self.pulses.size - 1, count))
            span = np.maximum(self.pulses[last] - self.pulses[last - count], 1e-9)
            rate = 60.0 * count / span
            return rate, rate * rate / count
        rate = 60.0 * (self._ticked(shape, at) if self.kind == TICKED else self._held(shape, at))
        per = 60.0 / (2.0 * shape)
        return rate, (rate + per) * per

    def _ticked(self, tau_s: float, at: Floats) -> Floats:
        """The rate in 1/s of an exponential that is fed once per reading."""
        edges = self._until(at)
        step = np.diff(at, prepend=at[0] - 1.0)
        fade = np.exp(-step / tau_s)
        fresh = np.diff(edges, prepend=edges[0]) * (1.0 - fade) / np.maximum(step, 1e-9)
        pairs = zip(fade.tolist(), fresh.tolist(), strict=True)
        held = accumulate(pairs, lambda r, s: r * s[0] + s[1], initial=0.0)
        return np.fromiter(held, np.float64, at.size + 1)[1:]

    def _held(self, tau_s: float, at: Floats) -> Floats:
        """Σ exp(−(t − tᵢ)/τ)/τ: exact at the tables' nodes, cubic in τ between them."""
        count = self._until(at)
        index = np.maximum(count - 1, 0)
        age = at - self.pulses[index]
        if not self._tables or not self._nodes[0] <= tau_s <= self._nodes[-1]:
            self.settle(tau_s, min(2.0 * self._relative, 0.08))
        sums = np.zeros(at.shape)
        for i, (node, table) in enumerate(zip(self._nodes, self._tables, strict=True)):
            others = np.delete(self._nodes, i)
            weight = float(np.prod((tau_s - others) / (node - others)))
            sums += weight * table[index] * np.exp(-age / node)
        return np.where(count > 0, sums, 0.0) / tau_s

    def settle(self, tau_s: float, relative: float) -> None:
        """Prepare tables for time constants within ±``relative`` of ``tau_s`` (0: just this)."""
        self._relative = relative
        if self.kind == EXPONENTIAL:
            spread = np.array([-1.0, -0.4, 0.4, 1.0]) if relative > 0 else np.zeros(1)
            self._nodes = tau_s * (1.0 + relative * spread)
            self._tables = [held_sums(self.pulses, float(tau)) for tau in self._nodes]


def memory_s(kind: str, shape: float, slowest_cpm: float, folds: float) -> float:
    """Return how far back an estimator looks, s (``folds`` time constants for an exponential)."""
    if kind == BOXCAR:
        return shape
    if kind == FIXED:
        return 1.5 * 60.0 * shape / max(slowest_cpm, 1e-3)
    return folds * shape
