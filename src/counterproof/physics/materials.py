"""Materials: elements, formulas, and what counters and sources are made of.

``material("Fe")``, ``material("SnO2")``, ``material("PMMA")``, ``material("mica", 2.8)`` give a
composition by mass fraction and a density; ``gas("Ne", 10.0)`` is a gas at a pressure, ``mixture``
a mixture.
Compositions and densities with their sources are in :mod:`counterproof.physics.material_data`.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from counterproof.errors import UserError
from counterproof.physics.elements import ELEMENTS, Z_OF
from counterproof.physics.material_data import MATERIALS, Row
from counterproof.texts import text

GAS_CONSTANT_J_MOL_K = 8.314462618  # CODATA 2018, exact
_GAS_BELOW_G_CM3 = 0.05
# ICRU Report 37 (1984), table 5.1: mean excitation energies (eV) of atoms in compounds that
# differ from 1.13 times the element's own (condensed) or from the element's own (gas).
_IN_GAS = {1: 19.2, 6: 70.0, 7: 82.0, 8: 97.0}
_IN_CONDENSED = {1: 19.2, 6: 81.0, 7: 82.0, 8: 106.0, 9: 112.0, 17: 180.0}
_TOKEN = re.compile(r"([A-Z][a-z]?)|(\()|(\))|(\d+(?:\.\d+)?)")


@dataclass(frozen=True)
class Material:
    """Composition and density.

    Args:
        name: as printed.
        density_g_cm3: mass per volume.
        mass_fractions: atomic number → mass fraction; sums to one. Not to be changed.
        mean_excitation_ev: mean excitation energy where the material has a measured one of its
            own; ``None`` means Bragg additivity (:func:`mean_excitation_ev`).
    """

    name: str
    density_g_cm3: float
    mass_fractions: Mapping[int, float]
    mean_excitation_ev: float | None = None

    def __hash__(self) -> int:
        """Hash by content, so that tables can be cached per material."""
        return hash((self.name, self.density_g_cm3, tuple(sorted(self.mass_fractions.items()))))

    @property
    def z_over_a(self) -> float:
        """Mean number of electrons per unit of atomic mass, Σ w Z/A in mol/g."""
        return sum(w * z / ELEMENTS[z].atomic_weight for z, w in self.mass_fractions.items())

    @property
    def is_gas(self) -> bool:
        """Whether the density is a gas's (below 0.05 g/cm³)."""
        return self.density_g_cm3 < _GAS_BELOW_G_CM3


def formula_counts(formula: str) -> dict[int, float]:
    """Atoms per formula unit, ``{Z: number}``; parentheses and decimal numbers are allowed.

    Raises:
        ValueError: if ``formula`` is not a chemical formula of elements up to californium.
    """

    def group(tokens: Iterator[tuple[str, str]], nested: bool) -> dict[int, float]:
        counts: dict[int, float] = {}
        last: dict[int, float] = {}

        def close(times: float) -> None:
            for z, n in last.items():
                counts[z] = counts.get(z, 0.0) + n * times
            last.clear()

        for kind, token in tokens:
            if kind == "number":
                if not last or float(token) <= 0.0:
                    raise ValueError(formula)
                close(float(token))
                continue
            close(1.0)
            if kind == "symbol":
                if token not in Z_OF:
                    raise ValueError(formula)
                last[Z_OF[token]] = 1.0
            elif kind == "open":
                last.update(group(tokens, nested=True))
            elif nested:
                return counts
            else:
                raise ValueError(formula)
        if nested:
            raise ValueError(formula)
        close(1.0)
        return counts

    position = 0
    found: list[tuple[str, str]] = []
    while position < len(formula):
        match = _TOKEN.match(formula, position)
        if match is None:
            raise ValueError(formula)
        kind = ("symbol", "open", "close", "number")[match.lastindex - 1 if match.lastindex else 0]
        found.append((kind, match.group()))
        position = match.end()
    counts = group(iter(found), nested=False)
    if not counts:
        raise ValueError(formula)
    return counts


def _fractions(parts: tuple[tuple[str, float], ...]) -> dict[int, float]:
    total: dict[int, float] = {}
    whole = sum(weight for _, weight in parts)
    for formula, weight in parts:
        counts = formula_counts(formula)
        masses = {z: n * ELEMENTS[z].atomic_weight for z, n in counts.items()}
        unit = sum(masses.values())
        for z, mass in masses.items():
            total[z] = total.get(z, 0.0) + weight / whole * mass / unit
    return dict(sorted(total.items()))


def _key(name: str) -> str:
    return re.sub(r"[\s_,\-]+", " ", name.strip().lower())


def _named() -> dict[str, Row]:
    return {_key(name): row for row in MATERIALS for name in row.names}


_BY_NAME = _named()
_ELEMENT_NAMES = {element.name: z for z, element in ELEMENTS.items()}
_ELEMENT_NAMES |= {"aluminium": 13, "sulphur": 16, "caesium": 55}  # as IUPAC spells or allows them


def material_names() -> list[str]:
    """Every name that :func:`material` knows besides symbols and formulas, sorted."""
    return sorted({row.names[0] for row in MATERIALS} | set(_ELEMENT_NAMES))


def material_source(name: str) -> str:
    """Where the composition of a named material comes from; ``""`` for formulas."""
    row = _BY_NAME.get(_key(name))
    return row.source if row else ""


@lru_cache(maxsize=1024)
def material(name_or_formula: str, density_g_cm3: float | None = None) -> Material:
    """Find a material by name, element or formula.

    Args:
        name_or_formula: ``"PMMA"``, ``"stainless steel"``, ``"Fe"``, ``"tin"``, ``"SnO2"``.
        density_g_cm3: overrides the tabulated density; a formula that is not a named material or
            an element needs it.

    Raises:
        UserError: unknown name (the nearest names are offered), a density that is not positive, or
            a formula without a density.
    """
    if density_g_cm3 is not None and not 0.0 < density_g_cm3 < 30.0:
        raise UserError(
            text("physics.density", material=name_or_formula, value=f"{density_g_cm3:g}")
        )
    wanted = name_or_formula.strip()
    key = _key(wanted)
    z = Z_OF.get(wanted) or _ELEMENT_NAMES.get(key)
    row = _BY_NAME.get(key)
    if z is not None:
        element = ELEMENTS[z]
        density = density_g_cm3 or element.density_g_cm3
        return Material(wanted, density, {z: 1.0}, element.mean_excitation_ev)
    if row is not None:
        return Material(
            row.names[0],
            density_g_cm3 or row.density_g_cm3,
            _fractions(row.parts),
            row.mean_excitation_ev,
        )
    try:
        fractions = _fractions(((wanted, 1.0),))
    except ValueError:
        raise UserError(text("physics.unknown_material", name=wanted, near=_nearest(key))) from None
    for known in MATERIALS:  # a formula that is a named material takes its density
        same = _fractions(known.parts)
        if same.keys() == fractions.keys() and all(
            abs(same[k] - fractions[k]) < 1e-6 for k in same
        ):
            return Material(
                wanted,
                density_g_cm3 or known.density_g_cm3,
                fractions,
                known.mean_excitation_ev,
            )
    if density_g_cm3 is None:
        raise UserError(text("physics.formula_density", formula=wanted))
    return Material(wanted, density_g_cm3, fractions)


def _nearest(key: str) -> str:
    names = [name.lower() for name in material_names()]
    aliases = [alias for row in MATERIALS for alias in (_key(n) for n in row.names)]
    near = difflib.get_close_matches(key, sorted({*names, *aliases}), n=3, cutoff=0.5)
    proper = [_BY_NAME[n].names[0] if n in _BY_NAME else n for n in near]
    return ", ".join(dict.fromkeys(proper)) or "PMMA, Fe, SnO2"


def mixture(name: str, parts: Mapping[str, float], density_g_cm3: float) -> Material:
    """Mix materials by mass fraction (normalised) at a stated density.

    Raises:
        UserError: unknown part or impossible density.
    """
    if not parts or any(w < 0.0 for w in parts.values()) or sum(parts.values()) <= 0.0:
        raise UserError(text("physics.mixture", name=name))
    if not 0.0 < density_g_cm3 < 30.0:
        raise UserError(text("physics.density", material=name, value=f"{density_g_cm3:g}"))
    whole = sum(parts.values())
    total: dict[int, float] = {}
    for part, weight in parts.items():
        for z, w in material(part, 1.0 if part not in Z_OF else None).mass_fractions.items():
            total[z] = total.get(z, 0.0) + w * weight / whole
    return Material(name, density_g_cm3, dict(sorted(total.items())))


def gas(fill: str, pressure_kpa: float, temperature_c: float = 20.0) -> Material:
    """Fill gas at a pressure, as an ideal gas.

    Args:
        fill: an element, formula or named gas, or a mixture by amount such as
            ``"Ne 0.995 + Ar 0.001 + Br2 0.004"`` (fractions by volume; one without a number takes
            the rest). Ne, Ar, Kr, Xe, He, Rn are atoms, H, N, O, F, Cl, Br pairs.
        pressure_kpa: total pressure.
        temperature_c: temperature of the filling.

    Raises:
        UserError: unknown gas, pressure that is not positive, or fractions that exceed one.
    """
    if not pressure_kpa > 0.0:
        raise UserError(text("physics.pressure", value=f"{pressure_kpa:g}"))
    amounts: dict[str, float | None] = {}
    for part in fill.split("+"):
        match = re.fullmatch(r"\s*(.+?)(?:\s+([0-9.]+)\s*(%)?)?\s*", part)
        if match is None:
            raise UserError(text("physics.unknown_material", name=fill, near="Ne, Ar, Kr"))
        given = match.group(2)
        percent = 0.01 if match.group(3) else 1.0
        amounts[match.group(1)] = float(given) * percent if given else None
    rest = 1.0 - sum(x for x in amounts.values() if x is not None)
    open_parts = [name for name, x in amounts.items() if x is None]
    if rest < -1e-6 or (open_parts and rest <= 0.0) or (not open_parts and abs(rest) > 1e-3):
        raise UserError(text("physics.gas_fractions", fill=fill))
    masses: dict[int, float] = {}
    molar = 0.0
    for name, x in amounts.items():
        share = x if x is not None else rest / len(open_parts)
        for z, mass in _molecule(name).items():
            masses[z] = masses.get(z, 0.0) + share * mass
            molar += share * mass
    density = molar * pressure_kpa * 1e3 / (GAS_CONSTANT_J_MOL_K * (temperature_c + 273.15)) / 1e6
    fractions = {z: mass / molar for z, mass in sorted(masses.items())}
    return Material(fill.strip(), density, fractions)


def _molecule(name: str) -> dict[int, float]:
    """Masses per mole of molecules, by element."""
    if _key(name) == "air":
        return {z: w * 28.9647 for z, w in material("air").mass_fractions.items()}
    z = Z_OF.get(name) or _ELEMENT_NAMES.get(_key(name))
    if z is not None:
        atoms = 2.0 if z in (1, 7, 8, 9, 17, 35, 53) else 1.0
        return {z: atoms * ELEMENTS[z].atomic_weight}
    row = _BY_NAME.get(_key(name))
    formula = row.parts[0][0] if row is not None and len(row.parts) == 1 else name
    try:
        counts = formula_counts(formula)
    except ValueError:
        raise UserError(
            text("physics.unknown_material", name=name, near=_nearest(_key(name)))
        ) from None
    return {z: n * ELEMENTS[z].atomic_weight for z, n in counts.items()}


def mean_excitation_ev(medium: Material) -> float:
    """Mean excitation energy, the material's own or by Bragg additivity.

    ``ln I = Σ w (Z/A) ln I_Z / Σ w (Z/A)`` with the atomic values of ICRU Report 37 (1984), table
    5.1 for compounds: stated there to agree with measured compounds within a few per cent of I,
    which is less than 1 % of a stopping power.
    """
    if medium.mean_excitation_ev is not None:
        return medium.mean_excitation_ev
    return additive_mean_excitation_ev(medium)


def additive_mean_excitation_ev(medium: Material) -> float:
    """Mean excitation energy by Bragg additivity alone, even where a measured one exists."""
    if len(medium.mass_fractions) == 1:
        return ELEMENTS[next(iter(medium.mass_fractions))].mean_excitation_ev
    total = 0.0
    for z, w in medium.mass_fractions.items():
        own = ELEMENTS[z].mean_excitation_ev
        value = _IN_GAS.get(z, own) if medium.is_gas else _IN_CONDENSED.get(z, 1.13 * own)
        total += w * z / ELEMENTS[z].atomic_weight * math.log(value)
    return math.exp(total / medium.z_over_a)
