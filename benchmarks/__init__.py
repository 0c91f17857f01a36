"""Benchmarks: ratios against a named baseline measured in the same run. ``make measure``.

One module per topic, each with ``TITLE`` and ``measure() -> list[Row]``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One figure of ours beside a baseline's."""

    what: str
    ours: str
    baseline: str
    ratio: str
    note: str = ""
