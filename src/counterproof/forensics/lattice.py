"""The step of a display, read off the numbers it has shown."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Lattice:
    """The largest step of which all shown numbers are whole multiples, in the display's unit.

    ``coarser`` is a larger step that would do if the numbers had been rounded again when they were
    written down; a boxcar's few counts leave the same picture, so it is a suspicion only.
    """

    step: float
    low: float
    high: float
    distinct: int
    coarser: float | None = None


def printed_step(values: Floats) -> float:
    """Return 10⁻ᵈ for the fewest decimals d that write every value (1e-9 when none do)."""
    for decimals in range(9):
        if np.allclose(values, np.round(values, decimals), rtol=1e-12, atol=1e-12):
            return 10.0**-decimals
    return 1e-9


def find_step(values: Floats, share: float = 0.995) -> Lattice | None:
    """Find the display's step from its lattice.

    The smallest difference between shown numbers, or a whole fraction of it, is a candidate; the
    largest candidate of which ``share`` of the values are multiples (to the printed digits) wins.

    Args:
        values: displayed numbers, shape (n,).
        share: fraction that must lie on the lattice (misread numbers may not).

    Returns:
        The lattice, or ``None`` when fewer than three different numbers were shown or no step
        coarser than the printed digits explains them.
    """
    shown = np.unique(np.round(values, 9))
    if shown.size < 3:
        return None
    printed = printed_step(values)
    if printed > 2e-9:
        whole = _whole_step(values, printed, share)
        spread = 0.5 * printed / max(float(np.abs(shown).max()) / (whole * printed), 1.0)
        step = whole * printed
        coarser = _rewritten_step(values, shown, printed, share) if whole == 1 else None
        return Lattice(step, step - spread, step + spread, int(shown.size), coarser)
    tolerance = 0.75 * printed
    for step in _fractions(shown, 1e4 * printed):
        off = np.abs(values - step * np.round(values / step))
        if np.mean(off <= tolerance) >= share:
            spread = printed / max(float(np.abs(shown).max() / step), 1.0) / 2.0
            return Lattice(step, step - spread, step + spread, int(shown.size))
    return None


def _whole_step(values: Floats, printed: float, share: float) -> int:
    """Return the largest whole number of printed steps of which the values are multiples."""
    n = np.round(values / printed).astype(np.int64)
    gaps = np.unique(np.diff(np.unique(n)))[:6].tolist()
    divisors = {gap // part for gap in gaps for part in range(1, 4000) if gap % part == 0}
    for whole in sorted(divisors, reverse=True):
        if np.mean(n % whole == 0) >= share:
            return int(whole)
    return 1


def _rewritten_step(values: Floats, shown: Floats, printed: float, share: float) -> float | None:
    """Return a larger step that fits to within the printed digits, if there is one."""
    for step in _fractions(shown, 4.0 * printed):
        off = np.abs(values - step * np.round(values / step))
        if np.mean(off <= min(0.75 * printed, 0.1 * step)) >= share:
            return step
    return None


def _fractions(shown: Floats, smallest: float) -> Iterator[float]:
    """Yield the smallest difference between shown numbers and its whole fractions, refined."""
    gaps = np.diff(shown)
    usual = np.quantile(gaps, 0.02) if gaps.size > 200 else gaps.min()
    for base in sorted({float(usual), float(gaps.min())}, reverse=True):
        for parts in range(1, 400):
            if base / parts < smallest:
                break
            yield _polished(shown, base / parts)


def _polished(shown: Floats, step: float) -> float:
    """Refine a rough step by letting ever larger numbers of the lattice speak."""
    for top in np.geomspace(max(8.0 * step, shown[0]), shown[-1] * 1.001 + step, 16):
        part = shown[np.abs(shown) <= top]
        n = np.round(part / step)
        off = np.abs(part - step * n)
        good = off <= 3.0 * np.median(off) + 1e-12  # a misread number must not pull
        n, part = n[good], part[good]
        weight = float((n * n).sum())
        if weight > 0:
            step = float((n * part).sum() / weight)
    return step
