"""Voltage sweeps."""

from __future__ import annotations

import numpy as np
import pytest

from counterproof.counting.plateau import plateau
from counterproof.errors import UserError


def test_a_text_books_sweep() -> None:
    # the sweep is from memory; plateau 550–700 V, slope 2.740 %/100 V with divisor N₁, midpoint
    # 625 V, net counts, computed independently
    counts = [42, 310, 443, 456, 462, 468, 474, 520]
    got = plateau(np.arange(400, 800, 50), counts, 60.0, background_per_s=18 / 60)
    assert (got.low_v, got.high_v) == (550, 700)
    assert got.endpoint_slope.value == pytest.approx(2.740, abs=5e-4)
    assert "550 V" in got.endpoint_slope.method
    assert got.midpoint_v == 625
    assert 600 <= got.working_v <= 625  # a third to a half along: common practice, no source
    assert got.start_v == 400
    assert got.verdict == "good"


LFEA = [
    875,
    900,
    901,
    921,
    942,
    903,
    901,
    963,
    1047,
    1003,
    1011,
    1016,
    1035,
    1034,
    1015,
    1040,
    1076,
]


def test_a_laboratorys_sweep() -> None:
    # public course log pedrocurvo/LFEA, 800…1200 V in steps of 25 V, plateau as stated there;
    # weighted slope 4.86 ± 0.63 %/100 V at 1000 V computed independently
    v = np.arange(800, 1201, 25)
    got = plateau(v, LFEA, 60.0, ends_v=(800, 1200), reference_v=1000)
    assert got.slope.value == pytest.approx(4.86, abs=0.05)
    assert got.slope.u == pytest.approx(0.63, abs=0.01)
    assert got.working_v == 950
    assert got.verdict == "good"
    # noise of single steps up to 35 %/100 V does not cut the plateau in two
    found = plateau(v, LFEA, 60.0)
    assert found.high_v - found.low_v >= 325


def test_counts_that_rise_and_fall_are_not_called_good() -> None:
    # source of the counts from memory: a student laboratory's sweep
    v = [330, 343, 355, 368, 380, 398, 410, 423, 485, 510, 590, 640]
    n = [1140, 1161, 1177, 1191, 1206, 1202, 1224, 1219, 1202, 1184, 1142, 1072]
    got = plateau(v, n, 60.0)
    assert got.verdict == "falling"
    assert got.slope.value < -2 * got.slope.u


def test_no_negative_slope_is_good_even_within_its_uncertainty() -> None:
    got = plateau([500, 550, 600, 650], [1005, 1001, 998, 1000], 60.0)
    assert got.slope.value < 0
    assert got.verdict == "cannot tell"


def test_repeats_that_disagree_are_rejected_with_a_reason() -> None:
    # repeats of one point reading 549 and 1
    got = plateau([500, 550, 550, 600, 650], [545, 549, 1, 551, 560], 60.0)
    assert [volt for volt, _ in got.sweep.rejected] == [550.0]
    assert "549" in got.sweep.rejected[0][1]
    assert got.verdict == "good"
    agreeing = plateau([500, 550, 550, 600, 650], [545, 549, 560, 551, 560], 60.0)
    assert not agreeing.sweep.rejected
    assert agreeing.sweep.counts[1] == 1109


def test_steep_and_short_and_none() -> None:
    rng = np.random.default_rng(81)
    v = np.arange(500, 900, 50)
    steep = rng.poisson(5e5 * (1 + 0.12 * (v - 500) / 100))
    assert plateau(v, steep, 60.0, ends_v=(500, 850)).verdict == "too steep"
    assert plateau(v, steep, 60.0).verdict == "no plateau"
    short = plateau([500, 550, 600], [100_000, 101_000, 160_000], 60.0)
    assert short.verdict == "too short"
    assert plateau([500, 550], [0, 0], 60.0).verdict == "no plateau"


def test_weighted_slope_covers() -> None:
    rng = np.random.default_rng(82)
    v = np.arange(500, 801, 50)
    mean = 2000 * (1 + 0.03 * (v - 650) / 100)
    inside = []
    for _ in range(1000):
        got = plateau(v, rng.poisson(mean), 60.0, ends_v=(500, 800))
        inside.append(got.slope.low <= 3.0 <= got.slope.high)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.021)


def test_bad_input_gets_a_sentence() -> None:
    with pytest.raises(UserError):
        plateau([500], [100], 60.0)
    with pytest.raises(UserError):
        plateau([500, 550], [100], 60.0)
    with pytest.raises(UserError):
        plateau([500, 550], [100, -1], 60.0)
