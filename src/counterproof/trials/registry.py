"""The trials of the bench: adding one is one module and one line here."""

from __future__ import annotations

from difflib import get_close_matches

from counterproof.errors import UserError
from counterproof.texts import text
from counterproof.trials import background, dose_rate_ladder, repeatability, source_response
from counterproof.trials.shape import Trial

TRIALS: tuple[Trial, ...] = (
    background.TRIAL,
    source_response.TRIAL,
    dose_rate_ladder.TRIAL,
    repeatability.TRIAL,
)


def trial(name: str) -> Trial:
    """Return a trial by name; hyphens and underscores count as spaces.

    Raises:
        UserError: if there is no such trial, with the nearest name.
    """

    def plain(words: str) -> str:
        return words.strip().lower().replace("-", " ").replace("_", " ")

    wanted = plain(name)
    names = [t.name for t in TRIALS]
    for found in TRIALS:
        if plain(found.name) == wanted:
            return found
    near = get_close_matches(name, names, n=1)
    raise UserError(text("trials.no_trial", name=name, hint=near[0] if near else ", ".join(names)))
