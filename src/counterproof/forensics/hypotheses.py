"""Weigh hypotheses about the factors against each other, simplest first.

Every hypothesis is climbed to its summit; its score is the log likelihood (shared out over what is
independent) less half the logarithm of the number of readings per parameter (Schwarz 1978, Annals
of Statistics 6, 461). A more elaborate one is taken only if it wins by a margin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.likelihood import Posterior, Structure, independent_share
from counterproof.forensics.paired import Joined
from counterproof.forensics.profile import agreed_factor
from counterproof.forensics.sampler import Chain, climb
from counterproof.forensics.search import Candidate
from counterproof.forensics.shapes import BOXCAR, FIXED, Rates, memory_s

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MARGIN = 5.0
"""Score by which an added parameter must win (a factor of 150 in probability)."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """A hypothesis at its summit."""

    structure: Structure
    posterior: Posterior
    chain: Chain
    log_likelihood: float
    parameters: int

    def score(self, readings: int, power: float) -> float:
        """Return the penalised log likelihood when ``power`` of it is independent."""
        eff = max(readings * power, 2.0)
        return float(power * self.log_likelihood - 0.5 * np.log(eff) * self.parameters)


def readings_used(data: Joined, found: Candidate, step: float) -> Bools:
    """Return the readings whose memory lies within the recording, with a little to spare.

    An exponential forgets what came before the recording to a twentieth of the display's step.
    """
    folds = float(np.clip(np.log(20.0 * data.values.max(initial=step) / step), 5.0, 13.0))
    slowest = 60.0 * data.pulses.size / max(float((data.ends - data.starts).sum()), 1.0)
    return data.usable(
        found.offsets, memory_s(found.kind, 1.03 * found.shape, 0.3 * slowest, folds)
    )


def start_of(posterior: Posterior, found: Candidate) -> tuple[Floats, Floats]:
    """Return a starting point and step sizes for a structure from a least-squares candidate."""
    names = posterior.structure.names
    cpm, _ = posterior.rates(found.shape, posterior.at + found.offsets[posterior.run])
    values, step = posterior.values, posterior.step
    if posterior.structure.down:
        values = values + 0.5 * step
    below = cpm < found.profile.switch_cpm
    guess = {"log_factor": found.profile.factor, "log_switch": found.profile.switch_cpm}
    guess["log_factor"] = _factor(cpm, values, step, found.profile.factor)
    if posterior.structure.factors == 2:
        low, high = found.profile.factors
        guess["log_factor"] = _factor(cpm[below], values[below], step, low)
        guess["log_factor_high"] = _factor(cpm[~below], values[~below], step, high)
    start, scales = [], []
    for name in names:
        start.append(np.log(guess[name]) if name in guess else 0.0)
        scales.append({"log_switch": 1e-2, "dead_time": 1e-5, "background": 0.1}.get(name, 1e-3))
    start += [-2.0, -2.0, 2.0]
    scales += [1.0, 0.5, 0.5]
    if posterior.rates.kind != FIXED:
        start.append(np.log(found.shape))
        scales.append(1e-3)
    start += list(found.offsets)
    scales += [1e-2] * found.offsets.size
    return np.array(start), np.array(scales)


def _factor(cpm: Floats, values: Floats, step: float, otherwise: float) -> float:
    """Return the factor most readings agree on, unless so few do that least squares is safer."""
    factor, agreeing = agreed_factor(cpm, values, step)
    if agreeing < 0.3 * cpm.size or not np.isfinite(factor):
        factor = otherwise
    return float(np.clip(factor, 1e-3, 1e9))


def weigh(
    data: Joined,
    rates: Rates,
    found: Candidate,
    step: float,
    structure: Structure,
    sweeps: int,
    rng: np.random.Generator,
    near: Weighed | None = None,
) -> Weighed:
    """Climb one hypothesis, from least squares or from a simpler neighbour's summit."""
    posterior = Posterior(
        data, rates, readings_used(data, found, step), step, structure, found.shape, found.offsets
    )
    start, scales = start_of(posterior, found)
    if near is not None:
        for name, i in posterior.index.items():
            j = near.posterior.index.get(name)
            if j is not None:
                start[i], scales[i] = near.chain.best[j], near.chain.scales[j]
    chain = climb(posterior, start, scales, sweeps, rng)
    return Weighed(structure, posterior, chain, chain.best_log_posterior, len(structure.names))


def power_of(weighed: Weighed) -> float:
    """Return the independent share of what a hypothesis leaves unexplained.

    Pulses missed or invented spoil the readings of one memory, not more: longer correlations are
    a misfit, which the likelihood itself must be allowed to punish.
    """
    posterior = weighed.posterior
    share = independent_share(posterior.excess(weighed.chain.best), posterior.run)
    pace = float(np.median(np.diff(posterior.at))) if posterior.at.size > 1 else 1.0
    memory = posterior.shape0 * {BOXCAR: 1.0, FIXED: 0.0}.get(posterior.rates.kind, 2.0)
    return max(share, min(1.0, pace / max(1.5 * memory, pace)))


def choose(
    data: Joined,
    rates: Rates,
    found: Candidate,
    step: float,
    two: Weighed,
    rng: np.random.Generator,
) -> tuple[Weighed, list[Weighed], float]:
    """Return the simplest adequate structure, all that were weighed, and the independent share.

    One factor comes first. Because a rounded number's probability cannot exceed 1, no hypothesis
    can gain more than what the present one lacks; when that is less than the margin, it stands.
    """
    sweeps = 100
    one = weigh(data, rates, found, step, Structure(), sweeps, rng)
    tried = [one, two]
    n = one.posterior.at.size
    power = power_of(max(tried, key=lambda w: w.log_likelihood))
    best = one
    for extra in _elaborations(two.structure):
        if -power * best.log_likelihood < MARGIN:
            break
        new = two if extra == two.structure else None
        if new is None:
            near = two if extra.factors == 2 else one
            new = weigh(data, rates, found, step, extra, sweeps, rng, near)
            tried.append(new)
        if new.log_likelihood > max(w.log_likelihood for w in tried if w is not new):
            power = power_of(new)
        if _wins(new, best, n, power):
            # a simpler rival may only have been climbed badly: let it start from the new summit
            again = weigh(data, rates, found, step, best.structure, sweeps, rng, new)
            if again.log_likelihood > best.log_likelihood:
                tried[tried.index(best)] = again
                best = again
            if _wins(new, best, n, power):
                best = new
    return best, tried, power


def _wins(new: Weighed, best: Weighed, readings: int, power: float) -> bool:
    """Return whether a structure beats another by the margin per added assumption."""
    added = new.parameters - best.parameters + int(new.structure.down) - int(best.structure.down)
    return new.score(readings, power) > best.score(readings, power) + MARGIN * max(added, 0)


def _elaborations(two: Structure) -> Sequence[Structure]:
    """Return the structures to try after one factor, in order of elaboration."""
    return (
        Structure(down=True),
        Structure(dead_time=True),
        Structure(background=True),
        two,
        Structure(factors=2, down=True),
        Structure(factors=2, hysteresis=True),
        Structure(factors=2, dead_time=True),
        Structure(factors=2, background=True),
    )
