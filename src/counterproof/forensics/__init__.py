"""Forensics: why a box says what it says.

What to use when:

- clicks and displayed numbers of the same time: :func:`fit_readout` on :class:`PairedRun` s infers
  the firmware, and says so when they do not suffice;
- a box that does not click: ``silentfindings.silent_answer`` on a ladder of known dose rates, or on
  its average and dose registers beside the momentary readings;
- everything that a bench's runs say about a counter: ``findings.findings_of``, one module per kind
  of evidence (``readoutfindings``, ``registerfindings``, ``silentfindings``, ``nuclidefindings``,
  ``sensorfindings``, ``responsefindings``, ``backgroundfindings``, ``deadtimefindings``,
  ``disturbancefindings``);
- dead time by up to four methods, compared: ``deadtimes.dead_times``;
- one pulse train, disturbed or not, and what it would have shown: ``interference.disturbances``;
- two boxes that may be one design: ``twins.twins``;
- only a step of the display is wanted: :func:`find_step`;
- the firmware forward: ``counterproof.readout``.
"""

from counterproof.forensics.answer import Hypothesis, ReadoutFit
from counterproof.forensics.firmware import fit_readout
from counterproof.forensics.lattice import Lattice, find_step
from counterproof.forensics.likelihood import Structure
from counterproof.forensics.paired import PairedRun

__all__ = [
    "Hypothesis",
    "Lattice",
    "PairedRun",
    "ReadoutFit",
    "Structure",
    "find_step",
    "fit_readout",
]
