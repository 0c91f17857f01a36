"""Data-sheet sensitivities carry nuclide and quantity."""

import pytest

from counterproof.errors import UserError
from counterproof.quantities import GY_PER_R, parse_sensitivity, quantity_of


def test_roentgen_in_air_kerma() -> None:
    # 2.58e-4 C/kg (BIPM, SI brochure's former table) times W/e 33.97 J/C (ICRU 31), from memory
    assert pytest.approx(8.764e-3, rel=1e-4) == GY_PER_R


def test_cobalt_exposure_into_ambient_dose() -> None:
    # own arithmetic: 20·60 cpm / (8.764 µGy/mR · 1.159 Sv/Gy); 1.159 from ICRP 74 Table A.21
    converted = parse_sensitivity("20 cps/(mR/h)", "Co-60").to("cpm/(µSv/h)")
    assert converted.value == pytest.approx(118.1, abs=0.05)
    assert len(converted.coefficients) == 2
    assert "Co-60" in converted.coefficients[1]


def test_roentgen_in_ambient_dose_by_nuclide() -> None:
    # mSv per R: 8.764 mGy times ICRP 74 coefficients 1.203, 1.159, 1.737
    for nuclide, msv in (("Cs-137", 10.5), ("Co-60", 10.2), ("Am-241", 15.2)):
        per_r = parse_sensitivity("1 cps/(R/h)", nuclide).to("cps/(mSv/h)").value
        assert 1.0 / per_r == pytest.approx(msv, abs=0.06)


@pytest.mark.parametrize("unit", ["cpm/(mR/h)", "cps/(µGy/h)", "cpm/(µSv/h)"])
def test_there_and_back(unit: str) -> None:
    start = parse_sensitivity("140 cpm/(µSv/h)", "Cs-137")
    middle = start.to(unit)
    back = parse_sensitivity(f"{middle.value!r} {unit}", "Cs-137").to("cpm/(µSv/h)")
    assert back.value == pytest.approx(140.0, rel=1e-12)


def test_a_mere_change_of_unit_uses_no_coefficient() -> None:
    converted = parse_sensitivity("60 cpm/(µSv/h)", "").to("cps/(mSv/h)")
    assert converted.value == pytest.approx(1000.0)
    assert converted.coefficients == ()


def test_a_coefficient_can_be_given() -> None:
    given = parse_sensitivity("10 cps/(µGy/h)", "Ra-226").to("cps/(µSv/h)", h10_per_kerma=1.25)
    assert given.value == pytest.approx(8.0)
    assert "1.25" in given.coefficients[0]


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("20 cps", "not a sensitivity"),
        ("20 Bq/(mR/h)", "not a sensitivity"),
        ("20 cpm/µSv/h", "not a sensitivity"),
        ("-20 cps/(mR/h)", "greater than zero"),
        ("0 cps/(mR/h)", "greater than zero"),
    ],
)
def test_bad_sensitivities(written: str, said: str) -> None:
    with pytest.raises(UserError, match=said):
        parse_sensitivity(written, "Cs-137")


def test_unknown_nuclide_and_contradiction() -> None:
    with pytest.raises(UserError, match="Am-241, Co-60, Cs-137"):
        parse_sensitivity("20 cps/(mR/h)", "Ra-226").to("cpm/(µSv/h)")
    with pytest.raises(UserError, match=r"per exposure by its unit, but is declared as H\*\(10\)"):
        parse_sensitivity("20 cps/(mR/h)", "Co-60", "h10")
    assert quantity_of("cpm/(µGy/h)") == "air_kerma"
