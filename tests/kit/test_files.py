"""Kit files written by hand: read, written again, and explained when wrong."""

import datetime as dt
import math
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from counterproof.errors import UserError
from counterproof.kit import (
    KINDS,
    Inspection,
    Instrument,
    KitItem,
    Probe,
    Source,
    Span,
    Tube,
    load_item,
    loads_item,
    nuclide_name,
)
from counterproof.kit.lines import line_of

TUBE = """
[tube]
name = "slim steel 90"
[tube.gas]
fill = "Ne"
pressure_kpa = 10.0
radius_mm = 4.5
length_mm = 90.0
[tube.wall]
material = "Fe"                # name or formula; density_g_cm3 = … overrides
thickness_mm = 0.1
[[tube.filter]]            # from the wall outwards, may be absent
material = "Sn"
thickness_mm = 1.0
coverage = 0.9
[[tube.filter]]
material = "Cu"
thickness_mm = "0.1..0.3 mm"
[tube.lining]              # cathode lining of a glass tube, may be absent
material = "SnO2"
areal_density_mg_cm2 = 0.5
[tube.window]              # end window of a disc tube, may be absent
material = "mica"
areal_density_mg_cm2 = 1.7
radius_mm = 4.0
[tube.datasheet]           # may be absent: calibrates the absolute scale
sensitivity = "20 cps/(mR/h)"
nuclide = "Co-60"
dead_time_us = 120
"""

SOURCE = """
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

JAR = """
[source]
name = "glazed bowl"
nuclides = [{ nuclide = "Uranium glaze" }, { nuclide = "K-40", fraction = 0.046 }]
form = "cylinder"
diameter_mm = 80
length_mm = "5..8 mm"
[source.composition]
equilibrium = "short-lived"
radon_retention = "80 %"
"""

INSTRUMENT = """
[instrument]
name = "Lantern"
role = "under test"
tube = "short glass"
probes = ["slim probe"]
switch = ["inside", "probe"]
[instrument.supply]
voltage = "400 V"
anode_resistor = "4.7 Mohm"
[instrument.readout]
refresh_s = 1
[[instrument.display]]
quantity = "dose_rate"
unit = "µSv/h"
quantum = 0.01
[[instrument.display]]
quantity = "dose"
unit = "uSv"
field = "accumulated"
[[instrument.setting]]
kind = "factor"
unit = "cpm/(µSv/h)"
low = 60
high = 300
step = 5
applies = "above the switch"
[instrument.battery]
capacity = "1000 mAh"
"""

PROBE = """
[probe]
name = "slim probe"
tube = "slim steel 90"
anode_resistor = "4.7 MΩ"
[probe.cable]
kind = "RG-174"
length = "50 cm"
capacitance_pf_per_m = 100
"""

INSPECTION = """
[inspection]
name = "first look"
of = "Lantern"
date = 2026-01-31
[[inspection.part]]
part = "supply"
note = "soft supply"
measured = { "tube voltage behind 1 GΩ" = "396 V" }
photos = ["board.jpg"]
[inspection.handling]
loudness = "clicks heard across the room"
[[inspection.change]]
what = "lead to the tube cut"
undo = "bridge the two pads"
"""

POSITION = """
[position]
name = "rail, 10 cm"
distance = "10 cm"
distance_uncertainty = "2 mm"
absorber = [{ material = "PMMA", thickness_mm = 2 }]
"""

ALL = {"tube": TUBE, "source": SOURCE, "instrument": INSTRUMENT, "probe": PROBE}
ALL |= {"inspection": INSPECTION, "position": POSITION}


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_written_again_means_the_same(kind: str, tmp_path: Path) -> None:
    item = loads_item(ALL[kind])
    assert type(item) is KINDS[kind]
    path = tmp_path / "item.toml"
    item.save(path)
    assert load_item(path) == item
    assert type(item).load(path) == item
    assert [p.name for p in tmp_path.iterdir()] == ["item.toml"]


def test_a_tube_reads_ranges_and_its_data_sheet() -> None:
    tube = Tube.loads(TUBE)
    assert tube.gas.radius_mm == Span(4.5, 4.5)
    assert tube.filter[1].thickness_mm == Span(0.1, 0.3, "0.1..0.3 mm")
    assert tube.filter[1].thickness_mm.middle == pytest.approx(0.2)
    sensitivity = tube.datasheet.read_sensitivity()
    assert sensitivity is not None
    assert (sensitivity.value, sensitivity.nuclide, sensitivity.quantity) == (
        20,
        "Co-60",
        "exposure",
    )
    assert '"0.1..0.3 mm"' in tube.dumps()


def test_diameter_and_length_suffice() -> None:
    tube = Tube.loads('[tube]\nname = "x"\nouter_diameter_mm = "1 cm"\nlength_mm = 90')
    assert tube.outer_diameter_mm == Span(10.0, 10.0, "1 cm")
    assert tube.wall is None


def test_an_unknown_activity_is_said_to_be_unknown() -> None:
    bowl = Source.loads(JAR)
    assert math.isnan(bowl.activity_bq)
    assert [p.nuclide for p in bowl.portions] == ["uranium glaze", "K-40"]
    assert bowl.composition is not None
    assert bowl.composition.radon_share == 0.8
    with pytest.raises(UserError, match="not known"):
        bowl.activity_at(dt.date(2026, 1, 1))


def test_activity_decays_to_date() -> None:
    # Cs-137, T½ 30.1671 y (ICRP 107): 1000 Bq after 10 y are 794.72 Bq (own arithmetic)
    source = Source.loads(SOURCE.replace("9.2 kBq", "1000 Bq"))
    after = source.activity_at(dt.date(2031, 3, 1))
    assert after.value == pytest.approx(794.72, abs=0.05)
    assert after.u == pytest.approx(79.472, rel=1e-3)
    assert source.activity_at(dt.date(2021, 3, 1)).value == 1000.0
    with pytest.raises(UserError, match="lies before"):
        source.activity_at(dt.date(2020, 1, 1))
    unsure = Source.loads(SOURCE.replace('activity_uncertainty = "10 %"', ""))
    estimate = unsure.activity_at(dt.date(2021, 3, 1))
    assert (estimate.u, estimate.low, estimate.high) == (math.inf, 0.0, math.inf)


def test_a_material_decays_with_its_head() -> None:
    paint = SOURCE.replace("Cs-137", "radium paint").replace("9.2 kBq", "1000 Bq")
    after = Source.loads(paint).activity_at(dt.date(2121, 3, 1))
    # Ra-226, T½ 1600 y (ICRP 107): 2^(−100/1600)
    assert after.value == pytest.approx(957.6, abs=0.1)


@pytest.mark.parametrize(
    ("kind", "old", "new", "said"),
    [
        ("tube", "radius_mm = 4", "radious_mm = 4", "[tube.gas] (line 7) has no key 'radious_mm'"),
        ("tube", '"Sn"', '"Tim"', "[tube.filter] 1 (line 12) There is no material 'Tim'"),
        ("tube", "coverage = 0.9", "coverage = 1.5", "(line 15) 'coverage': 1.5 must be at most"),
        ("tube", '"0.1..0.3 mm"', '"0.3..0.1 mm"', "filter] 2 (line 18) 'thickness_mm': The range"),
        ("tube", "thickness_mm = 0.1", "thickness_mm = -1", "must be greater than 0"),
        ("tube", "pressure_kpa = 10.0", "pressure_kpa = 0", "must be greater than 0"),
        ("tube", "thickness_mm = 0.1", "thickness_mm = nan", "finite"),
        ("tube", "thickness_mm = 0.1", 'thickness_mm = "2 V"', "a voltage, but a length"),
        ("tube", "thickness_mm = 0.1", "thickness_mm = 1\nareal_density_mg_cm2 = 3", "not both"),
        ("tube", "radius_mm = 4.5", "", "[tube] (line 2) give outer_diameter_mm and length_mm"),
        ("tube", '"slim steel 90"', '"x"\nouter_diameter_mm = 8\nlength_mm = 95', "gas is wider"),
        ("tube", '"20 cps/(mR/h)"', '"20 cps"', "not a sensitivity"),
        ("tube", 'name = "slim steel 90"', "", "[tube] (line 2) needs 'name'"),
        ("tube", "dead_time_us = 120", "dead_time_us = true", "must be a number or a text"),
        ("tube", "dead_time_us = 120", "start_v = 500\nmaximum_v = 400", "start_v must not exceed"),
        ("tube", 'fill = "Ne"', "fill = 3", "'fill': '3' must be a text in quotes"),
        ("tube", "[tube]\n", "[tub]\n", "holds [tub], [tube]"),
        ("tube", "[tube]\n", "[tube\n", "not valid TOML"),
        ("source", '"disc"', '"disk"', "did you mean 'disc'?"),
        ("source", "diameter_mm = 5.0", "", "a disc needs diameter_mm"),
        ("source", "reference_date = 2021-03-01", "", "needs its reference_date"),
        ("source", "2021-03-01", '"1 March"', "a date such as"),
        ("source", "Cs-137", "Xx-137", "near it are Xe-137"),
        ("source", "Cs-137", "caesium", "There is no nuclide"),
        ("source", "9.2 kBq", "9.2 kBQ", "did you mean 'kBq'?"),
        ("source", "9.2 kBq", "9.2 cps", "a count rate, but an activity"),
        ("source", "9.2 kBq", "-9.2 kBq", "greater than 0"),
        ("source", "thickness_mm = 0.5", "thickness = 0.5", "did you mean 'thickness_mm'?"),
        ("source", ", thickness_mm = 0.5", "", "needs thickness_mm or areal_density_mg_cm2"),
        ("source", "10 %", "10 cm", "a length, but an activity"),
        ("source", 'activity = "9.2 kBq"', "", "without an activity"),
        ("source", 'nuclide = "Cs-137"', "", "give either nuclide or nuclides"),
        ("instrument", 'unit = "µSv/h"', 'unit = "µSv"', "but a dose-equivalent rate"),
        ("instrument", "step = 5", "step = 5\nvalue = 400", "400 lies outside"),
        ("instrument", '"cpm/(µSv/h)"', '"cpm"', "a count rate, but a sensitivity"),
        ("instrument", '"4.7 Mohm"', '"4.7 mF"', "a capacitance, but a resistance"),
        ("inspection", '"supply"', '"suply"', "did you mean 'supply'?"),
    ],
)  # fmt: skip
def test_one_sentence_names_place_key_and_line(kind: str, old: str, new: str, said: str) -> None:
    content = ALL[kind]
    assert old in content
    with pytest.raises(UserError) as caught:
        loads_item(content.replace(old, new, 1), "my.toml")
    assert said in caught.value.message
    assert caught.value.message.startswith("my.toml")
    assert "\n" not in caught.value.message


def test_several_problems_are_told_briefly() -> None:
    two = SOURCE.replace("[source]", '[source]\nactivty = "3 Bq"\ncovr = 3')
    with pytest.raises(UserError, match=r"'activty'.*'covr'.*did you mean 'cover'\?$"):
        Source.loads(two)
    four = two.replace("[source]", "[source]\nx1 = 1\nx2 = 2")
    with pytest.raises(UserError, match="3 more problems follow"):
        Source.loads(four)


def test_wrong_kind_and_missing_files(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"must hold one table \[tube\], but holds \[source\]"):
        Tube.loads(SOURCE, "x.toml")
    with pytest.raises(UserError, match="There is no file"):
        load_item(tmp_path / "none.toml")
    with pytest.raises(UserError, match="cannot be read"):
        load_item(tmp_path)
    (tmp_path / "bin.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UserError, match="UTF-8"):
        load_item(tmp_path / "bin.toml")
    (tmp_path / "empty.toml").write_text("")
    with pytest.raises(UserError, match="holds no table"):
        load_item(tmp_path / "empty.toml")


def test_an_unwritable_place_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_text("kept")
    with pytest.raises(UserError, match="cannot be written"):
        Tube.loads(TUBE).save(path / "tube.toml")
    assert path.read_text() == "kept"
    assert list(tmp_path.iterdir()) == [path]
    assert stat.S_ISREG(path.stat().st_mode)


@pytest.mark.parametrize(
    ("given", "name"),
    [
        *(("Cs-137", "Cs-137"), ("cs137", "Cs-137"), ("137Cs", "Cs-137"), ("ba137m", "Ba-137m")),
        *(("137m ba", "Ba-137m"), ("u 238", "U-238"), ("Rn-222", "Rn-222"), ("K40", "K-40")),
    ],
)
def test_nuclides_as_people_write_them(given: str, name: str) -> None:
    assert nuclide_name(given) == name


def test_references_between_items_are_names() -> None:
    instrument = Instrument.loads(INSTRUMENT)
    assert instrument.factors[0].applies == "above the switch"
    assert Probe.loads(PROBE).tube == "slim steel 90"
    assert Inspection.loads(INSPECTION).change[0].undo == "bridge the two pads"


def test_lines_of_keys() -> None:
    assert line_of(TUBE, ("tube", "filter", 1, "material")) == 17
    assert line_of(TUBE, ("tube", "filter", 0, "none")) == 12
    assert line_of(SOURCE, ("source", "cover", 0, "material")) == 10
    assert line_of('a.b = 1\n"c d" = 2', ("c d",)) == 2
    assert line_of("", ("x",)) is None


_NAMES = st.text(
    alphabet=st.characters(codec="utf-8", exclude_categories=("Cs",)), min_size=1, max_size=30
)


@given(_NAMES, st.floats(min_value=1e-3, max_value=1e3), st.floats(min_value=1e-3, max_value=10))
def test_any_name_and_number_survive_the_file(name: str, diameter: float, wall: float) -> None:
    tube = Tube.from_dict(
        {
            "name": name,
            "outer_diameter_mm": diameter,
            "length_mm": f"{wall!r}..{wall * 2!r} cm",
            "wall": {"material": "Fe", "thickness_mm": wall},
        }
    )
    again: KitItem = loads_item(tube.dumps())
    assert again == tube
