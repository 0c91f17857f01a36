"""The kernel method: what tubes of known construction do, and its limits."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from acceptance.tube import FILL, GLASS, LINED, PANCAKE, STEEL, TINNED
from counterproof.errors import Cancelled, UserError
from counterproof.physics.field import field
from counterproof.physics.materials import gas, material
from counterproof.physics.sources import point_source
from counterproof.physics.tube import figures
from counterproof.physics.tube.geometry import Layer, Tube
from counterproof.physics.tube.model import TubeModel
from counterproof.physics.tube.predict import predict
from counterproof.physics.tube.response import (
    Curve,
    electron_curve,
    near_factor,
    response_curve,
)


def relative(tube: Tube, energy: float) -> float:
    """Response per H*(10) over that for caesium-137."""
    per_usv = response_curve(tube, [energy, 661.657]).counts_per_usv
    return float(per_usv[0] / per_usv[1])


def test_counts_per_striking_photon() -> None:
    # G. F. Knoll, Radiation Detection and Measurement: the gamma efficiency of Geiger tubes is a
    # few tenths of a per cent up to about one per cent; from memory
    curve = response_curve(STEEL, [661.657])
    per_photon = curve.effective_area_cm2[0] / (2.0 * STEEL.outer_radius_cm * 9.0)
    assert 0.002 < per_photon < 0.006


def test_thin_steel_over_reads_at_60_kev_and_a_sleeve_tames_it() -> None:
    # common practice, no source
    assert 4.0 < relative(STEEL, 59.5) < 12.0
    assert relative(TINNED, 59.5) < 0.5
    assert 0.3 < relative(TINNED, 120.0) < 2.5


def test_thick_unlined_glass_does_not_over_read() -> None:
    # common practice, no source
    assert relative(GLASS, 59.5) < 1.5
    assert relative(LINED, 59.5) > 3.0  # a conducting coat of tin oxide does


def test_a_thin_slim_tube_and_a_short_thick_one() -> None:
    # common practice, no source: two to five times
    short = Tube(FILL, 0.35, 4.0, Layer(material("stainless steel"), 0.05))
    slim, thick = (response_curve(t, [661.657]).counts_per_usv[0] for t in (STEEL, short))
    assert 2.0 < slim / thick < 5.0


def test_a_window_lets_betas_in_and_a_wall_stops_them() -> None:
    # common practice, no source: a mica window of 1.7 mg/cm² passes most of a 200 keV beam, 0.5 mm
    # of steel (390 mg/cm²) stops 500 keV electrons, whose range is 0.25 g/cm² (ESTAR)
    open_end = electron_curve(PANCAKE, [200.0, 1000.0], angle_deg=0.0)
    share = open_end.effective_area_cm2 / (np.pi * 1.4**2)
    assert (share > 0.85).all()
    assert (share <= 1.0).all()
    assert electron_curve(PANCAKE, [500.0], angle_deg=90.0).effective_area_cm2[0] < 1e-3


def test_the_back_of_a_disc_tube_is_blind_to_soft_photons() -> None:
    front, back = (
        response_curve(PANCAKE, [25.0], angle_deg=a).effective_area_cm2[0] for a in (0.0, 180.0)
    )
    assert front > 3.0 * back


def test_counts_never_exceed_entries() -> None:
    for tube in (STEEL, TINNED, GLASS, LINED, PANCAKE):
        curve = response_curve(tube, np.geomspace(20.0, 3000.0, 12))
        assert (curve.effective_area_cm2 <= curve.entry_area_cm2 * (1.0 + 1e-9)).all()
        assert (curve.effective_area_cm2 > 0.0).all()


def test_a_symmetric_tube_is_symmetric() -> None:
    a, b = (
        response_curve(STEEL, [100.0], angle_deg=x).effective_area_cm2[0] for x in (40.0, 140.0)
    )
    assert a == pytest.approx(b, rel=0.02)


def test_area_grows_with_length() -> None:
    # limit: the side's share is proportional to the length, the ends stay
    areas = [
        response_curve(replace(STEEL, length_cm=x), [662.0]).effective_area_cm2[0]
        for x in (4.5, 9.0, 18.0)
    ]
    assert (areas[2] - areas[1]) / (areas[1] - areas[0]) == pytest.approx(2.0, rel=0.03)


def test_a_far_point_is_a_parallel_beam() -> None:
    assert near_factor(STEEL, 300.0, energy_kev=662.0, angle_deg=90.0) == pytest.approx(
        1.0, abs=0.01
    )
    # geometry: half of a tube as long as the distance sees less of an inverse square
    assert near_factor(STEEL, 5.0, energy_kev=662.0, angle_deg=90.0) < 0.9


def test_an_open_filter_lies_between_bare_and_closed() -> None:
    half = replace(STEEL, filters=(Layer(material("Sn"), 0.1, coverage=0.5),))
    areas = [float(response_curve(t, [80.0]).effective_area_cm2[0]) for t in (TINNED, half, STEEL)]
    assert areas[0] < areas[1] < areas[2]
    assert areas[1] == pytest.approx(0.5 * (areas[0] + areas[2]), rel=0.1)


def test_a_filter_of_nothing_changes_nothing() -> None:
    none = replace(STEEL, filters=(Layer(material("Al"), 1e-7),))
    at = [60.0, 662.0]
    bare = response_curve(STEEL, at).effective_area_cm2
    assert response_curve(none, at).effective_area_cm2 == pytest.approx(bare, rel=0.01)


def test_unknown_walls_widen_the_uncertainty() -> None:
    thicker = tuple(replace(STEEL, wall=Layer(material("Fe"), x)) for x in (0.006, 0.02, 0.03))
    known = response_curve(STEEL, [60.0])
    unknown = response_curve(TubeModel(STEEL, thicker, ("wall",)), [60.0])
    assert unknown.u_model_effective_area_cm2[0] > 2.0 * known.u_model_effective_area_cm2[0]
    assert unknown.effective_area_cm2[0] == known.effective_area_cm2[0]


def test_figures_carry_units_and_intervals() -> None:
    counts = figures.background_counts(STEEL)
    assert counts.unit == "1/s"
    assert counts.low < counts.value < counts.high
    # common practice, no source: such a tube shows some tens of counts a minute
    assert 10.0 < 60.0 * counts.value < 60.0
    polar = figures.angle_response(STEEL, 662.0, [0.0, 45.0, 90.0])
    assert polar.relative[2] == pytest.approx(1.0)
    assert polar.relative[0] < 0.6


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: response_curve(STEEL, [1.0]), "between 5 and 3500 keV"),
        (lambda: response_curve(STEEL, []), "between 5 and 3500 keV"),
        (lambda: response_curve(STEEL, [60.0], precision=0.0), "precision"),
        (lambda: near_factor(STEEL, 0.3, energy_kev=60.0, angle_deg=90.0), "inside the tube"),
        (lambda: replace(STEEL, gas=gas("Ne", 1e-6)), "no counting gas"),
        (lambda: replace(STEEL, radius_cm=-1.0), "positive length"),
        (lambda: replace(STEEL, filters=(Layer(material("Sn"), 0.1, coverage=0.0),)), "coverage"),
    ],
)
def test_impossible_input_gets_one_sentence(call: Callable[[], Curve], words: str) -> None:
    with pytest.raises(UserError, match=words):
        call()


def test_a_wall_thicker_than_every_range_still_answers() -> None:
    # 6 cm of iron: no electron comes through, photons are attenuated but some still count
    thick = replace(STEEL, wall=Layer(material("Fe"), 6.0))
    assert electron_curve(thick, [2000.0]).effective_area_cm2[0] == 0.0
    area = response_curve(thick, [1250.0]).effective_area_cm2[0]
    assert 0.0 < area < response_curve(STEEL, [1250.0]).effective_area_cm2[0]


def test_work_can_be_called_off() -> None:
    model = TubeModel(STEEL, (STEEL, STEEL), ("wall",))
    with pytest.raises(Cancelled):
        response_curve(model, [60.0], report=lambda done, total: False)


def test_a_wall_that_stops_betas_leaves_weak_bremsstrahlung() -> None:
    # common practice, no source: far fewer counts than with the betas, but some
    source = point_source("Sr-90", 1e5)
    at = field(source, [10.0])
    thick = replace(STEEL, wall=Layer(material("Fe"), 0.5))
    bare, walled = (
        predict(TubeModel(t), at, 0, angle_deg=90.0, natural=None) for t in (STEEL, thick)
    )
    assert walled.beta.counts_per_s == 0.0
    assert 1e-5 < walled.photon.counts_per_s / bare.beta.counts_per_s < 3e-3
