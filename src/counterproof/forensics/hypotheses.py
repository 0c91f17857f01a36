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
from counterproof.forensics.profile import FEWEST, agreed_factor, nearer_high
from counterproof.forensics.sampler import Chain, climb
from counterproof.forensics.search import Candidate, even_scatter
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
    cpm, _ = posterior.rates(found.shape, posterior.at + found.offsets[posterior.clock])
    values, step = posterior.values, posterior.step
    if posterior.structure.down:
        values = values + 0.5 * step
    below = ~nearer_high(cpm, values, found.profile.factors, found.profile.switch_cpm)
    guess = {"log_factor": found.profile.factor, "log_switch": found.profile.switch_cpm}
    guess["log_factor"] = _factor(cpm, values, step, found.profile.factor)
    if posterior.structure.factors == 2:
        low, high = found.profile.factors
        guess["log_factor"] = _factor(cpm[below], values[below], step, low)
        guess["log_factor_high"] = _factor(cpm[~below], values[~below], step, high)
    if posterior.structure.hysteresis and below.any() and not below.all():
        # a rising rate keeps the low range up to the switch, a falling one the high range down to
        # the release
        up = max(float(np.quantile(cpm[below], 0.995)), found.profile.switch_cpm)
        down = min(float(np.quantile(cpm[~below], 0.005)), found.profile.switch_cpm)
        guess["log_switch"] = up
        guess["hysteresis"] = float(np.clip(1.0 - down / up, 0.0, 0.45))
    if posterior.structure.factors == 1 and {"dead_time", "background"} & set(names):
        guess |= _curved(cpm, values, step, "dead_time" in names)
    start, scales = [], []
    for name in names:
        value = guess.get(name, 0.0)
        start.append(np.log(value) if name.startswith("log_") else value)
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


def _curved(cpm: Floats, values: Floats, step: float, dead_time: bool) -> dict[str, float]:
    """Return factor and dead time (s) or background (cpm) by weighted least squares."""
    second = cpm * cpm if dead_time else np.ones_like(cpm)
    weight = 1.0 / np.sqrt(even_scatter(cpm) * 1e-3 + step * step * np.mean(cpm > 0) + 1e-12)
    design = np.stack((cpm * weight, second * weight), axis=1)
    (gain, other), *_ = np.linalg.lstsq(design, values * weight, rcond=None)
    if not gain > 0:
        return {}
    guess = {"log_factor": float(1.0 / gain)}
    if dead_time:
        guess["dead_time"] = float(np.clip(60.0 * other / gain, -1.9e-3, 1.9e-3))
    else:
        guess["background"] = float(np.clip(-other / gain, 0.0, 0.5 * np.median(cpm)))
    return guess


def weigh(
    data: Joined,
    rates: Rates,
    found: Candidate,
    step: float,
    structure: Structure,
    sweeps: int,
    rng: np.random.Generator,
    near: Weighed | None = None,
    high: bool = False,
) -> Weighed:
    """Climb one hypothesis, from least squares or from a neighbour's summit.

    ``high`` takes the neighbour's upper factor for the only one.
    """
    posterior = Posterior(
        data, rates, readings_used(data, found, step), step, structure, found.shape, found.offsets
    )
    start, scales = start_of(posterior, found)
    if near is not None:
        own_start = {"log_switch", "hysteresis"} if structure.hysteresis else set()
        for name, i in posterior.index.items():
            j = near.posterior.index.get(name)
            if j is not None and name not in own_start:
                start[i], scales[i] = near.chain.best[j], near.chain.scales[j]
        upper = near.posterior.index.get("log_factor_high")
        if high and upper is not None:
            start[0] = near.chain.best[upper]
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
    tried = [weigh(data, rates, found, step, Structure(), sweeps, rng), two]
    one = tried[0]
    for extra in ELABORATIONS:
        best, power = _best(tried)
        if -power * best.log_likelihood < MARGIN:
            break
        near = two if extra.factors == 2 else None
        tried.append(weigh(data, rates, found, step, extra, sweeps, rng, near))
    best, power = _best(tried)
    if best.structure.factors == 2:
        # one factor deserves the shape and clock that two have found, with either of theirs
        for high in (False, True):
            again = weigh(data, rates, found, step, Structure(), sweeps, rng, best, high)
            if again.log_likelihood > one.log_likelihood:
                tried[tried.index(one)] = again
                one = again
        best, power = _best(tried)
    if best is not one:
        # simpler rivals may only have been climbed badly: let them start from the new summit
        for rival in [w for w in tried if _assumptions(w) < _assumptions(best)]:
            if rival.structure.factors == best.structure.factors:
                again = weigh(data, rates, found, step, rival.structure, sweeps, rng, best)
                if again.log_likelihood > rival.log_likelihood:
                    tried[tried.index(rival)] = again
    best, power = _best(tried)
    return best, tried, power


ELABORATIONS = (
    Structure(dead_time=True),
    Structure(background=True),
    Structure(down=True),
    Structure(factors=2, hysteresis=True),
    Structure(factors=2, down=True),
    Structure(factors=2, dead_time=True),
    Structure(factors=2, background=True),
)


def _assumptions(weighed: Weighed) -> int:
    return weighed.parameters + int(weighed.structure.down)


def _best(tried: Sequence[Weighed]) -> tuple[Weighed, float]:
    """Return the structure that stands when every assumption must earn the margin, and the share.

    The independent share is that of the likeliest, whose residuals are the purest noise.
    """
    power = power_of(max(tried, key=lambda w: w.log_likelihood))
    n = tried[0].posterior.at.size
    sound = [w for w in tried if _ranges_filled(w)]
    return max(sound, key=lambda w: w.score(n, power) - MARGIN * _assumptions(w)), power


def _ranges_filled(weighed: Weighed) -> bool:
    """Return whether each range holds enough readings, half of them explained, to be believed."""
    posterior, best = weighed.posterior, weighed.chain.best
    if weighed.structure.factors == 1:
        return True
    explained = posterior.masses(best) > 3.0 * posterior.stray
    return all(
        part.sum() >= FEWEST and explained[part].mean() > 0.5 for part in posterior.ranges(best)
    )
