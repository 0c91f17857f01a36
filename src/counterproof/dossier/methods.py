"""The methods chapter: what was computed, by which equation, from where."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any

from counterproof.dossier.blocks import Block, Heading, Words
from counterproof.records import Publication


@cache
def _entries() -> list[dict[str, Any]]:
    raw = files("counterproof.texts").joinpath("methods.toml").read_text(encoding="utf-8")
    return list(tomllib.loads(raw)["method"])


def blocks_of(p: Publication) -> Iterator[Block]:
    """Return the methods that were used, each with its equation and source."""
    used = {
        "always": True,
        "calibration": bool(p.calibrations),
        "retest": bool(p.retests),
        "comparison": bool(p.comparisons),
        "retrofit": bool(p.outlooks),
        "findings": bool(p.findings),
    }
    for entry in _entries():
        if used[entry["when"]]:
            yield Heading(entry["title"])
            yield Words(entry["words"])
            if entry.get("equation"):
                yield Words(entry["equation"], "equation")
            yield Words(entry["source"], "small")
