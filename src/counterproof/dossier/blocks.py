"""What a dossier consists of: chapters of blocks, the same for the page and for print.

:mod:`counterproof.dossier.chapters` builds them from a publication; ``page.html.j2`` and
``page.typ.j2`` know how to set each kind of block and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from counterproof.dossier.shown import Grid
from counterproof.records import Chart
from counterproof.records.publication import Photo, Sketch

Style = Literal["", "note", "gap", "question", "method", "verdict", "invented", "small", "equation"]


@dataclass(frozen=True)
class Heading:
    """A heading inside a chapter."""

    kind: ClassVar[str] = "heading"
    words: str
    aside: str = ""


@dataclass(frozen=True)
class Words:
    """A paragraph; ``strong`` is set bold at its end."""

    kind: ClassVar[str] = "words"
    words: str
    style: Style = ""
    strong: str = ""


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    kind: ClassVar[str] = "bullets"
    items: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table with its name for those who hear the page."""

    kind: ClassVar[str] = "table"
    grid: Grid
    label: str
    small: bool = False


@dataclass(frozen=True)
class Facts:
    """Pairs of what and how much."""

    kind: ClassVar[str] = "facts"
    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Figure:
    """A chart."""

    kind: ClassVar[str] = "figure"
    chart: Chart


@dataclass(frozen=True)
class Drawings:
    """Sketches of geometries, side by side."""

    kind: ClassVar[str] = "drawings"
    sketches: tuple[Sketch, ...]


@dataclass(frozen=True)
class Picture:
    """A photograph."""

    kind: ClassVar[str] = "picture"
    photo: Photo


@dataclass(frozen=True)
class Card:
    """A correction card for the pocket: one probe, its setting, what to multiply by."""

    kind: ClassVar[str] = "card"
    title: str
    lines: tuple[tuple[str, str], ...]
    foot: str


Block = Heading | Words | Bullets | Table | Facts | Figure | Drawings | Picture | Card


@dataclass(frozen=True)
class Chapter:
    """A chapter: key for links, title, the word that sums it up, and its blocks."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    word: str = ""
    new_page: bool = False
