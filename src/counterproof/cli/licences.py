"""``counterproof licences``: the licence of the code and the terms of the data it uses."""

from __future__ import annotations

import sys
from importlib.metadata import distribution
from importlib.resources import files


def licences() -> None:
    """Print the licence of the code and the terms of each data set."""
    held = {p.name: p for p in distribution("counterproof").files or ()}
    for name in ("NOTICE", "LICENSE"):
        sys.stdout.write(str(held[name].read_text(encoding="utf-8")).strip() + "\n\n")
    font = files("counterproof.charts").joinpath("fonts", "OFL.txt").read_text(encoding="utf-8")
    sys.stdout.write(font.strip() + "\n")
