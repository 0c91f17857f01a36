"""Calibrations of counters whose truth is drawn: bias, coverage, and what each nuisance is worth.

The truth comes from a generator of its own, not from the fit's model: a disc source, the hybrid
dead time of two parts, and nuisances drawn from other shapes than the fit's normal priors
(rectangular, triangular, two-valued at ± one standard deviation). Four benches: a source ladder
with a known activity, a ladder beside a reference counter with an unknown source, both, and a
ladder so near that dead time matters.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from acceptance import Row
from counterproof.calibration.choice import choose
from counterproof.calibration.fit import fit
from counterproof.calibration.problem import Counted, Level, Prior, Problem, Reference
from counterproof.errors import UserError

TITLE = "Calibration"

COOL_MM = (60.0, 85.0, 120.0, 170.0, 240.0, 340.0, 480.0)
HOT_MM = (60.0, 85.0, 120.0, 170.0, 240.0)
TRUE_CPS = 2.5
REFERENCE_CPS = 4.0
BACKGROUND_USV_H = 0.12
OFFSET = Prior(0.0, 2.0)
SCATTER = Prior.within(0.15, 0.10)
DEAD_TIME = Prior(120e-6, 40e-6)
SOURCE = Prior(0.0, 0.03)
STANDARD = Prior(0.0, 0.03)
PLACING_MM = 0.5
Draw = Callable[[np.random.Generator], float]
SHAPES: dict[str, Draw] = {
    "normal": lambda g: float(g.normal()),
    "rectangular": lambda g: float(g.uniform(-math.sqrt(3.0), math.sqrt(3.0))),
    "triangular": lambda g: float(g.triangular(-math.sqrt(6.0), 0.0, math.sqrt(6.0))),
    "two-valued": lambda g: float(g.choice((-1.0, 1.0))),
}


@dataclass(frozen=True)
class Bench:
    """What is on the bench: distances, dose rate at 60 mm, known source, reference counter."""

    distances_mm: tuple[float, ...]
    at_60_mm_usv_h: float
    source: bool
    reference: bool
    seconds: float = 300.0


BENCHES = {
    "source ladder": Bench(COOL_MM, 60.0, source=True, reference=False),
    "reference, source unknown": Bench(COOL_MM, 60.0, source=False, reference=True),
    "both": Bench(COOL_MM, 60.0, source=True, reference=True),
    "hot ladder": Bench(HOT_MM, 900.0, source=True, reference=False),
}


def _disc(d_mm: float, radius_mm: float = 4.0) -> float:
    """Fluence of a disc on its axis over that of a point: ln(1 + (r/d)²)·(d/r)² (textbook)."""
    x = (radius_mm / d_mm) ** 2
    return math.log1p(x) / x


def simulated(bench: Bench, rng: np.random.Generator, shape: str) -> Problem:
    """Return the problem that one drawn bench poses; the stated dose rate knows the disc."""
    draw = SHAPES[shape]
    scatter = SCATTER.value + SCATTER.u * draw(rng)
    a, r = SOURCE.u * draw(rng), STANDARD.u * draw(rng)
    tau = DEAD_TIME.value + DEAD_TIME.u * draw(rng)
    tau_ref = DEAD_TIME.value + DEAD_TIME.u * draw(rng)
    own_offset, ref_offset = OFFSET.u * draw(rng), OFFSET.u * draw(rng)

    def counted(rate: float, dead: float, seconds: float) -> Counted:
        # hybrid: nine tenths non-paralysable, one tenth paralysable (Lee and Gardner 2000)
        seen = rate * math.exp(-0.1 * dead * rate) / (1.0 + 0.9 * dead * rate)
        return Counted(float(rng.poisson(seen * seconds)), seconds)

    def dose(d_mm: float, offset: float) -> float:
        there = d_mm + offset + PLACING_MM * draw(rng)
        strength = bench.at_60_mm_usv_h * math.exp(a) * 60.0**2
        direct = strength * _disc(there) / there**2
        return direct + scatter * d_mm / 1000.0 * strength / d_mm**2

    levels = []
    for d in bench.distances_mm:
        own = TRUE_CPS * (dose(d, own_offset) + BACKGROUND_USV_H)
        beside = {}
        if bench.reference:
            theirs = REFERENCE_CPS * math.exp(r) * dose(d, ref_offset) + 0.5
            beside["reference"] = counted(theirs, tau_ref, bench.seconds)
        nominal = bench.at_60_mm_usv_h * _disc(d) * (60.0 / d) ** 2
        levels.append(
            Level(
                f"{d:g} mm",
                counted(own, tau, bench.seconds),
                d,
                PLACING_MM,
                "disc",
                nominal,
                beside,
            )
        )
    references = ()
    if bench.reference:
        background = counted(0.5, tau_ref, 1800.0)
        references = (
            Reference("reference", REFERENCE_CPS, background, STANDARD, OFFSET, DEAD_TIME),
        )
    return Problem(
        tuple(levels),
        counted(TRUE_CPS * BACKGROUND_USV_H, tau, 1800.0),
        {"disc": SOURCE if bench.source else Prior(0.0, math.inf)},
        references,
        OFFSET,
        SCATTER,
        DEAD_TIME,
    )


def _without(problem: Problem, what: str) -> Problem:
    """Return the problem with one nuisance held at what it was assumed to be (or at nothing)."""

    def held(p: Prior) -> Prior:
        return replace(p, u=0.0)

    if what == "source":
        return replace(problem, sources={k: held(p) for k, p in problem.sources.items()})
    if what == "reference":
        references = tuple(replace(x, relative=held(x.relative)) for x in problem.references)
        return replace(problem, references=references)
    if what == "effective centre":
        return replace(problem, offset_mm=held(problem.offset_mm))
    if what == "scatter":
        return replace(problem, scatter_per_m=Prior(0.0))
    if what == "dead time":
        return replace(problem, dead_time_s=Prior(0.0))
    if what == "background":
        known = problem.background
        return replace(problem, background=Counted(1.0, known.seconds))
    raise ValueError(what)


@dataclass(frozen=True)
class Score:
    """Bias in per cent with its standard error, coverage, and fits that failed."""

    bias: float
    bias_u: float
    coverage: float
    failed: int


def score(bench: str, shape: str, trials: int, seed: int, left_out: str = "") -> Score:
    """Fit many drawn benches."""
    rng = np.random.default_rng(seed)
    errors, hits, failed = [], 0, 0
    for _ in range(trials):
        problem = simulated(BENCHES[bench], rng, shape)
        if left_out:
            problem = _without(problem, left_out)
        try:
            ln, u = fit(problem).ln_s()
        except UserError:
            failed += 1
            continue
        errors.append(100.0 * (math.exp(ln) / TRUE_CPS - 1.0))
        hits += abs(ln - math.log(TRUE_CPS)) <= 1.959964 * u
    spread = float(np.std(errors, ddof=1)) / math.sqrt(len(errors))
    return Score(float(np.mean(errors)), spread, hits / trials, failed)


def measure(quick: bool) -> list[Row]:
    trials = 150 if quick else 1000
    slack = 0.0 if not quick else 0.04
    rows = []
    cases = [("both", "rectangular")] if quick else [(b, s) for b in BENCHES for s in SHAPES]
    for number, (bench, shape) in enumerate(cases):
        got = score(bench, shape, trials, 100 + number)
        note = f"nuisances drawn {shape}; {trials} calibrations, {got.failed} failed"
        # four standard errors are what a quick run can tell
        bar = 0.3 if not quick else max(0.3, 4.0 * got.bias_u)
        rows.append(
            Row(f"{bench}: bias", "≤ 0.3 %", f"{got.bias:+.2f} ± {got.bias_u:.2f} %",
                abs(got.bias) <= bar, note)
        )  # fmt: skip
        low, high = (0.93, 0.97) if shape == "normal" or quick else (0.93, 1.0)
        wanted = "93–97 %" if high < 1.0 else "at least 93 % (shapes without tails cover more)"
        rows.append(
            Row(f"{bench}: coverage of 95 % intervals", wanted, f"{100 * got.coverage:.1f} %",
                low - slack <= got.coverage <= high + slack, note)
        )  # fmt: skip
    for number, (what, bench) in enumerate(LEFT_OUT.items()):
        got = score(bench, "normal", 60 if quick else 400, 300 + number, what)
        rows.append(
            Row(f"{bench}, {what} left out: coverage fails", "< 93 %",
                f"{100 * got.coverage:.1f} %", got.coverage < 0.93, f"bias {got.bias:+.2f} %")
        )  # fmt: skip
    rows.append(_forms(20 if quick else 200))
    return rows


LEFT_OUT = {
    "source": "source ladder",
    "effective centre": "source ladder",
    "scatter": "source ladder",
    "reference": "reference, source unknown",
    "dead time": "hot ladder",
    "background": "source ladder",
}


def _forms(trials: int) -> Row:
    """How often one factor is called more than one."""
    rng = np.random.default_rng(500)
    wrong = 0
    for _ in range(trials):
        found, _ = choose(simulated(BENCHES["both"], rng, "normal"))
        wrong += found.model != "one factor"
    # of twenty, one is no evidence against two per cent
    return Row("one factor called two or a curve", "≤ 2 %", f"{100 * wrong / trials:.1f} %",
               wrong <= max(1, 0.02 * trials), f"{trials} calibrations")  # fmt: skip
