"""The trials of the bench: adding one is one module and one line here."""

from __future__ import annotations

from difflib import get_close_matches

from counterproof.errors import UserError
from counterproof.texts import text
from counterproof.trials import (
    angle,
    background,
    beta_shutter,
    climate,
    dose_rate_ladder,
    endurance,
    energy_response,
    light,
    overload,
    plateau_sweep,
    repeatability,
    response_time,
    source_response,
)
from counterproof.trials.shape import Trial

TRIALS: tuple[Trial, ...] = (
    background.TRIAL,
    source_response.TRIAL,
    dose_rate_ladder.TRIAL,
    repeatability.TRIAL,
    beta_shutter.TRIAL,
    energy_response.TRIAL,
    angle.TRIAL,
    response_time.TRIAL,
    plateau_sweep.TRIAL,
    light.TRIAL,
    overload.TRIAL,
    endurance.TRIAL,
    climate.TRIAL,
)


def trial(name: str, among: tuple[Trial, ...] = TRIALS) -> Trial:
    """Return a trial by name; hyphens and underscores count as spaces.

    Raises:
        UserError: if there is no such trial, with the nearest name.
    """

    def plain(words: str) -> str:
        return words.strip().lower().replace("-", " ").replace("_", " ")

    for found in among:
        if plain(found.name) == plain(name):
            return found
    names = [t.name for t in among]
    near = get_close_matches(name, names, n=1)
    raise UserError(text("trials.no_trial", name=name, hint=near[0] if near else ", ".join(names)))
