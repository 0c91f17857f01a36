"""Rows of a calibration record: bands, levels, nuisances and validity, from a fit."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

import numpy as np

from counterproof.calibration.budget import budget
from counterproof.calibration.evidence import Gathered
from counterproof.calibration.fit import Fit
from counterproof.calibration.problem import Counted
from counterproof.counting.poisson import rate_limits
from counterproof.quantities import Estimate, coverage_factor
from counterproof.records import Measured
from counterproof.records.calibration import Band, CalibrationLevel, Quantity, Validity
from counterproof.texts import text
from counterproof.trials.shape import Evidence

DOSE_RATE = "µSv/h"


def log_normal(ln: float, u: float, unit: str, counts: float, k: float = 1.959964) -> Estimate:
    """Return the estimate of a quantity whose logarithm is normal, with ``k`` for its interval."""
    value = math.exp(ln)
    low, high = value * math.exp(-k * u), value * math.exp(k * u)
    return Estimate(value, value * u, low, high, 0.95, unit, counts, text("calibration.laplace"))


def bands_of(main: Gathered, found: Fit, counts_fit: Fit | None, absolute: bool) -> list[Band]:
    """Return the factor of each stretch of the scale with its budget."""
    two = found.model == "two factors"
    bands = []
    rates = [level.seen.rate for level in found.problem.levels]
    total = sum(level.seen.counts for level in found.problem.levels)
    for number in range(2 if two else 1):
        inside = [r for r in rates if band_of(found, r) == number]
        if two and not number:
            inside.append(found.problem.background.rate)
        weights = found.weights(number)
        ln, u = found.ln_s(number)
        table = budget(found, weights)
        display = main.signal == "display"
        sensitivity = None
        if counts_fit is not None and absolute:
            s_ln, s_u = counts_fit.ln_s(0)
            sensitivity = log_normal(s_ln + math.log(60.0), s_u, "cpm/(µSv/h)", total)
        name = ("above the switch" if number else "below the switch") if two else "everywhere"
        bands.append(
            Band(
                name=name,
                low=min(inside, default=None) if display else None,
                high=max(inside, default=None) if display else None,
                response=Measured.of(log_normal(ln, u, "", total, table.k)) if display else None,
                factor=Measured.of(log_normal(-ln, u, "", total, table.k)) if display else None,
                sensitivity=Measured.of(sensitivity) if sensitivity else None,
                budget=table.rows,
                expanded_percent=table.expanded_percent,
                coverage_factor=table.k,
                dof=table.dof,
            )
        )
    return bands


def band_of(found: Fit, rate: float) -> int:
    """Return 1 for a signal above the switch of two factors, else 0."""
    return int(found.model == "two factors" and rate >= found.switch)


def levels_of(main: Gathered, found: Fit) -> list[CalibrationLevel]:
    """Return what was true and shown at each level, the background last."""
    rows = []
    display = main.signal == "display"
    k = coverage_factor(0.95)
    for i, level in enumerate(found.problem.levels):
        ln, _ = found.ln_s(band_of(found, level.seen.rate), float(found.x_usv_h[i]))
        expected = float(np.exp(ln) * found.x_usv_h[i])
        ratio = level.seen.rate / with_loss(found, expected, level.seen)
        u_own = 1.0 / math.sqrt(max(level.seen.counts, 1.0))
        net, net_u = float(found.net_usv_h[i]), float(found.net_u_rel[i])
        true = Estimate(net, net * net_u, net * (1 - k * net_u), net * (1 + k * net_u), 0.95,
                        DOSE_RATE, None, text("calibration.from_fit"))  # fmt: skip
        raw = ln + math.log(max(ratio, 1e-6))
        rows.append(
            CalibrationLevel(
                label=level.label,
                runs=level.runs,
                distance_mm=level.distance_mm,
                true=Measured.of(true),
                shown=Measured.of(_seen(level.seen, main.problem.unit)),
                response=Measured.of(log_normal(raw, u_own, "", level.seen.counts))
                if display
                else None,
                factor=Measured.of(log_normal(-raw, u_own, "", level.seen.counts))
                if display
                else None,
                residual=float(found.residuals[i]),
            )
        )
    rows.append(_background_row(main, found))
    return rows


def with_loss(found: Fit, rate: float, seen: Counted) -> float:
    """Return a rate of the signal as dead time leaves it."""
    tau = next(
        float(found.parameters[found.factors + i])
        for i, n in enumerate(found.nuisances)
        if n.name == "dead time"
    )
    return rate / (1.0 + rate * seen.cps_per_unit * tau)


def _seen(c: Counted, unit: str) -> Estimate:
    low, high = rate_limits(c.counts, c.seconds)
    u = math.sqrt(max(c.counts, 1.0)) / c.seconds
    return Estimate(c.rate, u, float(low), float(high), 0.95, unit, c.counts)


def _background_row(main: Gathered, found: Fit) -> CalibrationLevel:
    shown = _seen(found.problem.background, main.problem.unit)
    there = main.background_usv_h
    response = None
    if there is not None and main.signal == "display" and there.estimate.value > 0:
        u = math.hypot(shown.relative_u, there.estimate.relative_u)
        counts = found.problem.background.counts
        response = log_normal(math.log(shown.value / there.estimate.value), u, "", counts)
    return CalibrationLevel(
        label=text("calibration.background"),
        true=Measured.of(there.estimate) if there is not None else None,
        shown=Measured.of(shown),
        response=Measured.of(response) if response else None,
        factor=None,
    )


def nuisances_of(found: Fit) -> list[Quantity]:
    """Return what was assumed of each nuisance and what the data made of it."""
    rows = []
    for i, n in enumerate(found.nuisances):
        at = found.factors + i
        if n.group in ("", "distance") or not n.prior.u > 0:
            continue
        dose = n.name == "background"
        value = float(found.parameters[at])
        u = math.sqrt(float(found.covariance[at, at]))
        if dose:
            value, u = math.exp(value), math.exp(value) * u
        units = {"offset": "mm", "scatter": "1/m", "dead time": "s", "background": DOSE_RATE}
        rows.append(
            Quantity(
                name=n.name,
                unit=units.get(n.group, ""),
                assumed=n.prior.value,
                assumed_u=n.prior.u,
                found=value,
                found_u=u,
            )
        )
    return rows


def validity_of(
    main: Gathered, found: Fit, used: Sequence[Evidence], last: dt.date, geometry: str
) -> Validity:
    """Return what the calibration holds for."""
    distances = {x.distance_mm for x in found.problem.levels if x.distance_mm is not None}
    places = dict.fromkeys(e.run.position.place for e in used if e.run.position.place)
    return Validity(
        nuclides=main.nuclides,
        low_usv_h=float(found.net_usv_h.min()) if main.links else None,
        high_usv_h=float(found.net_usv_h.max()) if main.links else None,
        distances_mm=tuple(sorted(distances)),
        geometry=geometry or text("calibration.geometry"),
        place="; ".join(places),
        dated=last,
    )
