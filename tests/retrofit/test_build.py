"""The build sheet: section in two formats from one list of shapes, parts, checks, cautions."""

from xml.etree import ElementTree

import pytest

from counterproof.bench import Bench
from counterproof.cli.app import run
from counterproof.errors import UserError
from counterproof.kit import Instrument, Probe, Tube
from counterproof.retrofit.buildsheet import build_sheet, sheet_page
from counterproof.retrofit.compatibility import compatibility
from counterproof.retrofit.section import dimensions_of, section_dxf, section_of, section_svg
from counterproof.retrofit.wiring import wiring_of
from tests.retrofit.invented import LANTERN, SHEET

TUBE = Tube.model_validate(
    {
        "name": "slim steel",
        "construction": "thin metal",
        "outer_diameter_mm": 8,
        "length_mm": 90,
        "datasheet": SHEET,
    }
)
PROBE = {
    "name": "wand", "tube": "slim steel", "anode_resistor": "4.7 Mohm",
    "cable": {"kind": "RG-58", "length": "1 m", "rated": "1.4 kV"},
    "filter": [{"material": "brass", "thickness_mm": 0.1},
               {"material": "tin", "thickness_mm": 0.75}],
    "housing": {"wall": {"material": "PMMA", "thickness_mm": 2.0}, "open_fraction": 0.25},
}  # fmt: skip


def probe(**changes):
    return Probe.model_validate(PROBE | changes)


def test_dimensions_follow_from_the_tube():
    d = dimensions_of(TUBE, probe())
    # by hand: 8 + 2·(0.1 + 0.75) + 2·0.5 of play; 2 mm of wall; 90 + 22 behind the tube
    assert d.bore == pytest.approx(10.7)
    assert d.outer_diameter == pytest.approx(14.7)
    assert d.cavity == pytest.approx(112.0)
    assert d.length == pytest.approx(2.0 + 112.0 + 3.0)
    # slots take 0.25 of the side over the tube: 0.8 of its length times their share
    assert d.window_share * d.window_length / d.tube_length == pytest.approx(0.25)


def test_nothing_overlaps_and_all_is_inside():
    d = dimensions_of(TUBE, probe())
    section = section_of(d, "wand")
    boxes = {
        k: [p.box for p in section.parts if p.layer == k] for k in ("housing", "filter", "tube")
    }
    top = max(b[3] for b in boxes["filter"])
    assert top <= d.bore / 2.0
    left, right = min(b[0] for b in boxes["tube"]), max(b[2] for b in boxes["tube"])
    assert 0.0 < left < right < d.length
    spigot = max(p.box[2] for p in section.parts if p.layer == "cap")
    assert spigot < left  # the cap does not reach the tube
    x0, y0, x1, y1 = section.size
    for p in section.parts:
        assert x0 <= p.box[0] < p.box[2] <= x1
        assert y0 <= p.box[1] < p.box[3] <= y1


def test_both_drawings_say_the_same():
    ezdxf = pytest.importorskip("ezdxf", reason="the extra 'drawings' is not installed")
    import io

    section = section_of(dimensions_of(TUBE, probe()), "wand & co")
    svg = ElementTree.fromstring(section_svg(section))
    written = {e.text for e in svg.iter() if e.tag.endswith("text")}
    document = ezdxf.read(io.StringIO(section_dxf(section)))
    assert not document.audit().errors
    assert document.units == ezdxf.units.MM
    space = document.modelspace()
    dims = {d.dxf.text for d in space.query("DIMENSION")}
    assert dims == {m.text for m in section.measures} <= written
    # a dimension's text is the distance between its points
    for m in section.measures:
        assert float(m.text.strip("⌀")) == pytest.approx(abs(m.end - m.start), abs=0.051)
    outlines = {tuple(round(c, 3) for c in p.box) for p in section.parts}
    for line in space.query("LWPOLYLINE"):
        xs, ys = zip(*[(x, y) for x, y, *_ in line.get_points()], strict=True)
        assert tuple(round(c, 3) for c in (min(xs), min(ys), max(xs), max(ys))) in outlines
    assert len(space.query("LWPOLYLINE")) == len(section.parts)


def test_sheet_warns_and_states_what_to_measure():
    box = Instrument.model_validate(LANTERN)
    made = probe()
    d = dimensions_of(TUBE, made)
    wiring = wiring_of(box, made, TUBE)
    sheet = build_sheet(box, TUBE, made, wiring, d, compatibility(box, TUBE, made))
    cautions = " ".join(sheet.cautions)
    for word in (
        "centre pin",
        "plug",
        "lithium",
        "creepage",
        "maximum voltage",
        "sources",
        "bleeder",
    ):
        assert word in cautions, word
    checks = {c.what: c.expected for c in sheet.checks}
    assert checks["anode resistor"] == "4.23 MΩ to 5.17 MΩ"
    # 400 V behind 4.7 MΩ: 400·10/14.7 = 272 V on 10 MΩ, 398 V on 1 GΩ
    assert "272 V" in checks["high voltage at the anode clip"]
    assert "398 V" in checks["high voltage at the anode clip"]
    assert checks["highest voltage against the tube's maximum"] == "below 480 V"
    order = " ".join(sheet.steps)
    assert order.index("lithium") < order.index("Wait") < order.index("bleeders")
    assert "under a lamp" in order
    assert any("mg/cm²" in n for n in sheet.notes)
    assert any(p.what == "changeover switch" for p in sheet.parts)
    pytest.importorskip("schemdraw", reason="the extra 'drawings' is not installed")
    page = sheet_page(sheet, wiring, d)
    assert page.count("<svg") == 2
    assert "http" not in page.replace("http://www.w3.org", "")  # nothing is loaded from elsewhere


def test_what_cannot_be_drawn():
    pancake = Tube.model_validate({"name": "p", "form": "pancake", "outer_diameter_mm": 40,
                                   "length_mm": 15})  # fmt: skip
    with pytest.raises(UserError, match="disc tube"):
        dimensions_of(pancake, probe(tube="p"))
    narrow = {"outer_diameter_mm": 12.0, "wall": {"material": "PMMA", "thickness_mm": 2.0}}
    with pytest.raises(UserError, match="too narrow"):
        dimensions_of(TUBE, probe(housing=narrow))
    with pytest.raises(UserError, match="shorter"):
        dimensions_of(TUBE, probe(housing={"length_mm": 60.0}))


def test_command_writes_four_files(tmp_path, capsys):
    pytest.importorskip("schemdraw", reason="the extra 'drawings' is not installed")
    pytest.importorskip("ezdxf", reason="the extra 'drawings' is not installed")
    with Bench.create(tmp_path / "b", "invented") as bench:
        bench.add(Instrument.model_validate(LANTERN | {"tube": None}))
        bench.add(TUBE)
        bench.add(probe())
    out = tmp_path / "sheet"
    words = ["build-sheet", str(tmp_path / "b"), "-i", "Lantern", "-p", "wand", "-o", str(out)]
    assert run(words) == 0
    assert {p.name for p in out.iterdir()} == {
        "build.html",
        "wiring.svg",
        "section.svg",
        "section.dxf",
    }
    assert "centre pin" in capsys.readouterr().out
    assert run([*words[:-3], "spoon", "-o", str(out)]) == 2
