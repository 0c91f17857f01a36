"""Records: what leaves an analysis, is stored, printed with ``--json`` and drawn.

What to use when: :class:`Run` for a stretch of recording, :class:`Outcome` for a judged trial,
:class:`Finding` for a statement about an instrument, :class:`Outlook` for a proposed change,
:class:`PulsesReport` and its siblings for what one command prints. Each carries ``kind`` and
``schema_version``; ``schema.py`` writes the JSON schemas that lie in ``docs/schema``.
"""

from counterproof.records.base import Measured, Part, Record
from counterproof.records.finding import Finding, NextMeasurement, Rival
from counterproof.records.findings import FindingListing
from counterproof.records.outcome import (
    Chart,
    Criterion,
    Judgement,
    Mark,
    Outcome,
    Row,
    Series,
    Verdict,
)
from counterproof.records.outlook import CandidateOutlook, Outlook, Predicted
from counterproof.records.plan import Plan, PlannedRun
from counterproof.records.publication import Item, Publication
from counterproof.records.pulses import PulsesReport
from counterproof.records.readout import ReadoutReport
from counterproof.records.run import Absorber, Position, Run, Signal

__all__ = [
    "Absorber",
    "CandidateOutlook",
    "Chart",
    "Criterion",
    "Finding",
    "FindingListing",
    "Item",
    "Judgement",
    "Mark",
    "Measured",
    "NextMeasurement",
    "Outcome",
    "Outlook",
    "Part",
    "Plan",
    "PlannedRun",
    "Position",
    "Predicted",
    "Publication",
    "PulsesReport",
    "ReadoutReport",
    "Record",
    "Rival",
    "Row",
    "Run",
    "Series",
    "Signal",
    "Verdict",
]
