"""Acceptance profiles are data with a source."""

from pathlib import Path

import pytest

from counterproof.errors import UserError
from counterproof.trials.criteria import profile, shipped


def test_every_profile_has_a_source_or_says_unverified() -> None:
    for found in shipped().values():
        assert found.source
        assert found.verified or "unverified" in found.source
        assert found.criteria
        for criterion in found.criteria.values():
            assert criterion.source


def test_values_of_the_shipped_profiles() -> None:
    # US Code of Federal Regulations, 10 CFR 35.61: indicated within 20 % of calculated
    assert profile("us_10cfr35").criteria["ratio"].high == pytest.approx(1.20)
    # US Army TB 9-6665-285-15: ±10 % per point
    assert profile("us_army_tb").criteria["linearity"].low == pytest.approx(0.90)
    # IEC 60846-1:2009, from memory, unverified: linearity -15…+22 %
    assert (profile("iec_60846").criteria["linearity"].low or 0) == pytest.approx(0.85)
    assert profile("iec_60846").verified is False
    # this project's own grades
    assert [profile(f"grade_{g}").criteria["ratio"].high for g in "abc"] == [1.1, 1.2, 1.3]


def test_an_own_profile_is_read_from_a_file(tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text(
        '[mine]\ntitle = "my own"\nsource = "my wish"\nverified = true\n'
        'criteria = [{ quantity = "ratio", low = 0.95, high = 1.05, statement = "within 5 %" }]\n'
    )
    assert profile(str(mine)).criterion("ratio").low == 0.95  # type: ignore[union-attr]
    assert profile(str(mine)).criterion("linearity") is None


def test_a_mistyped_profile_gets_the_nearest_name(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="grade_b"):
        profile("grade_bb")
    broken = tmp_path / "broken.toml"
    broken.write_text("[mine]\ntitle = 3\n")
    with pytest.raises(UserError, match="cannot be read"):
        profile(str(broken))
