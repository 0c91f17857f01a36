"""The printable housing: body and cap as closed surfaces, from the section's own dimensions.

Solids are combined by manifold3d (the extra ``cad``), which guarantees a surface without gaps;
files are written here: STL for any slicer, 3MF where the unit should travel along. The axis lies
along x, as in the section: the cap's outside at 0, the front of the body at the probe's length.
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.retrofit.section import Dimensions
from counterproof.texts import text

SEGMENTS = 128
"""Sides of a printed circle: half a hundredth of a millimetre off at 15 mm."""


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed surface: vertices in mm, shape (n, 3), and triangles, shape (m, 3)."""

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]

    @property
    def volume_mm3(self) -> float:
        """Volume enclosed (divergence theorem); negative if the surface is inside out."""
        a, b, c = (self.vertices[self.triangles[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)

    @property
    def is_closed(self) -> bool:
        """Whether every edge belongs to two triangles, once in each direction."""
        t = self.triangles
        edges = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
        directed = set(map(tuple, edges.tolist()))
        return len(directed) == len(edges) and all((b, a) in directed for a, b in directed)


def _tools() -> Any:
    try:
        import manifold3d
    except ImportError:
        raise UserError(text("section.no_manifold")) from None
    return manifold3d.Manifold


def housing_of(d: Dimensions) -> dict[str, Mesh]:
    """Return ``"body"`` and ``"cap"``.

    Raises:
        UserError: if manifold3d (the extra ``cad``) is not installed.
    """
    solid = _tools()

    def rod(left: float, right: float, radius: float) -> Any:
        made = solid.cylinder(right - left, radius, radius, SEGMENTS)
        return made.rotate([0.0, 90.0, 0.0]).translate([left, 0.0, 0.0])

    beyond = 1.0  # cuts reach past the faces that they open
    outside, bore = d.outer_diameter / 2.0, d.bore / 2.0
    body = rod(d.cap, d.length, outside) - rod(d.cap - beyond, d.length - d.front, bore)
    left, right = d.slot_span
    for k in range(d.windows):
        slot = solid.cube([right - left, d.slot_width, 2.0 * d.wall], True)
        slot = slot.translate([0.5 * (left + right), 0.0, bore + 0.5 * d.wall])
        body = body - slot.rotate([360.0 * k / d.windows, 0.0, 0.0])
    inner, outer = d.spigot_radii
    end = d.cap + d.spigot
    cap = rod(0.0, d.cap, outside) + (
        rod(d.cap - 0.5, end, outer) - rod(d.cap, end + beyond, inner)
    )
    cap = cap - rod(-beyond, end + beyond, d.gland / 2.0)
    return {"body": _mesh(body), "cap": _mesh(cap)}


def _mesh(solid: Any) -> Mesh:
    made = solid.to_mesh()
    vertices = np.asarray(made.vert_properties, dtype=np.float64)[:, :3]
    return Mesh(vertices, np.asarray(made.tri_verts, dtype=np.int64))


def stl_bytes(mesh: Mesh, name: str = "") -> bytes:
    """Return a binary STL (80 bytes of heading, count, 50 bytes a triangle), millimetres."""
    corners = mesh.vertices[mesh.triangles].astype("<f4")
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = (normal / np.where(length > 0.0, length, 1.0)).astype("<f4")
    record = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["n"], record["v"] = normal, corners
    head = f"counterproof {name}, mm".encode("ascii", "replace")[:80].ljust(80)
    return head + struct.pack("<I", len(corners)) + record.tobytes()


_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>"
)
_LINKS = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def threemf_bytes(parts: Mapping[str, Mesh]) -> bytes:
    """Return a 3MF package (core specification 1.x, from memory) with the parts, millimetres."""
    objects, items = [], []
    for number, (name, mesh) in enumerate(parts.items(), start=1):
        vertices = "".join(
            f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>' for x, y, z in mesh.vertices
        )
        triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles)
        objects.append(
            f'<object id="{number}" type="model" name="{name}"><mesh><vertices>{vertices}'
            f"</vertices><triangles>{triangles}</triangles></mesh></object>"
        )
        items.append(f'<item objectid="{number}"/>')
    model = (
        '<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
        f"{''.join(objects)}</resources><build>{''.join(items)}</build></model>"
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        for path, content in (
            ("[Content_Types].xml", _TYPES), ("_rels/.rels", _LINKS), ("3D/3dmodel.model", model),
        ):  # fmt: skip
            # a fixed date: the same probe gives the same file
            package.writestr(zipfile.ZipInfo(path, (2000, 1, 1, 0, 0, 0)), content)
    return stream.getvalue()
