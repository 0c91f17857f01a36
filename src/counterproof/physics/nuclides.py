"""Decay and ingrowth: what a source holds at a date.

What to use when: :func:`inventory` for a source as written (a nuclide or a named material such as
``"uranium ore"``), :func:`decay` for exact ingrowth from given activities, and
:func:`equilibrium` for the ratios of a chain at rest. Chains are solved with the equations of H.
Bateman, Proc. Cambridge Philos. Soc. 15 (1910) 423, in 80-digit decimals, so that a chain from
billions of years to microseconds loses nothing.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import lru_cache

from counterproof.errors import UserError
from counterproof.physics import decaydata
from counterproof.physics.decaydata import YEAR_S, half_life_s, nuclide_name
from counterproof.texts import text

_DIGITS = 80
_SHORT_LIVED_S = YEAR_S
_RADON = "Rn-222"
HALF_LIFE_RELATIVE_U = 0.003
"""Relative standard uncertainty taken for a half-life; ICRP-107 states none. Evaluated half-lives
of the nuclides in check sources are known to 0.05 to 0.5 %."""

_LN2 = Decimal(2).ln()


@dataclass(frozen=True)
class Recipe:
    """A named source material: nuclides per unit of the leading one, and how far chains grew in.

    Args:
        lead: nuclide whose activity is quoted.
        parts: ``(nuclide, activity per lead activity, state)``; state is ``"short"`` (daughters
            that live less than a year are in equilibrium) or ``"full"`` (the whole chain is).
        note: what is assumed, in a sentence.
    """

    lead: str
    parts: tuple[tuple[str, float, str], ...]
    note: str


# U-235 : U-238 by activity in natural uranium, from 0.7204 atom % and the ICRP-107 half-lives
_U235 = 0.00720 / 0.99274 * (4.468e9 / 7.04e8)
RECIPES: dict[str, Recipe] = {
    "uranium ore": Recipe(
        "U-238",
        (("U-238", 1.0, "full"), ("U-235", _U235, "full")),
        "all daughters of U-238 and U-235 in equilibrium, radon retained as stated",
    ),
    "natural uranium": Recipe(
        "U-238",
        (("U-238", 1.0, "short"), ("U-234", 1.0, "short"), ("U-235", _U235, "short")),
        "chemically separated: only daughters that live less than a year have grown in again",
    ),
    "depleted uranium": Recipe(
        "U-238",
        (("U-238", 1.0, "short"), ("U-234", 0.15, "short"), ("U-235", 0.013, "short")),
        "0.2 % U-235; only daughters that live less than a year have grown in again",
    ),
    "radium paint": Recipe(
        "Ra-226",
        (("Ra-226", 1.0, "short"),),
        "radon and its short-lived daughters in equilibrium, Pb-210 grown in since the reference "
        "date",
    ),
    "thorium": Recipe(
        "Th-232",
        (("Th-232", 1.0, "full"),),
        "the whole thorium chain in equilibrium (60 years or more after separation)",
    ),
}
ALIASES = {
    "ore": "uranium ore",
    "uranium mineral": "uranium ore",
    "pitchblende": "uranium ore",
    "uranium glaze": "natural uranium",
    "glaze": "natural uranium",
    "uranium glass": "natural uranium",
    "uranium metal": "natural uranium",
    "u-nat": "natural uranium",
    "radium dial": "radium paint",
    "thoriated metal": "thorium",
    "thoriated tungsten": "thorium",
    "thorium mantle": "thorium",
    "th-nat": "thorium",
}


@dataclass(frozen=True)
class Inventory:
    """Activities at a moment.

    Args:
        lead: the nuclide whose activity was quoted.
        activities_bq: every radioactive member, Bq (or per Bq of the lead at the reference date).
        lead_fraction: activity of the lead now over that at the reference date.
        decay_relative_u: relative standard uncertainty of that fraction, from the half-life.
    """

    lead: str
    activities_bq: dict[str, float]
    lead_fraction: float = 1.0
    decay_relative_u: float = 0.0


def _chain(start: str, retention: float) -> list[tuple[str, list[tuple[str, float]]]]:
    """Members in an order in which parents precede daughters, with their branches."""
    data = decaydata.table()
    order: list[str] = []
    seen: set[str] = set()

    def visit(name: str) -> None:
        seen.add(name)
        for daughter, _ in data[name].branches:
            if daughter not in seen:
                visit(daughter)
        order.append(name)

    visit(start)
    order.reverse()
    return [
        (
            name,
            [(d, f * (retention if d == _RADON else 1.0)) for d, f in data[name].branches],
        )
        for name in order
    ]


@lru_cache(maxsize=512)
def _grown(start: str, elapsed_s: float, retention: float) -> dict[str, float]:
    """Activities from one becquerel of ``start`` after a time, Bateman's equations."""
    chain = _chain(start, retention)
    data = decaydata.table()
    with localcontext() as context:
        context.prec = _DIGITS
        time = Decimal(elapsed_s)
        rate: dict[str, Decimal] = {}
        for name, _ in chain:
            value = _LN2 / Decimal(data[name].half_life_s)
            while value in rate.values():  # two equal half-lives: split them imperceptibly
                value *= 1 + Decimal(10) ** -30
            rate[name] = value
        # N_i(t) = Σ_j c[i][j] exp(−λ_j t)
        terms: dict[str, dict[str, Decimal]] = {name: {} for name, _ in chain}
        for name, branches in chain:
            own = terms[name]
            at_start = 1 / rate[start] if name == start else Decimal(0)
            own[name] = at_start - sum(own.values(), Decimal(0))
            for daughter, fraction in branches:
                inflow = terms[daughter]
                for j, c in own.items():
                    gain = Decimal(fraction) * rate[name] * c / (rate[daughter] - rate[j])
                    inflow[j] = inflow.get(j, Decimal(0)) + gain
        decayed = {name: (-rate[name] * time).exp() for name, _ in chain}
        return {
            name: max(
                float(rate[name] * sum((c * decayed[j] for j, c in own.items()), Decimal(0))), 0.0
            )
            for name, own in terms.items()
        }


def decay(
    activities_bq: Mapping[str, float], elapsed_s: float, radon_retention: float = 1.0
) -> dict[str, float]:
    """Activities after a time, with all daughters.

    Args:
        activities_bq: activities at the start, by nuclide.
        elapsed_s: seconds, not negative.
        radon_retention: share of the Rn-222 that stays until it decays, 0 to 1. Thoron and actinon
            live seconds and are taken to stay.

    Raises:
        UserError: unknown nuclide, negative time, or a retention outside 0 to 1.
    """
    if elapsed_s < 0.0:
        raise UserError(text("physics.before_reference"))
    if not 0.0 <= radon_retention <= 1.0:
        raise UserError(text("physics.radon_retention", value=f"{radon_retention:g}"))
    total: dict[str, float] = {}
    for written, activity in activities_bq.items():
        for name, share in _grown(nuclide_name(written), float(elapsed_s), radon_retention).items():
            total[name] = total.get(name, 0.0) + activity * share
    return total


def equilibrium(nuclide: str, full: bool = False, radon_retention: float = 1.0) -> dict[str, float]:
    """Activities per becquerel of the parent once daughters have grown in.

    A daughter joins when it lives shorter than the parent and, unless ``full``, less than a year;
    behind one that does not join the chain ends. Ratios are those of transient equilibrium,
    ``λ_d/(λ_d − λ_p)`` per step, which is one for long-lived parents.
    """
    parent = nuclide_name(nuclide)
    chain = _chain(parent, radon_retention)
    data = decaydata.table()
    parent_life = data[parent].half_life_s
    out = {parent: 1.0}
    for name, branches in chain:
        if name not in out:
            continue
        for daughter, fraction in branches:
            life = data[daughter].half_life_s
            if life >= parent_life or not (full or life < _SHORT_LIVED_S):
                continue
            grown = out[name] * fraction * parent_life / (parent_life - life)
            out[daughter] = out.get(daughter, 0.0) + grown
    return out


def source_kinds() -> list[str]:
    """Names of source materials besides nuclides."""
    return [*RECIPES, *ALIASES]


def recipe_of(written: str) -> Recipe:
    """Recipe of a nuclide or a named source material.

    Raises:
        UserError: neither a nuclide nor a known material; the nearest names are offered.
    """
    key = " ".join(written.strip().lower().split())
    key = ALIASES.get(key, key)
    if key in RECIPES:
        return RECIPES[key]
    try:
        name = nuclide_name(written)
    except UserError:
        near = difflib.get_close_matches(key, source_kinds(), n=2, cutoff=0.6)
        if not near:
            raise
        raise UserError(
            text("physics.unknown_nuclide", name=written, near=", ".join(near))
        ) from None
    return Recipe(
        name,
        ((name, 1.0, "short"),),
        "daughters that live less than a year and less than their parent in equilibrium at the "
        "reference date; longer-lived ones grow in since",
    )


@dataclass(frozen=True)
class Part:
    """One nuclide of a source and how far its daughters have grown in at the reference date.

    Args:
        nuclide: standard name.
        share: activity over that of the leading nuclide.
        state: ``"pure"``, ``"short"`` (daughters that live less than a year and less than the
            parent are in equilibrium) or ``"full"`` (the whole chain is).
    """

    nuclide: str
    share: float = 1.0
    state: str = "short"


def parts_of(nuclide: str, state: str | None = None) -> tuple[Part, ...]:
    """Parts of a nuclide or a named source material.

    Raises:
        UserError: unknown nuclide or state.
    """
    if state not in (None, "pure", "short", "full"):
        raise UserError(text("physics.state", value=state))
    return tuple(Part(name, share, state or own) for name, share, own in recipe_of(nuclide).parts)


def held(
    parts: tuple[Part, ...],
    activity_bq: float,
    elapsed_s: float,
    radon_retention: float = 1.0,
) -> Inventory:
    """What a source of several parts holds.

    Args:
        parts: the first is the leading nuclide.
        activity_bq: activity of the leading nuclide at the reference date; 1 for ratios.
        elapsed_s: seconds since the reference date.
        radon_retention: share of Rn-222 kept, 0 to 1.

    Raises:
        UserError: a date before the reference date, retention outside 0 to 1, unknown nuclide.
    """
    if elapsed_s < 0.0:
        raise UserError(text("physics.before_reference"))
    if not 0.0 <= radon_retention <= 1.0:
        raise UserError(text("physics.radon_retention", value=f"{radon_retention:g}"))
    at_reference: dict[str, float] = {}
    for part in parts:
        name = nuclide_name(part.nuclide)
        if part.state == "pure":
            grown = {name: 1.0}
        else:
            grown = equilibrium(name, part.state == "full", radon_retention)
        for member, ratio in grown.items():
            gain = part.share * ratio * activity_bq
            at_reference[member] = at_reference.get(member, 0.0) + gain
    now = decay(at_reference, elapsed_s, radon_retention) if elapsed_s else at_reference
    lead = nuclide_name(parts[0].nuclide)
    exponent = 0.6931472 * elapsed_s / half_life_s(lead)
    left = now[lead] / at_reference[lead] if at_reference[lead] else 1.0
    return Inventory(lead, now, left, exponent * HALF_LIFE_RELATIVE_U)


def inventory(
    nuclide: str,
    activity_bq: float = 1.0,
    elapsed_s: float = 0.0,
    *,
    state: str | None = None,
    radon_retention: float = 1.0,
) -> Inventory:
    """What a source holds, by nuclide or name (:func:`source_kinds`); see :func:`held`.

    Raises:
        UserError: unknown nuclide or state, a date before the reference date, retention outside
            0 to 1.
    """
    return held(parts_of(nuclide, state), activity_bq, elapsed_s, radon_retention)
