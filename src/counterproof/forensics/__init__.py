"""Forensics: why a box says what it says.

What to use when:

- clicks and displayed numbers of the same time: :func:`fit_readout` on :class:`PairedRun` s infers
  the firmware, and says so when they do not suffice;
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
