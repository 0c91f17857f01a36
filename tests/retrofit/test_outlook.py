"""The outlook of invented tubes in an invented box."""

import numpy as np
import pytest

from counterproof.counting.iso11929 import characteristics, counted
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.records import Outlook
from counterproof.retrofit.box import box_of
from counterproof.retrofit.outlook import Ask, Seen, detection_limit_usv_h
from counterproof.retrofit.propose import propose
from counterproof.retrofit.retest import pull
from counterproof.retrofit.wishes import parse_wish
from tests.retrofit.invented import candidate, tube_named

OWN = {"caesium": 1.9, "background": 0.17, "photon": 2.5, "beta": 0.0}
SLIM = {"caesium": 2.5, "background": 0.25, "photon": 3.3, "beta": 1.0}


@pytest.fixture
def tubes(lantern):
    return [
        candidate("own", lantern, today=True, **OWN),
        candidate("slim", lantern, electrons=5.0, **SLIM),
        candidate("glass", lantern, caesium=1.0, background=0.1, photon=1.3, beta=0.0,
                  energy=(1.4, 1.0, 1.05)),
    ]  # fmt: skip


@pytest.fixture
def made(lantern, tubes, caesium):
    return propose(lantern, box_of(lantern), tubes, [caesium])


def of(outlook, name):
    return next(c for c in outlook.candidates if c.name == name)


def test_detection_limit_is_that_of_the_standard():
    for seconds, b, s, u in ((600.0, 0.3, 2.0, 0.1), (3600.0, 0.05, 0.5, 0.2)):
        ours = detection_limit_usv_h(np.array([s]), np.array([b]), seconds, u)[0]
        blank = counted(b * seconds, seconds)
        its = characteristics(blank, blank, factor=1.0 / s, factor_u_rel=u)
        assert ours == pytest.approx(its.detection_limit, rel=1e-6)


def test_figures_by_hand(made):
    own, slim = of(made, "own"), of(made, "slim")
    assert own.sensitivity.value == pytest.approx(1.9, rel=0.03)
    # 20 cm² of wall at 0.002/s each, known to a factor of two (mean 1.28 times the median), and the
    # natural background: between the sum of the medians and the sum of the means
    assert 0.17 + 0.04 < own.background.value < 0.17 * 1.04 + 0.04 * 1.28
    assert own.time_to_10_percent.value == pytest.approx(100.0 / own.background.value, rel=1e-3)
    assert slim.sources[0].gain.value == pytest.approx(4.3 / 2.5, rel=0.05)
    assert slim.sources[0].beta_efficiency.value == pytest.approx(0.2, rel=0.05)
    assert own.sources[0].beta_efficiency is None
    assert slim.energy_departure.value == pytest.approx(3.0, rel=0.02)
    # the activity's 5 % is common to both tubes: it is in the counts, not in the gain's own part
    assert slim.top_because


def test_uncorrectable_range(made):
    slim = of(made, "slim")
    (stuck,) = slim.uncorrectable
    # by hand: the switch at 66 cpm is 1.1/s; (1.1 − 0.25 − 0.04)/2.5 above a background of 0.1
    assert stuck.high_usv_h == pytest.approx(0.1 + 0.81 / 2.5, rel=0.03)
    # at 0.1 µSv/h: 0.29/s (medians) to 0.301/s (means) are 17.4 to 18.1 cpm and show up to 0.164
    assert 0.57 < stuck.relative_error.value < 0.66
    (setting,) = slim.settings
    assert setting.present == 190.0
    assert 140.0 <= setting.best.value <= 160.0
    before, after = slim.display
    assert after.y[-1] == pytest.approx(1.0, abs=0.04)
    assert before.y[-1] == pytest.approx(60 * 2.5 / 190.0, abs=0.04)
    assert any(b.wish == "menu" for b in made.binding)


def test_evidence_narrows_and_warns(lantern, tubes, caesium):
    box = box_of(lantern)
    blind = propose(lantern, box, tubes, [caesium])
    seen = [Seen("own", "", 0.22, 0.02), Seen("own", "cs", 2.6, 0.02)]
    told = propose(lantern, box, tubes, [caesium], seen)

    def width(outlook, name):
        rate = of(outlook, name).sources[0].counts_per_s
        return np.log(rate.high / rate.low)

    assert width(told, "own") < 0.5 * width(blind, "own")
    assert width(told, "slim") <= width(blind, "slim") * 1.02
    gain = [of(o, "slim").sources[0].gain for o in (blind, told)]
    assert np.log(gain[1].high / gain[1].low) < np.log(gain[0].high / gain[0].low)
    wrong = propose(lantern, box, tubes, [caesium], [Seen("own", "cs", 12.0, 0.02)])
    assert "own" in wrong.warnings[0]


def test_ranking_follows_the_wishes(lantern, tubes, caesium):
    box = box_of(lantern)

    def first(*wishes):
        made = propose(lantern, box, tubes, [caesium], wishes=[parse_wish(w) for w in wishes])
        return next(r.candidate for r in made.ranking if r.candidate != "own")

    assert first("sensitivity", "beta*2") == "slim"
    assert first("energy*5") == "glass"


def test_what_binds_and_what_giving_way_buys(lantern, tubes, caesium):
    box = box_of(lantern)
    wishes = [parse_wish("sensitivity>=120"), parse_wish("energy<=1.5")]
    made = propose(lantern, box, tubes, [caesium], wishes=wishes)
    by_wish = {b.wish: b for b in made.binding if b.wish != "menu"}
    assert set(by_wish) == {"sensitivity", "energy"}
    assert by_wish["energy"].admits == ("slim",)
    assert by_wish["energy"].relaxed_to == pytest.approx(3.0, rel=0.02)
    assert by_wish["sensitivity"].admits == ("glass",)
    assert by_wish["sensitivity"].relaxed_to == pytest.approx(60.0, rel=0.03)
    assert "No candidate" in made.statement
    # two wishes that no candidate breaks alone are named together
    both = propose(lantern, box, tubes[:2], [caesium],
                   wishes=[parse_wish("energy<=1.5"), parse_wish("top>=9000")])  # fmt: skip
    assert {b.wish for b in both.binding} >= {"energy", "top"}
    assert all("together" in b.statement for b in both.binding if b.wish in ("energy", "top"))


def test_voltage_out_of_reach_binds(lantern, tubes, caesium):
    far = tube_named("tall", start_v=700, plateau_low_v=800, plateau_high_v=1000,
                     recommended_v=900, maximum_v=1100)  # fmt: skip
    tall = candidate("tall", lantern, tube=far, **SLIM)
    made = propose(lantern, box_of(lantern), [tubes[0], tall], [caesium])
    (bound,) = (b for b in made.binding if b.wish == "fit")
    assert "starting voltage" in bound.statement


def test_predictions_and_plan(made):
    keys = {p.key for p in made.predictions}
    for name, where in (("own", ""), ("slim", "cs:")):
        assert f"{name}:background count rate" in keys
        assert f"{name}:{where}displayed dose rate" in keys
    assert {"slim:cs:net count rate", "slim:cs:gain", "own:cs:displayed dose rate"} <= keys
    net = next(p for p in made.predictions if p.key == "slim:cs:net count rate")
    assert net.retest.low < net.expected.low
    assert net.retest.high > net.expected.high
    assert net.settings == {"factor": of(made, "slim").settings[0].best.value}
    planned = next(r for r in made.plan.runs if r.sources)
    assert planned.minutes == net.minutes
    assert made.plan.total_minutes == sum(r.minutes for r in made.plan.runs)
    assert Outlook.model_validate_json(made.to_json()) == made


def test_pull():
    def measured(value, u):
        return Estimate(value, u, value - 2 * u, value + 2 * u)

    import json

    from counterproof.records import Predicted

    predicted = Predicted.model_validate(
        json.loads('{"key": "a", "quantity": "gain", "statement": "", "tube": "t", "minutes": 1,'
                   '"expected": {"value": 2.0, "low": 1.6, "high": 2.5},'
                   '"retest": {"value": 2.0, "low": 1.6, "high": 2.5}}')
    )  # fmt: skip
    # by hand: ln(2.5/1.6)/3.92 = 0.1138; 10 % measured; ln 1.2 = 0.1823
    assert pull(predicted, measured(2.4, 0.24)) == pytest.approx(
        0.1823 / np.hypot(0.1138, 0.1), rel=1e-3
    )
    assert pull(predicted, measured(2.0, 0.1)) == 0.0


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("speed", "speed"),
        ("beta=>2", "cannot be read"),
        ("display<=x", "cannot be read"),
        ("", "cannot be read"),
    ],
)
def test_bad_wishes_get_a_sentence(written, says):
    with pytest.raises(UserError, match=says):
        parse_wish(written)


def test_wishes_are_read():
    wish = parse_wish(" display <= 20% * 3")
    assert (wish.key, wish.high, wish.low, wish.weight) == ("display", 0.2, None, 3.0)


def test_impossible_asks(lantern, tubes, caesium):
    box = box_of(lantern)
    with pytest.raises(UserError, match="No candidate"):
        propose(lantern, box, tubes[:1], [caesium])
    with pytest.raises(UserError, match="same name"):
        propose(lantern, box, [tubes[1], tubes[1]], [caesium])
    with pytest.raises(UserError, match="range"):
        propose(lantern, box, tubes, [caesium], ask=Ask(range_usv_h=(1.0, 0.5)))
