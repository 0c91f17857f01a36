"""An inspection: dated notes and photos of a teardown, by part; handling; how to undo it."""

from __future__ import annotations

import datetime as dt
from typing import ClassVar, Literal

from pydantic import Field

from counterproof.kit.base import KitItem, KitPart


class PartNote(KitPart):
    """What was seen of one part, with markings and measured values as written."""

    part: Literal[
        "case", "tube", "board", "supply", "resistor", "battery", "display", "sounder", "keys",
        "cable", "switch", "connector", "filter", "other",
    ]  # fmt: skip
    note: str
    marking: str = ""
    measured: dict[str, str] = Field(default_factory=dict)
    photos: tuple[str, ...] = ()


class Handling(KitPart):
    """How the box is to use, in words."""

    legibility: str = ""
    loudness: str = ""
    keys: str = ""
    note: str = ""


class Change(KitPart):
    """What was cut, moved or replaced, and how to undo it."""

    what: str
    undo: str
    photos: tuple[str, ...] = ()


class Inspection(KitItem):
    """A dated look inside an instrument or probe."""

    table: ClassVar[str] = "inspection"

    of: str
    date: dt.date
    by: str = ""
    part: tuple[PartNote, ...] = ()
    handling: Handling = Handling()
    change: tuple[Change, ...] = ()
    note: str = ""
