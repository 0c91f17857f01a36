"""Find the line of a key in TOML text, for error sentences."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*(?:"([^"]+)"|'([^']+)'|([\w.-]+))\s*=""")


def line_of(content: str, location: tuple[int | str, ...]) -> int | None:
    """Return the line (from 1) of the key at ``location``, or of the closest table around it.

    Args:
        content: TOML text.
        location: keys and list positions from the top, such as ``("tube", "filter", 1)``.
    """
    places = _places(content)
    while location:
        if location in places:
            return places[location]
        location = location[:-1]
    return None


def _places(content: str) -> dict[tuple[int | str, ...], int]:
    places: dict[tuple[int | str, ...], int] = {}
    seen: dict[tuple[int | str, ...], int] = {}  # how often an array's header has come
    here: tuple[int | str, ...] = ()
    for number, line in enumerate(content.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            here = ()
            names = [n.strip().strip("\"'") for n in header[2].split(".")]
            for name in names[:-1]:
                here += (name,)
                if here in seen:
                    here += (seen[here],)
            here += (names[-1],)
            if header[1] == "[[":
                seen[here] = seen.get(here, -1) + 1
                places.setdefault(here, number)
                here += (seen[here],)
            places.setdefault(here, number)
            continue
        key = _KEY.match(line)
        if key:
            parts = (key[1] or key[2] or key[3]).split(".")
            for i in range(1, len(parts) + 1):
                places.setdefault((*here, *parts[:i]), number)
    return places
