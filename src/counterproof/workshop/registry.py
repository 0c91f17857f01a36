"""All trials of the bench: those of the trials room, and the one whose analysis is forensics."""

from __future__ import annotations

from counterproof.forensics.readout_trial import TRIAL as READOUT
from counterproof.trials import registry
from counterproof.trials.shape import Trial

TRIALS: tuple[Trial, ...] = (*registry.TRIALS, READOUT)


def trial(name: str) -> Trial:
    """Return a trial by name; hyphens and underscores count as spaces.

    Raises:
        UserError: if there is no such trial, with the nearest name.
    """
    return registry.trial(name, TRIALS)
