"""The GUM budget of a fitted factor: what each thing that is not exactly known contributes.

The covariance of the fit splits exactly into contributions of the observations (type A) and of the
priors (type of the knowledge behind them), so the table's root sum of squares is the factor's
uncertainty. Degrees of freedom of n counts: 2·n, from the relative uncertainty 1/(2·√n) of √n
(GUM, JCGM 100:2008, equation G.3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from counterproof.calibration.fit import Fit, Floats, Nuisance
from counterproof.quantities import coverage_factor
from counterproof.quantities.budget import Budget, Component
from counterproof.records.calibration import BudgetRow
from counterproof.texts import text

LEAST_PERCENT = 0.01  # a line below a hundredth of a per cent only lengthens the table
UNITS = {
    "offset": ("mm", 1.0),
    "scatter": ("1/m", 1.0),
    "dead time": ("µs", 1e6),
    "distance": ("mm", 1.0),
}
"""Unit of an input by group, and how many of it make one of the fit's; all others are relative."""


@dataclass(frozen=True)
class Combined:
    """Rows with their combination: standard uncertainty, k, expanded uncertainty and dof."""

    rows: tuple[BudgetRow, ...]
    u_percent: float
    k: float
    expanded_percent: float
    dof: float


def budget(found: Fit, weights: Floats, coverage: float = 0.95) -> Combined:
    """Return the budget of ln S = weights·(the factor's parameters).

    Args:
        found: the fit.
        weights: as :meth:`counterproof.calibration.fit.Fit.weights` gives them.
        coverage: of the expanded uncertainty.
    """
    share = weights @ found.parts[: found.factors]
    n_obs = len(found.observed)
    rows = [*_counted(found, share[:n_obs]), *_assumed(found, share[n_obs:])]
    rows = [r for r in rows if r.contribution_percent >= LEAST_PERCENT]
    rows.sort(key=lambda r: -r.contribution_percent)
    lines = tuple(
        Component(
            r.name,
            u=r.contribution_percent,
            kind=r.evaluation,
            dof=math.inf if r.dof is None else r.dof,
        )
        for r in rows
    )
    dof = Budget(100.0, lines).dof
    u = 100.0 * math.sqrt(float(share @ share))
    k = coverage_factor(coverage, dof)
    return Combined(tuple(rows), u, k, k * u, dof)


def _counted(found: Fit, share: Floats) -> list[BudgetRow]:
    rows = []
    for group in dict.fromkeys(found.observed):
        here = [i for i, g in enumerate(found.observed) if g == group]
        if group == "readings":
            rows.append(_read(100.0 * float(np.linalg.norm(share[here]))))
            continue
        total = sum(found.counts[i] for i in here)
        rows.append(
            BudgetRow(
                name=text(f"calibration.group.{group.replace(' ', '_')}"),
                evaluation="A",
                distribution="Poisson",
                u=math.sqrt(total),
                unit=text("calibration.unit_counts"),
                contribution_percent=100.0 * float(np.linalg.norm(share[here])),
                dof=max(2.0 * total, 1.0),
                source=text("calibration.from_counts", counts=f"{total:.0f}"),
            )
        )
    return rows


def _read(percent: float) -> BudgetRow:
    """The row of the display's factor, read from counts and readings of the same runs."""
    return BudgetRow(
        name=text("calibration.group.readings"),
        evaluation="A",
        distribution="normal",
        u=percent,
        unit="%",
        contribution_percent=percent,
        source=text("calibration.from_readings"),
    )


def _assumed(found: Fit, share: Floats) -> list[BudgetRow]:
    """One row per nuisance; places of one kind, which are alike, in one row."""
    after = share[found.factors :]
    by_group: dict[str, list[int]] = {}
    for i, nuisance in enumerate(found.nuisances):
        alone = nuisance.group not in ("distance",)
        key = nuisance.name if alone else nuisance.group
        by_group.setdefault(key, []).append(i)
    rows = []
    for key, members in by_group.items():
        first = found.nuisances[members[0]]
        part = float(np.linalg.norm(after[members]))
        if not first.group or not math.isfinite(first.prior.u) or part == 0.0:
            continue
        widest = max(found.nuisances[i].prior.u for i in members)
        single = len(members) == 1
        rows.append(
            BudgetRow(
                name=_called(key, first),
                evaluation=first.prior.kind,
                distribution=first.prior.distribution,
                u=widest * UNITS.get(first.group, ("%", 100.0))[1],
                unit=UNITS.get(first.group, ("%", 100.0))[0],
                sensitivity=_per_unit(first, float(after[members[0]])) if single else None,
                contribution_percent=100.0 * part,
                dof=None if math.isinf(first.prior.dof) else first.prior.dof,
                source=first.prior.source,
            )
        )
    return rows


def _per_unit(nuisance: Nuisance, share: float) -> float:
    """Change of the factor in per cent per unit (or per per cent) of the nuisance."""
    scale = UNITS.get(nuisance.group, ("%", 100.0))[1]
    return 100.0 * share / nuisance.prior.u / scale


def _called(key: str, nuisance: Nuisance) -> str:
    whose = key.removeprefix(nuisance.group).strip() or text("calibration.own")
    return text(f"calibration.group.{nuisance.group.replace(' ', '_')}", whose=whose)
