"""Long seeded acceptance runs. ``python -m acceptance [topic …]`` writes docs/acceptance.md.

One module per topic, each with ``TITLE`` and ``measure(quick) -> list[Row]``. The suite runs every
topic with ``quick=True`` and asserts that its rows pass; the full run measures what is claimed.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One bar and what was measured against it."""

    bar: str
    required: str
    measured: str
    passed: bool
    note: str = ""
