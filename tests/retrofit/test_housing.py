"""The printable housing: closed, of the right volume, of the section's dimensions."""

import io
import math
import struct
import zipfile
from xml.etree import ElementTree

import numpy as np
import pytest

from counterproof.kit import Probe
from counterproof.retrofit.housing import housing_of, stl_bytes, threemf_bytes
from counterproof.retrofit.section import dimensions_of, section_of
from tests.retrofit.test_build import PROBE, TUBE

pytest.importorskip("manifold3d", reason="the extra 'cad' is not installed")


def made(**housing):
    d = dimensions_of(TUBE, Probe.model_validate(PROBE | {"housing": housing}))
    return d, housing_of(d)


def test_closed_and_of_the_volume_of_its_formula():
    d, parts = made(wall={"material": "PMMA", "thickness_mm": 2.0})
    r, o = d.bore / 2.0, d.outer_diameter / 2.0
    # cylinders by hand; a circle of 128 sides holds 0.04 % less
    body = math.pi * (o**2 * (d.cavity + d.front) - r**2 * d.cavity)
    inner, outer = d.spigot_radii
    g = d.gland / 2.0
    cap = math.pi * ((o**2 - g**2) * d.cap + (outer**2 - inner**2) * d.spigot)
    for name, volume in (("body", body), ("cap", cap)):
        assert parts[name].is_closed
        assert parts[name].volume_mm3 == pytest.approx(volume, rel=0.002)


def test_slots_take_what_the_drawing_says():
    _, plain = made(wall={"material": "PMMA", "thickness_mm": 2.0})
    d, slotted = made(wall={"material": "PMMA", "thickness_mm": 2.0}, open_fraction=0.25)
    assert slotted["body"].is_closed
    taken = plain["body"].volume_mm3 - slotted["body"].volume_mm3
    # about width × wall × length each; curvature changes it by a few per cent
    assert taken == pytest.approx(d.windows * d.slot_width * d.wall * d.window_length, rel=0.05)


def test_extents_are_those_of_the_section():
    d, parts = made(wall={"material": "PMMA", "thickness_mm": 2.0}, open_fraction=0.25)
    section = section_of(d, "")
    for name, layer in (("body", "housing"), ("cap", "cap")):
        boxes = np.array([p.box for p in section.parts if p.layer == layer])
        low, high = parts[name].vertices.min(axis=0), parts[name].vertices.max(axis=0)
        assert low[0] == pytest.approx(boxes[:, 0].min(), abs=1e-4)
        assert high[0] == pytest.approx(boxes[:, 2].max(), abs=1e-4)
        assert high[1:] == pytest.approx(boxes[:, 3].max(), abs=0.01)
    # the cap's spigot goes into the bore, the tube between spigot and front
    spigot = parts["cap"].vertices
    inside = spigot[spigot[:, 0] > d.cap + 0.1]
    assert np.hypot(inside[:, 1], inside[:, 2]).max() < d.bore / 2.0


def test_files_come_back():
    _, parts = made(wall={"material": "PMMA", "thickness_mm": 2.0})
    body = parts["body"]
    stl = stl_bytes(body, "body")
    (count,) = struct.unpack("<I", stl[80:84])
    assert count == len(body.triangles)
    assert len(stl) == 84 + 50 * count
    first = np.frombuffer(stl, "<f4", 12, 84)
    assert first[3:] == pytest.approx(body.vertices[body.triangles[0]].ravel(), abs=1e-4)
    package = zipfile.ZipFile(io.BytesIO(threemf_bytes(parts)))
    model = ElementTree.fromstring(package.read("3D/3dmodel.model"))
    assert model.attrib["unit"] == "millimeter"
    space = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    assert len(model.findall(f".//{space}object")) == 2
    triangles = model.findall(f".//{space}triangle")
    assert len(triangles) == sum(len(m.triangles) for m in parts.values())
    assert threemf_bytes(parts) == threemf_bytes(parts)
