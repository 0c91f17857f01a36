"""Half-lives and decay branches of ICRP Publication 107: the one module that owns the data.

Read from the data file of the package radioactivedecay (A. Malins and T. Lemoine, J. Open Source
Softw. 7 (2022) 3318; data: ICRP 2008, Ann. ICRP 38 (3)), without importing the package, which takes
seconds. The data are for not-for-profit use (see NOTICE); nothing is copied.
"""

from __future__ import annotations

import difflib
import math
import re
from functools import cache
from typing import Any, NamedTuple

from counterproof.errors import UserError
from counterproof.physics.xcom import package_file
from counterproof.texts import text

_SECONDS = {
    "ps": 1e-12,
    "ns": 1e-9,
    "us": 1e-6,
    "μs": 1e-6,
    "ms": 1e-3,
    "s": 1.0,
    "m": 60.0,
    "h": 3600.0,
    "d": 86400.0,
    "y": 365.2422 * 86400.0,
    "ky": 365.2422 * 86400.0 * 1e3,
    "My": 365.2422 * 86400.0 * 1e6,
    "By": 365.2422 * 86400.0 * 1e9,
}
YEAR_S = _SECONDS["y"]
"""The tropical year of ICRP-107, in seconds."""


class Decay(NamedTuple):
    """Half-life in seconds and ``(daughter, branching fraction)`` pairs, radioactive ones only."""

    half_life_s: float
    branches: tuple[tuple[str, float], ...]


@cache
def table() -> dict[str, Decay]:
    """All 1252 radionuclides of ICRP-107 by name, such as ``"Ba-137m"``."""
    import numpy as np

    path = package_file("radioactivedecay", "icrp107_ame2020_nubase2020/decay_data.npz")
    with np.load(path, allow_pickle=True) as data:
        names = [str(name) for name in data["nuclides"]]
        lives: Any = data["hldata"]
        progeny: Any = data["progeny"]
        shares: Any = data["bfs"]
    unstable = {
        name
        for name, row in zip(names, lives, strict=True)
        if str(row[1]) in _SECONDS and math.isfinite(row[0])
    }
    found = {}
    for name, row, daughters, fractions in zip(names, lives, progeny, shares, strict=True):
        if name in unstable:
            pairs = tuple(
                (str(d), float(f))
                for d, f in zip(daughters, fractions, strict=True)
                if str(d) in unstable
            )
            found[name] = Decay(float(row[0]) * _SECONDS[str(row[1])], pairs)
    return found


def nuclide_name(written: str) -> str:
    """Standard name of a nuclide: ``"cs137"``, ``"137Cs"``, ``"Cs 137"`` → ``"Cs-137"``.

    Raises:
        UserError: unknown nuclide; the nearest names are offered.
    """
    known = table()
    wanted = written.strip()
    if wanted in known:
        return wanted
    match = re.fullmatch(r"([A-Za-z]{1,2})[\s\-]*(\d{1,3})([mn]?)", wanted)
    if match is None:
        match = re.fullmatch(r"(\d{1,3})([mn]?)[\s\-]*([A-Za-z]{1,2})", wanted)
        parts = (match.group(3), match.group(1), match.group(2)) if match else None
    else:
        parts = (match.group(1), match.group(2), match.group(3))
    if parts is not None:
        name = f"{parts[0].capitalize()}-{parts[1]}{parts[2]}"
        if name in known:
            return name
        wanted = name
    near = ", ".join(_nearest(wanted)) or "Cs-137, Co-60"
    raise UserError(text("physics.unknown_nuclide", name=written, near=near))


# nuclides of check sources and everyday things: offered before rarer ones that look as alike
_COMMON = (
    "Am-241", "Ba-133", "C-14", "Cd-109", "Cl-36", "Co-57", "Co-60", "Cs-134", "Cs-137", "Eu-152",
    "Fe-55", "H-3", "I-131", "K-40", "Kr-85", "Lu-176", "Mn-54", "Na-22", "Ni-63", "Pb-210",
    "Pm-147", "Po-210", "Ra-226", "Ru-106", "Sr-90", "Tc-99", "Tc-99m", "Th-232", "Tl-204",
    "U-235", "U-238", "Y-90", "Zn-65",
)  # fmt: skip


def _nearest(wanted: str) -> list[str]:
    alike = difflib.SequenceMatcher(b=wanted)

    def rank(name: str) -> tuple[float, bool]:
        alike.set_seq1(name)
        return -alike.ratio(), name not in _COMMON

    found = difflib.get_close_matches(wanted, table(), n=12, cutoff=0.6)
    return sorted(found, key=rank)[:3]


def half_life_s(nuclide: str) -> float:
    """Half-life in seconds (ICRP-107)."""
    return table()[nuclide_name(nuclide)].half_life_s
