"""Use cases that the faces share: they ask for work, this room does it.

What to use when: ``settings`` and ``logbook`` for the frame around every command, ``detect`` for a
recording that belongs to no bench, ``capture`` to put signals on a bench, ``judge`` to run trials,
``demo`` for the invented workshop.
"""
