"""Acceptance profiles: named sets of criteria, each with its source."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from counterproof.errors import UserError
from counterproof.records import Criterion
from counterproof.texts import text

DEFAULT_PROFILE = "grade_b"


@dataclass(frozen=True)
class Profile:
    """A named set of criteria by judged quantity.

    ``spans`` bound the energies (keV) or angles (degrees) that a criterion speaks of; a criterion
    may name a source of its own.
    """

    key: str
    title: str
    source: str
    verified: bool
    criteria: Mapping[str, Criterion]
    spans: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def criterion(self, quantity: str) -> Criterion | None:
        """Return the criterion for a quantity, or ``None`` when the profile is silent on it."""
        return self.criteria.get(quantity)

    def covers(self, quantity: str, at: float) -> bool:
        """Whether a criterion speaks of this energy in keV (or angle in degrees).

        One without a span speaks of all.
        """
        low, high = self.spans.get(quantity, (-math.inf, math.inf))
        return low <= at <= high


def _profile(key: str, data: Mapping[str, Any]) -> Profile:
    source = str(data["source"])
    criteria = {
        c["quantity"]: Criterion(
            name=str(data["title"]),
            statement=c["statement"],
            source=str(c.get("source", source)),
            low=c.get("low"),
            high=c.get("high"),
        )
        for c in data["criteria"]
    }
    spans = {
        c["quantity"]: (float(c["span"][0]), float(c["span"][1]))
        for c in data["criteria"]
        if "span" in c
    }
    return Profile(key, str(data["title"]), source, bool(data["verified"]), criteria, spans)


@cache
def shipped() -> Mapping[str, Profile]:
    """Return the profiles that come with the project, by key."""
    raw = files(__package__).joinpath("profiles.toml").read_text(encoding="utf-8")
    return {k: _profile(k, v) for k, v in tomllib.loads(raw).items()}


def profile(name: str) -> Profile:
    """Return a profile by the key of a shipped one or by the path of one's own TOML file.

    Raises:
        UserError: if there is no such profile, or the file does not hold one.
    """
    if name in shipped():
        return shipped()[name]
    path = Path(name)
    if path.suffix == ".toml" and path.exists():
        try:
            data = tomllib.loads(path.read_text(encoding="utf-8"))
            key, value = next(iter(data.items()))
            return _profile(key, value)
        except (OSError, ValueError, KeyError, TypeError, StopIteration) as error:
            raise UserError(text("trials.profile_unreadable", path=path, reason=error)) from error
    near = get_close_matches(name, shipped(), n=1)
    hint = near[0] if near else ", ".join(shipped())
    raise UserError(text("trials.no_profile", name=name, hint=hint))
