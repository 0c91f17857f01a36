"""A chart's numbers as a table, for whoever wants to draw or check them elsewhere."""

from __future__ import annotations

import csv as _csv
import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from counterproof.records import Chart

_RISKY = ("=", "+", "-", "@", "\t", "\r")


def csv(chart: Chart) -> str:
    """Return the chart's points as CSV text, a line each, with the axes' titles in the head."""
    out = io.StringIO()
    writer = _csv.writer(out, lineterminator="\n")
    x, y = chart.x_title or "x", chart.y_title or "y"
    writer.writerow(["series", "role", "label", plain(x), plain(y), "low", "high"])
    for s in chart.series:
        for i, (a, b) in enumerate(zip(s.x, s.y, strict=True)):
            label = s.labels[i] if s.labels else ""
            low = s.low[i] if s.low else None
            high = s.high[i] if s.high else None
            row = [plain(s.name), s.role, plain(label)]
            writer.writerow([*row, *("" if v is None else repr(v) for v in (a, b, low, high))])
    return out.getvalue()


def plain(words: str) -> str:
    """Keep a spreadsheet from taking words for a formula."""
    return f"'{words}" if words.startswith(_RISKY) else words
