"""Decision thresholds, detection limits and coverage intervals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from counterproof.counting import currie, iso11929
from counterproof.errors import UserError

# L. A. Currie, Anal. Chem. 40 (1968) 586, formulas with k = 1.64485; numbers computed independently
CURRIE = [
    (currie.paired(5), 5.201, 13.109, 109.16),
    (currie.paired(40), 14.712, 32.130, 152.47),
    (currie.paired(100), 23.262, 49.229, 200.00),
    (currie.known_blank(40), 10.403, 23.511, 130.62),
]


@pytest.mark.parametrize("got, critical, detection, determination", CURRIE)
def test_currie(
    got: currie.CurrieLimits, critical: float, detection: float, determination: float
) -> None:
    assert got.critical == pytest.approx(critical, abs=6e-4)
    assert got.detection == pytest.approx(detection, abs=6e-4)
    assert got.determination == pytest.approx(determination, abs=6e-3)


def test_currie_with_unequal_times() -> None:
    # 108 blank counts in 6000 s, sample 3000 s; same formulas, computed independently
    got = currie.unequal_times(108, 6000, 3000)
    assert got.critical == pytest.approx(14.804, abs=6e-4)
    assert got.detection == pytest.approx(32.313, abs=6e-4)


# ISO 11929-1, α = β = γ = 5 %, y = w(r_g - r_0). Formulas from memory; numbers computed
# independently: n_g, t_g, n_0, t_0, w, u_rel(w) | y, u, y*, y#, low, high, best, u(best)
ISO = [
    (
        (2591, 360, 41782, 7200, 1, 0),
        (1.39417, 0.144216, 0.213993, 0.435501, 1.11151, 1.67682, 1.39417, 0.144216),
    ),
    (
        (120, 600, 600, 3600, 1, 0),
        (0.033333, 0.0194841, 0.0296107, 0.0637307, 0.0042066, 0.0718913, 0.0352143, 0.0177029),
    ),
    (
        (30, 60, 25, 60, 1, 0),
        (0.083333, 0.123603, 0.193848, 0.432788, 0.0071535, 0.340469, 0.135721, 0.0903752),
    ),
    (
        (30, 60, 25, 60, 1 / 3, 0.10),
        (0.0277778, 0.0412946, 0.064616, 0.148274, 0.0023861, 0.113695, 0.0453093, 0.0301812),
    ),
]


@pytest.mark.parametrize("given_, wanted", ISO)
def test_iso_11929_to_all_digits(given_: tuple[float, ...], wanted: tuple[float, ...]) -> None:
    n_g, t_g, n_0, t_0, w, u_rel = given_
    got = iso11929.characteristics(
        iso11929.counted(n_g, t_g), iso11929.counted(n_0, t_0), factor=w, factor_u_rel=u_rel
    )
    values = (
        got.primary.value,
        got.primary.u,
        got.decision_threshold,
        got.detection_limit,
        got.best.low,
        got.best.high,
        got.best.value,
        got.best.u,
    )
    for value, want in zip(values, wanted, strict=True):
        digits = len(f"{want}".replace("0.", "").lstrip("0").replace(".", ""))
        half = 0.51 * 10 ** (np.floor(np.log10(want)) - digits + 1)
        assert value == pytest.approx(want, abs=half)


counts = st.integers(0, 5000)
times = st.floats(1, 1e4)


@given(counts, times, counts, times, st.floats(0, 0.3))
def test_iso_limits_are_ordered(n_g: int, t_g: float, n_0: int, t_0: float, u_rel: float) -> None:
    got = (
        iso11929.characteristics(
            iso11929.counted(n_g, t_g), iso11929.counted(n_0, t_0), factor_u_rel=u_rel
        )
        if n_g / t_g > n_0 / t_0 - 5 * np.sqrt(n_g / t_g**2 + n_0 / t_0**2)
        else None
    )
    if got is None:
        return
    assert 0 < got.decision_threshold < got.detection_limit
    assert 0 <= got.best.low <= got.best.value <= got.best.high
    assert got.best.u <= got.primary.u * (1 + 1e-9)
    shortest = got.shortest[1] - got.shortest[0]
    assert shortest <= (got.best.high - got.best.low) * (1 + 1e-9)
    # the detection limit solves its own implicit equation
    r = got.detection_limit + n_0 / t_0
    spread = np.sqrt(
        max(r / t_g, 1 / t_g**2) + max(n_0, 1) / t_0**2 + (got.detection_limit * u_rel) ** 2
    )
    assert got.detection_limit == pytest.approx(
        got.decision_threshold + 1.6448536269514722 * spread, rel=1e-9
    )


def test_far_above_the_threshold_nothing_is_cut_off() -> None:
    got = iso11929.characteristics(iso11929.counted(10_000, 10), iso11929.counted(100, 10))
    assert got.best.value == pytest.approx(got.primary.value)
    assert (got.best.low, got.best.high) == pytest.approx((got.primary.low, got.primary.high))
    assert got.shortest == pytest.approx((got.primary.low, got.primary.high))
    assert got.detected


def test_a_factor_too_uncertain_has_no_detection_limit() -> None:
    got = iso11929.characteristics(
        iso11929.counted(30, 60), iso11929.counted(25, 60), factor_u_rel=0.7
    )
    assert got.detection_limit == np.inf


def test_other_definitions_of_gross_and_blank() -> None:
    counted = iso11929.counted(400, 100)
    assert iso11929.preset_count(400, 100).variance == pytest.approx(counted.variance)
    # a rate meter is worth a count over twice its time constant
    assert iso11929.ratemeter(4.0, 50.0).variance == pytest.approx(counted.variance)
    four = iso11929.repeated(np.array([90.0, 110.0, 95.0, 105.0]), 25.0, 0.0)
    assert four.rate_per_s == counted.rate_per_s
    assert four.variance == pytest.approx(counted.variance)
    shaken = iso11929.repeated(np.array([90.0, 110.0, 95.0, 105.0]), 25.0, 0.2)
    assert shaken.variance == pytest.approx(counted.variance + (0.2 * 4.0) ** 2 / 4)
    sure = iso11929.characteristics(counted, iso11929.known(3.0))
    # with a known blank Currie's factor is 1.645, not 2.326: y* = 1.645 √(r0/t)
    assert sure.decision_threshold == pytest.approx(1.6448536 * np.sqrt(3.0 / 100))


def test_zero_counts_leave_a_threshold() -> None:
    got = iso11929.characteristics(iso11929.counted(0, 60), iso11929.counted(0, 60))
    assert got.decision_threshold == pytest.approx(1.6448536 * np.sqrt(2) / 60)
    assert got.best.value > 0


def test_bad_input_gets_a_sentence() -> None:
    with pytest.raises(UserError):
        iso11929.known(-1.0)
    with pytest.raises(UserError):
        iso11929.preset_count(0, 1.0)
    with pytest.raises(UserError):
        iso11929.characteristics(iso11929.counted(1, 1), iso11929.counted(1, 1), factor=0.0)
