"""What surrounds a run as typed, and what the workshop reads from descriptions for the trials."""

import pytest

from counterproof.errors import UserError
from counterproof.kit import Instrument, Source
from counterproof.records.run import CONDITIONS
from counterproof.workshop.counters import claims_of, counter_of, cover_of
from counterproof.workshop.surroundings import typed_absorbers, typed_angle, typed_conditions


def test_one_plate_however_it_is_written() -> None:
    spellings = ("Al 27 mg/cm²", "aluminium 27 mg/cm2", "aluminum 0.027 g/cm²")
    assert len({typed_absorbers([s]) for s in spellings}) == 1
    (plate,) = typed_absorbers(["Al 0.1 mm"])
    assert plate.areal_density_mg_cm2 == pytest.approx(26.99, abs=0.01)  # 2.699 g/cm³ (NIST)


@pytest.mark.parametrize(
    "written,degrees",
    [("45", 45.0), ("-90°", -90.0), ("270 deg", -90.0), ("180", 180.0), ("1.5707963268 rad", 90.0)],
)
def test_angles(written: str, degrees: float) -> None:
    assert typed_angle(written) == pytest.approx(degrees)


@pytest.mark.parametrize(
    "written,key,value",
    [
        ("voltage=0.4 kV", "voltage_v", 400.0),
        ("voltage_v = 400", "voltage_v", 400.0),
        ("step=2 min", "step_s", 120.0),
        ("injected=5 kHz", "injected_per_s", 5000.0),
        ("injected=600 cpm", "injected_per_s", 10.0),
        ("temperature=-12 °C", "temperature_c", -12.0),
        ("light=Ultraviolet", "light", "ultraviolet"),
        ("battery-empty=yes", "battery_empty", "1"),
        ("current=12 mA", "current_ma", 12.0),
        ("mode=backlight on", "mode", "backlight on"),
    ],
)
def test_conditions(written: str, key: str, value: float | str) -> None:
    assert typed_conditions([written]) == {key: value}
    assert key in CONDITIONS


@pytest.mark.parametrize("written", ["mode=", "=3", "temperature=-300 °C", "step=0 s"])
def test_conditions_that_cannot_be(written: str) -> None:
    with pytest.raises(UserError):
        typed_conditions([written])


def test_a_condition_given_twice() -> None:
    with pytest.raises(UserError, match="given twice"):
        typed_conditions(["voltage=400 V", "voltage_v=420"])


def test_claims_and_capacity_from_a_description() -> None:
    box = Instrument.loads(
        """
[instrument]
name = "Lantern"
[[instrument.display]]
quantity = "dose_rate"
unit = "mSv/h"
top = 10
[instrument.battery]
capacity = "1.1 Ah"
claimed_h = "20..30 h"
[[instrument.claim]]
what = "response time to 90 %"
value = "5 s"
source = "leaflet (invented)"
[[instrument.claim]]
what = "battery"
value = "lasts for ever"
source = "leaflet (invented)"
""",
        "test",
    )
    counter = counter_of(box)
    # the lower end of a claimed range is what must at least be reached
    assert counter.claims == {"endurance_h": 20.0, "response_s": 5.0, "range_top_usv_h": 10000.0}
    assert counter.capacity_mah == pytest.approx(1100.0)
    assert claims_of(Instrument(name="Heron")) == {}


def test_cover_only_where_it_is_described() -> None:
    bare = Source.loads('[source]\nname = "a"\nnuclide = "Sr-90"\n', "test")
    foil = Source.loads(
        '[source]\nname = "b"\nnuclide = "Sr-90"\n'
        'cover = [{ material = "Al", areal_density_mg_cm2 = 2.7 }]\n',
        "test",
    )
    assert cover_of([bare]) is None
    assert cover_of([foil]) == pytest.approx(2.7)
    assert cover_of([foil, bare]) is None
