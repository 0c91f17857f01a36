import datetime as dt
import math

import pytest

from counterproof.errors import UserError
from counterproof.kit.source import Source
from counterproof.kit.to_field import source_term
from counterproof.physics.field import field

DISC = """
[source]
name = "caesium disc"
nuclide = "Cs-137"
activity = "9.2 kBq"
activity_uncertainty = "10 %"
reference_date = 2021-03-01
form = "disc"
diameter_mm = 5.0
cover = [{ material = "PMMA", thickness_mm = 0.5 }]
"""


def test_a_disc_as_written() -> None:
    term = source_term(Source.loads(DISC))
    assert term.activity_bq == pytest.approx(9200.0)
    assert term.activity_relative_u == pytest.approx(0.10)
    assert term.form == "disc"
    assert term.diameter_cm == pytest.approx(0.5)
    assert term.cover[0].areal_g_cm2 == pytest.approx(0.0595)
    held = term.inventory(dt.date(2026, 3, 1))
    # 2^(−5/30.1671), worked by hand
    assert held.lead_fraction == pytest.approx(0.8914, abs=2e-4)
    assert held.activities_bq["Ba-137m"] / held.activities_bq["Cs-137"] == pytest.approx(
        0.944, abs=1e-3
    )


def test_unknown_activity_and_source_materials() -> None:
    text = '[source]\nname = "plate"\nnuclide = "uranium glaze"\nform = "disc"\ndiameter_mm = 80\n'
    term = source_term(
        Source.loads(text + 'matrix = { material = "uranium glaze", thickness_mm = 0.2 }\n')
    )
    assert term.activity_bq is None
    assert term.length_cm == pytest.approx(0.02)
    assert term.matrix is not None
    assert [p.nuclide for p in term.parts] == ["U-238", "U-234", "U-235"]
    found = field(term, 5.0)
    assert not found.activity_known
    assert found.h007_usv_h[0] > found.h10_usv_h[0]


def test_state_and_radon_of_a_composition() -> None:
    text = (
        '[source]\nname = "dial"\nnuclide = "Ra-226"\n'
        'composition = { equilibrium = "full", radon_retention = "60 %" }\n'
    )
    held = source_term(Source.loads(text)).inventory().activities_bq
    assert held["Bi-214"] == pytest.approx(0.6, rel=1e-3)
    assert held["Pb-210"] == pytest.approx(0.6, rel=0.02)


def test_several_nuclides_share_the_activity() -> None:
    text = (
        '[source]\nname = "two"\nactivity = "10 kBq"\nreference_date = 2020-01-01\n'
        'nuclides = [{ nuclide = "Cs-137" }, { nuclide = "Co-60", fraction = 0.5 }]\n'
    )
    term = source_term(Source.loads(text))
    held = term.inventory().activities_bq
    assert held["Co-60"] == pytest.approx(5000.0)
    assert term.activity_relative_u is None
    assert math.isinf(field(term, 10.0).estimate("h10_usv_h").u)


def test_a_matrix_that_does_not_fit() -> None:
    text = (
        '[source]\nname = "jar"\nnuclide = "K-40"\nform = "cylinder"\ndiameter_mm = 40\n'
        'length_mm = 30\nmatrix = { material = "salt", thickness_mm = 60 }\n'
    )
    with pytest.raises(UserError, match="thicker"):
        source_term(Source.loads(text))
