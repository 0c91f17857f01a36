"""A small adaptive Metropolis sampler for posteriors with walls and plateaus.

One coordinate at a time with steps of many sizes (a rounded display makes the likelihood a maze of
flat cells), later joint steps along the covariance learned on the way (Haario, Saksman and
Tamminen 2001, Bernoulli 7, 223). Adaptation stops before the samples that count.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Chain:
    """Samples (n, d), their log posteriors (n,), the best point seen and its log posterior."""

    samples: Floats
    log_posterior: Floats
    best: Floats
    best_log_posterior: float
    scales: Floats


def climb(
    target: Callable[[Floats], float],
    start: Floats,
    scales: Floats,
    sweeps: int,
    rng: np.random.Generator,
) -> Chain:
    """Sample one coordinate at a time while every step size adapts (towards 35 % accepted)."""
    d = start.size
    x, fx = start.copy(), target(start)
    best, fbest = x.copy(), fx
    scales = scales.copy()
    samples, values = np.empty((sweeps, d)), np.empty(sweeps)
    for sweep in range(sweeps):
        gain = 1.0 / np.sqrt(1.0 + 0.05 * sweep)
        for i in range(d):
            y = x.copy()
            y[i] += scales[i] * rng.standard_normal() * 10.0 ** rng.uniform(-1.0, 0.5)
            fy = target(y)
            accepted = np.log(rng.random()) < fy - fx
            if accepted:
                x, fx = y, fy
                if fx > fbest:
                    best, fbest = x.copy(), fx
            scales[i] *= np.exp(gain * (float(accepted) - 0.35))
        samples[sweep], values[sweep] = x, fx
    return Chain(samples, values, best, fbest, scales)


def sample(
    target: Callable[[Floats], float],
    begun: Chain,
    sweeps: int,
    rng: np.random.Generator,
) -> Chain:
    """Sample with fixed steps: each sweep moves every coordinate once and jointly three times."""
    d = begun.best.size
    half = begun.samples[begun.samples.shape[0] // 3 :]
    cov = np.atleast_2d(np.cov(half.T)) + np.diag((1e-2 * begun.scales) ** 2)
    root = np.linalg.cholesky(cov) * 2.38 / np.sqrt(d)
    x, fx = begun.samples[-1].copy(), target(begun.samples[-1])
    best, fbest = begun.best, begun.best_log_posterior
    samples, values = np.empty((sweeps, d)), np.empty(sweeps)
    for sweep in range(sweeps):
        for i in range(d + 3):
            y = x.copy()
            reach = 10.0 ** rng.uniform(-1.0, 0.5)
            if i < d:
                y[i] += begun.scales[i] * rng.standard_normal() * reach
            else:
                y += root @ rng.standard_normal(d) * min(reach, 1.0)
            fy = target(y)
            if np.log(rng.random()) < fy - fx:
                x, fx = y, fy
                if fx > fbest:
                    best, fbest = x.copy(), fx
        samples[sweep], values[sweep] = x, fx
    return Chain(samples, values, best, fbest, begun.scales)
