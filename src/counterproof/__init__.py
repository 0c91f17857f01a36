"""counterproof: the proof that a radiation counter counts, or does not.

The rooms of the house, from the ground up, are drawn in ``docs/architecture.md``.
"""

__version__ = "0.1.0"
