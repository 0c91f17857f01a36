"""Firmware inference over simulated boxes: seeds 41000…, fixed before anything was tuned on them.

Every box draws its firmware at random: one or two factors of 60–400 cpm per µSv/h with a ratio of
0.5–2, a switch at 0.3–3 µSv/h, a boxcar of 5–60 s or an exponential of 3–30 s, a display step of
0.001–0.1 µSv/h and a refresh of 1–5 s. One hour of clicks and readings over five levels around the
switch is handed to the inference, with the clock of the readings off by up to 2 s.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

from acceptance import Row
from counterproof.forensics import PairedRun, ReadoutFit, fit_readout
from counterproof.readout import Boxcar, Exponential, ReadoutModel, run_readout

TITLE = "Firmware inferred from an hour of clicks and readings"
FIRST_SEED = 41_000
BOXES = 200
ONES, TWOS = 70, 90
"""Further boxes with one factor, and with two that differ by 21 %."""
HOUR = 3600.0


def random_box(seed: int, two: bool | None = None, ratio: float | None = None) -> ReadoutModel:
    """Draw a firmware."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    low, drawn_ratio, switch = between(60, 400), between(0.5, 2), between(0.3, 3)
    high = low * ratio if ratio else float(np.clip(low * drawn_ratio, 60, 400))
    boxcar, drawn_two = rng.random() < 0.5, rng.random() < 0.5
    memory = between(5, 60) if boxcar else between(3, 30)
    fine = between(0.001, 0.1)
    usual = float(rng.choice([0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1]))
    refresh = float(rng.uniform(1, 5)) if rng.random() < 0.5 else float(rng.integers(1, 6))
    is_two = drawn_two if two is None else two
    return ReadoutModel(
        estimator=Boxcar(memory) if boxcar else Exponential(memory),
        factors_cpm_per_usv_h=(low, high) if is_two else (low,),
        switches_cpm=(low * switch,) if is_two else (),
        quantum_usv_h=usual if rng.random() < 0.5 else fine,
        refresh_s=refresh,
        refresh_phase_s=float(rng.uniform(0, refresh)),
    )


def an_hour(model: ReadoutModel, seed: int, lost: float = 0.0) -> PairedRun:
    """Return an hour of clicks and readings over five levels, as two plain files would hold it."""
    rng = np.random.default_rng([seed, 1])
    switch = model.switches_usv_h[0] if model.switches_usv_h else float(rng.uniform(0.3, 3))
    levels = switch * np.array([0.25, 0.6, 1.0, 1.6, 4.0]) * np.exp(rng.normal(0, 0.1, 5))
    rng.shuffle(levels)
    part = HOUR / levels.size
    pulses = np.concatenate(
        [
            np.sort(rng.uniform(i * part, (i + 1) * part, rng.poisson(rate * part)))
            for i, rate in enumerate(levels * model.factors_cpm_per_usv_h[0] / 60.0)
        ]
    )
    shown = run_readout(model, pulses, HOUR)
    clicks = pulses[rng.random(pulses.size) >= lost]
    return PairedRun(
        np.round(clicks, 6),
        HOUR,
        np.round(shown.times_s + rng.uniform(-2, 2), 3),
        np.round(shown.momentary, 9),
    )


@dataclass
class Tally:
    """What was counted over the boxes."""

    factor_errors: list[float] = field(default_factory=list)
    switch_errors: list[float] = field(default_factory=list)
    switch_honest: list[bool] = field(default_factory=list)
    memory_errors: list[float] = field(default_factory=list)
    kinds: list[bool] = field(default_factory=list)
    covered: dict[str, list[bool]] = field(
        default_factory=lambda: {"factors": [], "switches": [], "time constants": []}
    )
    seconds: list[float] = field(default_factory=list)
    called_two: list[bool] = field(default_factory=list)
    found_two: list[bool] = field(default_factory=list)

    def enter(self, model: ReadoutModel, fit: ReadoutFit) -> None:
        """Compare one answer with the truth."""
        truth = model.factors_cpm_per_usv_h
        is_boxcar = isinstance(model.estimator, Boxcar)
        right_kind = fit.kind == ("boxcar" if is_boxcar else "exponential")
        self.kinds.append(right_kind)
        if len(truth) == 1:
            self.called_two.append(len(fit.factors) == 2)
        elif not 1 / 1.2 < truth[1] / truth[0] < 1.2:
            self.found_two.append(len(fit.factors) == 2)
        if right_kind and fit.time_constant is not None:
            e = model.estimator
            memory = e.window_s if isinstance(e, Boxcar) else e.tau_s  # type: ignore[union-attr]
            self.memory_errors.append(abs(fit.time_constant.value / memory - 1))
            self._cover("time constants", fit.time_constant.low, memory, fit.time_constant.high)
        else:
            self.memory_errors.append(np.inf)
        if len(truth) == len(fit.factors):
            for estimate, value in zip(fit.factors, truth, strict=True):
                self.factor_errors.append(abs(estimate.value / value - 1))
                self._cover("factors", estimate.low, value, estimate.high)
        else:
            self.factor_errors += [np.inf] * len(truth)
        if len(truth) == 2 and fit.switch is not None:
            value = model.switches_usv_h[0]
            error = abs(fit.switch.value / value - 1)
            self.switch_errors.append(error)
            self._cover("switches", fit.switch.low, value, fit.switch.high)
            wide = fit.switch.high / fit.switch.low > 1.05
            self.switch_honest.append(error <= 0.05 or wide)

    def _cover(self, name: str, low: float, value: float, high: float) -> None:
        self.covered[name].append(low <= value <= high)


def measure(quick: bool) -> list[Row]:
    """Fit simulated boxes and compare with their truth."""
    tally = Tally()
    boxes = range(FIRST_SEED, FIRST_SEED + (3 if quick else BOXES))
    for seed in boxes:
        model = random_box(seed)
        run = an_hour(model, seed)
        start = time.process_time()
        fit = fit_readout([run])
        tally.seconds.append(time.process_time() - start)
        tally.enter(model, fit)
    more = Tally(covered=tally.covered)
    for seed in range(FIRST_SEED + 1000, FIRST_SEED + 1000 + (1 if quick else ONES)):
        model = random_box(seed, two=False)
        more.enter(model, fit_readout([an_hour(model, seed)]))
    for seed in range(FIRST_SEED + 2000, FIRST_SEED + 2000 + (1 if quick else TWOS)):
        model = random_box(seed, two=True, ratio=1.21 if seed % 2 else 1 / 1.21)
        more.enter(model, fit_readout([an_hour(model, seed)]))
    return _rows(tally, more, quick)


def _rows(tally: Tally, more: Tally, quick: bool) -> list[Row]:
    """Set the figures against the bars."""
    errors = np.array(tally.factor_errors)
    covered = [hit for hits in tally.covered.values() for hit in hits]
    share = float(np.mean(covered))
    kinds = float(np.mean(tally.kinds))
    memory = np.array(tally.memory_errors)
    called = more.called_two + tally.called_two
    slowest = max(tally.seconds)
    rows = [
        Row(
            "factors within 3 %",
            "median error ≤ 3 %",
            f"median {100 * np.median(errors):.3f} %, 95th percentile "
            f"{100 * np.quantile(errors, 0.95):.2g} %",
            bool(np.median(errors) <= 0.03),
            f"{errors.size} factors of {len(tally.kinds)} boxes",
        ),
        Row(
            "time constant within 10 %",
            "median, and ≥ 90 % of boxes",
            f"median {100 * np.median(memory):.3f} %, within 10 % in "
            f"{100 * np.mean(memory <= 0.1):.1f} %",
            bool(np.median(memory) <= 0.1 and np.mean(memory <= 0.1) >= 0.9),
        ),
        Row(
            "kind of estimator right",
            "≥ 90 %",
            f"{100 * kinds:.1f} % of {len(tally.kinds)}",
            kinds >= 0.9,
        ),
        Row(
            "one factor called two",
            "≤ 1 %",
            f"{sum(called)} of {len(called)}",
            bool(np.mean(called) <= 0.01),
        ),
        Row(
            "an hour's fit",
            "< 10 s",
            f"mean {np.mean(tally.seconds):.1f} s, slowest {slowest:.1f} s (processor time)",
            slowest < 10.0,
        ),
    ]
    found = more.found_two + tally.found_two
    rows.append(
        Row(
            "two factors that differ by 20 % or more found",
            "≥ 95 %",
            f"{sum(found)} of {len(found)}",
            not found or bool(np.mean(found) >= 0.95),
            "90 of them differ by 21 %, up or down",
        )
    )
    if tally.switch_errors:
        within = float(np.mean(np.array(tally.switch_errors) <= 0.05))
        rows.append(
            Row(
                "switch within 5 %, else a wide interval",
                "≥ 85 %, the rest say so",
                f"{100 * within:.1f} % of {len(tally.switch_errors)}; "
                f"{100 * np.mean(tally.switch_honest):.0f} % within or wide",
                within >= 0.85 and all(tally.switch_honest),
            )
        )
    if not quick:
        each = ", ".join(
            f"{name} {100 * np.mean(v):.1f} % of {len(v)}" for name, v in tally.covered.items()
        )
        rows.append(
            Row(
                "95 % intervals cover",
                "93–97 %",
                f"{100 * share:.1f} % of {len(covered)} ({each})",
                0.93 <= share <= 0.97,
            )
        )
    return rows
