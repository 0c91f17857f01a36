"""Write the build sheet of a probe on a bench: one page, both drawings, and the record."""

from __future__ import annotations

from pathlib import Path

from counterproof.bench import Bench
from counterproof.kit import Instrument, Probe, Tube
from counterproof.records.build import BuildSheet
from counterproof.retrofit.buildsheet import build_sheet, sheet_page
from counterproof.retrofit.compatibility import compatibility
from counterproof.retrofit.housing import housing_of, stl_bytes, threemf_bytes
from counterproof.retrofit.section import dimensions_of, section_dxf, section_of, section_svg
from counterproof.retrofit.wiring import wiring_of, wiring_svg
from counterproof.safefile import atomic_write
from counterproof.texts import text


def write_build_sheet(
    bench: Bench, instrument: str, probe: str, folder: Path, housing: bool = False
) -> BuildSheet:
    """Write ``build.html``, ``wiring.svg``, ``section.svg`` and ``section.dxf`` into a folder.

    With ``housing`` also ``body.stl``, ``cap.stl`` and ``housing.3mf``.

    Raises:
        UserError: for what is not on the bench, a disc tube, a housing too small, or a missing
            extra (``drawings``, for the housing ``cad``).
    """
    box = bench.get(Instrument, instrument)
    made = bench.get(Probe, probe)
    tube = bench.get(Tube, made.tube)
    wiring = wiring_of(box, made, tube)
    dimensions = dimensions_of(tube, made)
    section = section_of(dimensions, text("section.title", probe=probe))
    sheet = build_sheet(box, tube, made, wiring, dimensions, compatibility(box, tube, made))
    files = {
        "build.html": sheet_page(sheet, wiring, dimensions).encode(),
        "wiring.svg": wiring_svg(wiring).encode(),
        "section.svg": section_svg(section).encode(),
        "section.dxf": section_dxf(section).encode(),
    }
    if housing:
        solids = housing_of(dimensions)
        files |= {f"{name}.stl": stl_bytes(mesh, name) for name, mesh in solids.items()}
        files["housing.3mf"] = threemf_bytes(solids)
    for name, content in files.items():
        with atomic_write(folder / name, make_folder=True) as stream:
            stream.write(content)
    return sheet.model_copy(update={"files": tuple(str(folder / name) for name in files)})
