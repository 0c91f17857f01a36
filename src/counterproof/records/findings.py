"""What ``counterproof findings --json`` prints."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Record
from counterproof.records.finding import Finding


class FindingListing(Record):
    """Every finding about one instrument, and what could not be looked into."""

    kind: Literal["findings"] = "findings"
    instrument: str
    findings: tuple[Finding, ...]
    missing: tuple[str, ...] = ()
