"""The wiring diagram: what it must show, in every variant."""

import builtins
import itertools
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from counterproof.errors import UserError
from counterproof.kit.instrument import Instrument
from counterproof.kit.probe import Probe
from counterproof.kit.tube import Tube
from counterproof.retrofit.wiring import Wiring, resistance_text, wiring_of, wiring_svg

PLAIN = Wiring(
    "Lantern & wand (invented)", "short glass", "slim steel", 400, 5.1e6, 4.7e6, "tube",
    "RG-58 1 m", 98.5e-12, "cathode", 1e9, 10e-9,
)  # fmt: skip


def words(svg):
    root = ElementTree.fromstring(svg)
    return " ".join(part.strip() for part in root.itertext() if part.strip())


def test_shows_what_is_wired():
    pytest.importorskip("schemdraw", reason="the extra 'drawings' is not installed")
    svg = wiring_svg(PLAIN)
    said = words(svg)
    for name in ("short glass", "slim steel", "5.1 MΩ", "4.7 MΩ", "RG-58 1 m", "400 V",
                 "changeover", "shield", "centre pin: live", "Lantern & wand"):  # fmt: skip
        assert name in said, name
    assert len(re.findall("1 GΩ", said)) == 2  # a bleeder on either side of the switch
    assert "black" not in svg


def test_every_variant_is_well_formed_and_inside_its_picture():
    pytest.importorskip("schemdraw", reason="the extra 'drawings' is not installed")
    for pickoff, at, inner in itertools.product(
        ("cathode", "anode"), ("tube", "box"), (None, "short glass")
    ):
        svg = wiring_svg(replace(PLAIN, pickoff=pickoff, resistor_at=at, internal_tube=inner))
        root = ElementTree.fromstring(svg)
        left, top, width, height = map(float, root.attrib["viewBox"].split())
        # a text's line hangs below the text's own place by the dy of its tspan
        places = [
            (float(e.attrib["x"]), float(e.attrib["y"]) + float(line.attrib["dy"]))
            for e in root.iter()
            if e.tag.endswith("text")
            for line in e
        ]
        assert places
        for x, y in places:
            assert left <= x <= left + width
            assert top <= y <= top + height
        assert ("changeover" in words(svg)) == (inner is not None)


def test_notes_warn():
    notes = " ".join(PLAIN.notes())
    # by hand: 3 RC ln(400/60) with 1 Gohm and 10 nF
    assert "57 s" in notes
    assert "lithium" in notes
    assert "Move the resistor to the tube" not in notes
    assert "Move the resistor to the tube" in " ".join(replace(PLAIN, resistor_at="box").notes())


def test_from_kit_files():
    box = Instrument.model_validate(
        {"name": "Lantern", "tube": "short glass",
         "supply": {"voltage": "400 V", "anode_resistor": "5.1 Mohm"}}
    )  # fmt: skip
    probe = Probe.model_validate(
        {"name": "wand", "tube": "slim steel", "cable": {"kind": "RG-58", "length": "1 m"}}
    )
    tube = Tube.model_validate(
        {"name": "slim steel", "outer_diameter_mm": 10, "length_mm": 100,
         "datasheet": {"anode_resistor_mohm": 4.7}}
    )  # fmt: skip
    made = wiring_of(box, probe, tube)
    assert (made.voltage_v, made.internal_ohm, made.probe_ohm) == (400, 5.1e6, 4.7e6)
    assert made.cable == "RG-58 1 m"
    assert made.internal_tube == "short glass"


def test_resistance_text():
    shown = [resistance_text(r) for r in (None, 4.7e6, 1e9, 100e3, 47.0)]
    assert shown == ["?", "4.7 MΩ", "1 GΩ", "100 kΩ", "47 Ω"]


def test_absence_of_schemdraw_is_one_sentence(monkeypatch):
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name.startswith("schemdraw"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(UserError, match="drawings"):
        wiring_svg(PLAIN)
