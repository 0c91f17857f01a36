"""Predictions that a retest can check, the runs that check them, and the pulls afterwards."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from counterproof.counting.planning import split_for_relative, time_to_tell_apart
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.readout import ReadoutModel
from counterproof.records import Measured, Plan, PlannedRun, Predicted
from counterproof.records.outlook import PredictedQuantity
from counterproof.retrofit.display import mean_display
from counterproof.retrofit.draws import Floats, Sample, estimate_of
from counterproof.retrofit.outlook import (
    Ask,
    Candidate,
    SourceAt,
    background_rate,
    net_rate,
)
from counterproof.texts import text

_K95 = 1.959964
LEAST_MINUTES, MOST_MINUTES = 1.0, 1440.0


def predictions(
    sample: Sample,
    c: Candidate,
    today: Candidate | None,
    firmware: ReadoutModel,
    settings: dict[str, float],
    sources: Sequence[SourceAt],
    ask: Ask,
    minutes: dict[str, float] | None = None,
) -> tuple[Predicted, ...]:
    """Predict what runs with a candidate's tube will find.

    Args:
        sample: everything uncertain, evidence included.
        c: the tube plugged in.
        today: today's tube, for gains; ``None`` or ``c`` itself for none.
        firmware: with the settings of the runs.
        settings: those, by name, to be noted.
        sources: at their places.
        ask: retest times come from here where ``minutes`` does not give them.
        minutes: by source key, ``""`` for the background.
    """
    rng = np.random.default_rng(ask.seed + 1)
    background = background_rate(sample, c.name)
    dead = sample[f"{c.name}/dead"]
    given = minutes or {}
    own_minutes = given.get("", ask.retest_minutes)
    seconds_b = 60.0 * own_minutes
    counted_b = rng.poisson(background * seconds_b) / seconds_b

    def noisy(rate: Floats, seconds: float) -> Floats:
        return np.asarray(rate + np.sqrt(rate / seconds) * rng.standard_normal(rate.size))

    def made(
        quantity: PredictedQuantity, source: SourceAt | None, mins: float, unit: str,
        expected: Floats, retest: Floats,
    ) -> Predicted:  # fmt: skip
        where = source.key if source else ""
        what = text(f"retrofit.quantity.{quantity.replace(' ', '_')}")
        at = text("retrofit.background") if source is None else source.name
        said = text("retrofit.predicted", name=c.name, what=what, where=at)
        return Predicted(
            key=":".join(x for x in (c.name, where, quantity) if x),
            quantity=quantity,
            statement=said,
            tube=c.tube.name,
            probe=c.probe.name if c.probe else None,
            sources=(source.name,) if source else (),
            distance_mm=source.distance_mm if source else None,
            settings=settings,
            minutes=mins,
            expected=Measured.of(estimate_of(expected, unit)),
            retest=Measured.of(estimate_of(retest, unit)),
        )

    out = [
        made("background count rate", None, own_minutes, "1/s", background, counted_b),
        made(
            "displayed dose rate", None, own_minutes, "µSv/h",
            mean_display(firmware, background, dead),
            mean_display(firmware, noisy(background, seconds_b), dead),
        ),
    ]  # fmt: skip
    for s in sources:
        mins = given.get(s.key, ask.retest_minutes)
        seconds = 60.0 * mins
        net = net_rate(sample, c.name, s)
        placed = net * np.exp(s.place_u * rng.standard_normal(net.size))
        gross = rng.poisson((placed + background) * seconds) / seconds
        out.append(made("net count rate", s, mins, "1/s", net, gross - counted_b))
        shown = mean_display(firmware, net + background, dead)
        again = mean_display(firmware, noisy(placed + background, seconds), dead)
        out.append(made("displayed dose rate", s, mins, "µSv/h", shown, again))
        if today is not None and today.name != c.name:
            before = net_rate(sample, today.name, s)
            old_b = background_rate(sample, today.name)
            old = (
                rng.poisson(
                    (before * np.exp(s.place_u * rng.standard_normal(net.size)) + old_b) * seconds
                )
                / seconds
                - rng.poisson(old_b * seconds_b) / seconds_b
            )
            ratio = (gross - counted_b) / np.where(old > 0.0, old, np.nan)
            if np.mean(np.isfinite(ratio)) > 0.999:
                ratio = np.where(np.isfinite(ratio), ratio, np.inf)
                out.append(made("gain", s, mins, "", net / before, ratio))
    return tuple(out)


def retest_plan(
    sample: Sample,
    c: Candidate,
    today: Candidate | None,
    sources: Sequence[SourceAt],
    instrument: str,
    power: float = 0.95,
) -> tuple[Plan, dict[str, float]]:
    """Plan the runs that check a candidate's predictions, and the minutes of each by key.

    A run is long enough when counting is half as uncertain as the prediction (so that the pull
    tests the prediction) and when, if today's tube counts otherwise, the difference would be found
    with ``power``. Never less than a minute nor more than a day.
    """
    background = float(np.median(background_rate(sample, c.name)))
    minutes: dict[str, float] = {}
    runs = []
    longest = 0.0
    for s in sources:
        net = net_rate(sample, c.name, s)
        rate = float(np.median(net))
        target = max(0.5 * math.hypot(float(np.std(np.log(net))), s.place_u), 0.01)
        split = split_for_relative(rate + background, background, target)
        seconds, longest = split.gross_s, max(longest, split.background_s)
        why = text("retrofit.plan_precision", percent=f"{100 * target:.0f}")
        if today is not None and today.name != c.name:
            old = float(np.median(net_rate(sample, today.name, s)))
            old_b = float(np.median(background_rate(sample, today.name)))
            try:
                needed = time_to_tell_apart(rate + background, old + old_b, power=power)
            except UserError:
                needed = 0.0
            if needed > seconds:
                seconds, why = needed, text("retrofit.plan_gain", percent=f"{100 * power:.0f}")
        minutes[s.key] = _whole(seconds / 60.0)
        runs.append((s, why))
    minutes[""] = _whole(max(longest / 60.0, 100.0 / background / 60.0))
    planned = [
        PlannedRun(
            instrument=instrument,
            what=text("retrofit.plan_background", name=c.name),
            minutes=minutes[""],
            reason=text("retrofit.plan_background_why"),
        )
    ]
    planned += [
        PlannedRun(
            instrument=instrument,
            what=text("retrofit.plan_source", name=c.name, distance=f"{s.distance_mm:g}"),
            minutes=minutes[s.key],
            sources=(s.name,),
            reason=why,
        )
        for s, why in runs
    ]
    if c.probe is not None and today is not None:
        own = float(np.median(background_rate(sample, today.name)))
        planned.append(
            PlannedRun(
                instrument=instrument,
                what=text("retrofit.plan_switched", name=today.name),
                minutes=_whole(400.0 / own / 60.0),
                reason=text("retrofit.plan_switched_why"),
            )
        )
    plan = Plan(
        trial="retest",
        question=text("retrofit.plan_question", name=c.name),
        runs=tuple(planned),
        total_minutes=sum(r.minutes for r in planned),
        expected=text("retrofit.plan_expected"),
        cautions=(text("trials.caution_sources"),),
    )
    return plan, minutes


def _whole(minutes: float) -> float:
    return float(min(max(math.ceil(minutes), LEAST_MINUTES), MOST_MINUTES))


def pull(predicted: Predicted, measured: Estimate, place_u: float = 0.0) -> float:
    """How far a measurement lies from its prediction, in combined standard uncertainties.

    Both are taken on the logarithm where they are positive (a prediction known to a factor has no
    symmetrical interval), else as they stand. Beyond ±2 one of the two is wrong, or one time in
    twenty.

    Args:
        predicted: from an outlook; its ``expected`` holds what was uncertain beforehand.
        measured: by the retest, counting included.
        place_u: relative standard uncertainty of the position in the retest.
    """
    e = predicted.expected
    if e.value is None or e.low is None or e.high is None:
        return math.nan
    if min(e.value, e.low, measured.value) > 0.0:
        own = math.log(e.high / e.low) / (2.0 * _K95)
        u = math.hypot(own, measured.relative_u, place_u)
        return math.log(measured.value / e.value) / u
    own = (e.high - e.low) / (2.0 * _K95)
    return (measured.value - e.value) / math.hypot(own, measured.u, place_u * e.value)
