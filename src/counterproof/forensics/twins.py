"""Are two boxes one design under two names? Compare their readouts and their tubes' responses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import from_interval, in_words
from counterproof.quantities import Estimate
from counterproof.records import Finding, NextMeasurement, Rival
from counterproof.texts import text

POSITIONS = 0.02
TOLERANCE = 0.03
"""Share by which factors of one design may differ from unit to unit (trimmed or not)."""


@dataclass(frozen=True)
class Likeness:
    """One property of two boxes.

    Args:
        name: what is compared.
        same: whether both intervals, widened by the tolerance, overlap.
        log10_bayes_factor: for sameness; negative against it.
        first: the first box's value in words.
        second: the second's.
    """

    name: str
    same: bool
    log10_bayes_factor: float
    first: str
    second: str


def likenesses(first: ReadoutFit, second: ReadoutFit) -> list[Likeness]:
    """Compare two firmwares property by property; what either lacks is left out."""
    found = []
    if first.factors and second.factors:
        n1, n2 = len(first.factors), len(second.factors)
        found.append(_words("number of factors", str(n1), str(n2)))
        if n1 == n2:
            for i, (a, b) in enumerate(zip(first.factors, second.factors, strict=True)):
                found.append(_numbers(f"factor {i + 1}", a, b, TOLERANCE))
    if first.switch is not None and second.switch is not None:
        found.append(_numbers("switch", first.switch, second.switch, TOLERANCE))
    known = "undetermined"
    if first.kind != known and second.kind != known:
        found.append(_words("estimator", first.kind, second.kind))
        if first.kind == second.kind and first.time_constant and second.time_constant:
            pair = (first.time_constant, second.time_constant)
            found.append(_numbers("window", *pair, TOLERANCE))
    if first.quantum and second.quantum:
        found.append(_numbers("step of the display", first.quantum, second.quantum, 0.0))
    if first.refresh and second.refresh:
        a, b = (
            Estimate(r.period_s, (r.high_s - r.low_s) / 3.92, r.low_s, r.high_s, unit="s")
            for r in (first.refresh, second.refresh)
        )
        found.append(_numbers("refresh", a, b, 0.01))
    return found


def _words(name: str, first: str, second: str) -> Likeness:
    same = first == second
    return Likeness(name, same, 0.3 if same else -2.0, first, second)


def _numbers(name: str, a: Estimate, b: Estimate, tolerance: float) -> Likeness:
    """Compare two numbers on a logarithmic scale, unit-to-unit spread allowed for.

    Two designs would differ by a factor of about two; so near a coincidence is worth as much as
    the ratio of that spread to the uncertainty.
    """
    widths = [(np.log(e.high) - np.log(max(e.low, 1e-9))) / 3.92 for e in (a, b)]
    u = float(np.sqrt(widths[0] ** 2 + widths[1] ** 2 + 2.0 * (tolerance / 2.0) ** 2)) + 1e-3
    off = abs(float(np.log(a.value / b.value))) / u
    against = from_interval(off, np.log(2.0) / u)
    return Likeness(name, off < 3.0, -against, shown(a), shown(b))


@dataclass(frozen=True)
class TubeLikeness:
    """Quotients of two counters over sources: constant for one design of tube.

    Args:
        chi2: of the quotients about their weighted mean.
        dof: one less than the number of sources.
        low: smallest quotient.
        high: largest quotient.
        p_value: probability of so large a spread by chance.
    """

    chi2: float
    dof: int
    low: float
    high: float
    p_value: float

    @property
    def same(self) -> bool:
        """Whether chance explains the spread (at 0.1 %)."""
        return self.p_value > 0.001


def tube_likeness(quotients: Sequence[Estimate]) -> TubeLikeness | None:
    """Test whether quotients of net count rates are one constant; ``None`` for fewer than two.

    A spread of 2 % for positions is allowed for beside the counting (common practice, no source).
    A source that one of the two hardly sees counts like any other.
    """
    from scipy.special import gammaincc

    good = [q for q in quotients if np.isfinite(q.value) and np.isfinite(q.u) and q.u > 0]
    if len(good) < 2:
        return None
    y, u = np.array([q.value for q in good]), np.array([q.u for q in good])
    mean = float(np.median(y))
    w = 1.0 / u**2
    for _ in range(20):  # the allowance is a share of the common value
        w = 1.0 / (u**2 + (POSITIONS * mean) ** 2)
        mean = float((w * y).sum() / w.sum())
    value, dof = float((w * (y - mean) ** 2).sum()), len(good) - 1
    p = float(gammaincc(dof / 2.0, value / 2.0))
    return TubeLikeness(value, dof, float(y.min()), float(y.max()), p)


def twins(
    names: tuple[str, str],
    fits: tuple[ReadoutFit | None, ReadoutFit | None],
    quotients: Sequence[Estimate] = (),
    runs: tuple[str, ...] = (),
) -> Finding:
    """Decide whether two instruments share readout and tube response, as far as was tested.

    Args:
        names: the two instruments.
        fits: their inferred firmwares, ``None`` where none could be had.
        quotients: net count rate of the first over the second, one per source.
        runs: ids of the runs behind it.
    """
    first, second = names
    missing = []
    compared: list[Likeness] = []
    for name, fit in zip(names, fits, strict=True):
        if fit is None or not fit.factors:
            missing.append(text("findings.twins_no_readout", name=name))
    if fits[0] is not None and fits[1] is not None and not missing:
        compared = likenesses(fits[0], fits[1])
    tube = tube_likeness(quotients)
    if tube is None:
        missing.append(text("findings.twins_no_sources"))
    differing = [c for c in compared if not c.same]
    said = []
    if differing:
        words = "; ".join(f"{c.name} {c.first} / {c.second}" for c in differing)
        said.append(text("findings.twins_differ", first=first, second=second, differences=words))
    elif compared:
        words = ", ".join(c.name for c in compared)
        said.append(text("findings.twins_same", first=first, second=second, shared=words))
    if tube is not None:
        key = "findings.twins_tube_same" if tube.same else "findings.twins_tube_differ"
        said.append(
            text(
                key,
                n=tube.dof + 1,
                chi2=f"{tube.chi2:.1f}",
                dof=tube.dof,
                low=f"{tube.low:.2f}",
                high=f"{tube.high:.2f}",
            )
        )
    said += [text("findings.twins_untested", what=m) for m in missing if not said]
    total = sum(c.log10_bayes_factor for c in compared)
    strength = abs(total) if compared else 0.0
    return Finding(
        id=f"{first} and {second} twins".replace(" ", "-"),
        instrument=first,
        subject=text("findings.twins_subject"),
        statement=" ".join(said),
        runs=runs,
        strength=in_words(strength),
        log10_bayes_factor=strength if compared else None,
        rivals=(Rival(statement=text("findings.twins_rival")),),
        refuted_by=text("findings.twins_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.twins_next"),
            minutes=30.0,
            separates=text("findings.twins_separates"),
        ),
        missing=tuple(missing),
    )
