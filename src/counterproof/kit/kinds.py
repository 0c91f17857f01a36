"""The kinds of kit items by the name of their table."""

from __future__ import annotations

from pathlib import Path

from counterproof.errors import UserError
from counterproof.kit.base import KitItem, parse_toml, read_text
from counterproof.kit.inspection import Inspection
from counterproof.kit.instrument import Instrument
from counterproof.kit.position import Position
from counterproof.kit.probe import Probe
from counterproof.kit.source import Source
from counterproof.kit.tube import Tube
from counterproof.texts import text

KINDS: dict[str, type[KitItem]] = {
    kind.table: kind for kind in (Instrument, Tube, Probe, Source, Position, Inspection)
}
"""Table name to class, in the order in which people think of them."""


def loads_item(content: str, origin: str = "") -> KitItem:
    """Read an item of whichever kind from TOML text.

    Raises:
        UserError: if it holds no or several kit tables, or something in it is wrong.
    """
    origin = origin or text("kit.typed")
    data = parse_toml(content, origin)
    tables = list(data)
    if len(tables) != 1 or tables[0] not in KINDS:
        found = ", ".join(f"[{k}]" for k in tables) or text("kit.nothing")
        known = ", ".join(f"[{k}]" for k in KINDS)
        raise UserError(text("kit.which_kind", origin=origin, found=found, known=known))
    return KINDS[tables[0]].from_dict(data[tables[0]], origin, content)


def load_item(path: Path) -> KitItem:
    """Read an item of whichever kind from a TOML file.

    Raises:
        UserError: as :func:`loads_item`, or if the file cannot be read.
    """
    return loads_item(read_text(path), str(path))
