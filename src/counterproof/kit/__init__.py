"""What lies on the bench, as TOML that a person can write by hand.

What to use when:

- :class:`Instrument`: a counter as a box; :class:`Tube`: a GM tube; :class:`Probe`: a housing with
  a tube on a cable; :class:`Source`: a check source; :class:`Position`: where things stand;
  :class:`Inspection`: a dated look inside.
- ``Tube.load(path)`` reads one file, :func:`load_item` whichever kind it is.
- :mod:`counterproof.kit.questions` holds the questions that ``kit add`` asks.
"""

from counterproof.kit.base import KitItem
from counterproof.kit.fields import Span, nuclide_name, share_of
from counterproof.kit.inspection import Inspection
from counterproof.kit.instrument import Battery, Claim, Display, Instrument, Setting, Supply
from counterproof.kit.kinds import KINDS, load_item, loads_item
from counterproof.kit.layers import Filter, Layer, SizedLayer, Window
from counterproof.kit.position import Position
from counterproof.kit.probe import Cable, Housing, Probe
from counterproof.kit.source import Composition, Portion, Source
from counterproof.kit.tube import Anode, Datasheet, Gas, Tube

__all__ = [
    "KINDS",
    "Anode",
    "Battery",
    "Cable",
    "Claim",
    "Composition",
    "Datasheet",
    "Display",
    "Filter",
    "Gas",
    "Housing",
    "Inspection",
    "Instrument",
    "KitItem",
    "Layer",
    "Portion",
    "Position",
    "Probe",
    "Setting",
    "SizedLayer",
    "Source",
    "Span",
    "Supply",
    "Tube",
    "Window",
    "load_item",
    "loads_item",
    "nuclide_name",
    "share_of",
]
