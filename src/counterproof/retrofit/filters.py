"""An energy-compensating filter: which foils around a tube bring its H*(10) response into a band.

In a beam from the side what is left open counts like the bare tube and what is covered like a tube
that is covered all over (electrons cross the edges of the slots, which the full Monte Carlo
confirms), so transport computes closed sleeves alone and the open fraction follows by arithmetic.
A quick model (attenuation, averaged over the tube's width) picks the first thicknesses of every
family of metals; from the families that promise most the transport climbs from thickness to
neighbouring thickness.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.physics import attenuation
from counterproof.physics.materials import material
from counterproof.progress import Report, silent, step
from counterproof.texts import text

Floats = NDArray[np.float64]

STOCK_MM: dict[str, tuple[float, ...]] = {
    "tin": (0.1, 0.2, 0.3, 0.4, 0.5, 0.75, 1.0, 1.5),
    "lead": (0.25, 0.5, 0.75, 1.0),
    "copper": (0.1, 0.2, 0.3, 0.4, 0.5, 0.8, 1.0),
    "brass": (0.1, 0.2, 0.3, 0.4, 0.5, 0.8, 1.0),
    "aluminium": (0.1, 0.2, 0.3, 0.5, 1.0, 2.0),
}
"""Foil and sheet as commonly sold by the piece, thin foil in up to four turns; common practice, no
source."""
OPEN = tuple(np.round(np.arange(0.0, 0.601, 0.01), 2).tolist())
ENERGIES_KEV = (
    60.0, 68.0, 80.0, 95.0, 110.0, 130.0, 160.0, 200.0, 250.0, 320.0, 450.0, 661.657, 900.0, 1250.0,
)  # fmt: skip
THICKNESS_U, OPEN_U = 0.08, 0.02
"""Rolling tolerance of foil, and of slots as a share of the area; common practice, no source."""
REFINED, CLIMBS = 4, 6
"""How many families are refined, and how many steps each may climb."""
MARGIN = 0.95
"""Share of the band that the choice uses, so that tolerances do not leave it at once."""
_CHORDS = 24


@dataclass(frozen=True, slots=True)
class Foil:
    """A sleeve of one metal."""

    metal: str
    thickness_mm: float


@dataclass(frozen=True, slots=True)
class FilterChoice:
    """Foils from the tube outwards, and the share of the side that they leave open."""

    foils: tuple[Foil, ...]
    open_fraction: float


Transport = Callable[[tuple[Foil, ...]], tuple[Floats, Floats]]
"""Counts per µSv of H*(10) of a tube in closed sleeves (none: the bare tube) at the energies, and
their statistical uncertainties, shape (n,)."""


@dataclass(frozen=True, eq=False)
class FilterDesign:
    """A filter as transport sees it.

    Args:
        choice: the foils.
        energies_kev: shape (n,).
        bare: response of the bare tube relative to its own at 662 keV, shape (n,).
        relative: with the filter, relative to 662 keV, shape (n,).
        relative_u: statistical standard uncertainty of that.
        kept: share of the sensitivity at 662 keV that is left.
        kept_u: its standard uncertainty.
        met: whether every energy lies within the band and enough sensitivity is left.
        binds: what keeps it from meeting them, in a sentence; empty when met.
        rounds: transport computations behind it.
    """

    choice: FilterChoice
    energies_kev: Floats
    bare: Floats
    relative: Floats
    relative_u: Floats
    kept: float
    kept_u: float
    met: bool
    binds: str
    rounds: int

    @property
    def departure(self) -> float:
        """Response that departs most from caesium, as a ratio."""
        return float(self.relative[int(np.argmax(np.abs(self.relative - 1.0)))])


def sleeve_transmission(
    metal: str, thickness_mm: float, radius_mm: float, energies_kev: Floats
) -> Floats:
    """Narrow-beam transmission of a sleeve, averaged over the width of the tube; shape (n,).

    A ray at the share s of the radius crosses the sleeve obliquely, t/√(1 − s²) in the limit of a
    thin one. From first principles; total attenuation without coherent scattering, which hardly
    turns a photon away.
    """
    made = material(metal)
    s = (np.arange(_CHORDS) + 0.5) / _CHORDS
    # a real sleeve is never longer than its chord: √((r+t)² − b²) − √(r² − b²)
    outer = radius_mm + thickness_mm
    b = s * radius_mm
    path_cm = 0.1 * (np.sqrt(outer**2 - b**2) - np.sqrt(radius_mm**2 - b**2))
    mu = attenuation.total(made, energies_kev, with_coherent=False) * made.density_g_cm3
    return np.asarray(np.exp(-np.multiply.outer(mu, path_cm)).mean(axis=1))


def candidates(metals: Sequence[str], layers: int = 2) -> list[tuple[Foil, ...]]:
    """Return every single foil and, for two layers, every pair of unlike metals, inner first.

    Raises:
        UserError: for a metal that is not in stock.
    """
    for metal in metals:
        if metal not in STOCK_MM:
            raise UserError(text("filter.metal", metal=metal, known=", ".join(STOCK_MM)))
    single = [Foil(m, t) for m in metals for t in STOCK_MM[m]]
    found: list[tuple[Foil, ...]] = [(f,) for f in single]
    if layers > 1:
        found += [(a, b) for a, b in itertools.permutations(single, 2) if a.metal != b.metal]
    return found


def design_filter(
    transport: Transport,
    radius_mm: float,
    *,
    energies_kev: Sequence[float] = ENERGIES_KEV,
    metals: Sequence[str] = tuple(STOCK_MM),
    layers: int = 2,
    band: float = 0.30,
    least_kept: float = 0.5,
    report: Report = silent,
) -> FilterDesign:
    """Find the filter that keeps most sensitivity with every energy in the band.

    Where none does, the one whose largest departure is smallest (with enough sensitivity left) is
    returned, with what binds.

    Args:
        transport: computes closed sleeves.
        radius_mm: outer radius of the tube, on which the sleeve sits.
        energies_kev: must contain one near 662 keV.
        metals: that may be used.
        layers: 1 or 2.
        band: largest departure |R(E)/R(662) − 1|.
        least_kept: least share of the sensitivity at 662 keV.
        report: progress by rounds of transport.

    Raises:
        UserError: for an unknown metal, a band or share that cannot be.
        Cancelled: if ``report`` says so.
    """
    if not 0.0 < band < 1.0 or not 0.0 < least_kept <= 1.0:
        raise UserError(text("filter.band"))
    energies = np.array(energies_kev, dtype=np.float64)
    reference = _caesium(energies)
    families: dict[tuple[str, ...], list[tuple[Foil, ...]]] = {}
    for foils in candidates(metals, layers):
        families.setdefault(tuple(f.metal for f in foils), []).append(foils)
    whole = 1 + len(families) + REFINED * CLIMBS
    step(report, 0, whole)
    bare, bare_u = transport(())
    tried: dict[tuple[Foil, ...], FilterDesign] = {}

    def computed(foils: tuple[Foil, ...]) -> FilterDesign:
        if foils not in tried:
            under, under_u = transport(foils)
            opened = _opened(under[None, :], bare, reference, band, least_kept)[0][0]
            full = opened * bare + (1.0 - opened) * under
            full_u = np.hypot(opened * bare_u, (1.0 - opened) * under_u)
            tried[foils] = _judged(
                FilterChoice(foils, opened), energies, bare, bare_u, full, full_u, reference, band,
                least_kept, len(tried) + 1,
            )  # fmt: skip
        return tried[foils]

    first: dict[tuple[str, ...], FilterDesign] = {}
    for number, (family, members) in enumerate(families.items()):
        step(report, 1 + number, whole)
        through = np.array([_through(f, radius_mm, energies) for f in members])
        cost = _opened(bare * through, bare, reference, band, least_kept)[1]
        first[family] = computed(members[int(np.argmin(cost))])
    ranked = sorted(first, key=lambda f: _merit(first[f]))[::-1]
    for number, family in enumerate(ranked[:REFINED]):
        here = first[family]
        for climb in range(CLIMBS):
            step(report, 1 + len(families) + CLIMBS * number + climb, whole)
            best = max((computed(f) for f in _neighbours(here.choice.foils)), key=_merit)
            if _merit(best) <= _merit(here):
                break
            here = best
    step(report, whole, whole)
    return replace(max(tried.values(), key=_merit), rounds=len(tried))


def reopened(
    design: FilterDesign,
    bare: tuple[Floats, Floats],
    full: tuple[Floats, Floats],
    band: float = 0.30,
    least_kept: float = 0.5,
) -> FilterDesign:
    """Return the same foils with the open fraction that another transport's results ask for.

    Args:
        design: whose foils stay.
        bare: counts per µSv of the bare tube and their uncertainties by that transport.
        full: the same with the design's foils and open fraction.
        band: as for :func:`design_filter`.
        least_kept: as there.
    """
    energies, opened = design.energies_kev, design.choice.open_fraction
    reference = _caesium(energies)
    under = (full[0] - opened * bare[0]) / (1.0 - opened)
    better = _opened(under[None, :], bare[0], reference, band, least_kept)[0][0]
    again = better * bare[0] + (1.0 - better) * under
    u = full[1] * (1.0 - better) / (1.0 - opened)
    return _judged(
        FilterChoice(design.choice.foils, better), energies, *bare, again, u, reference, band,
        least_kept, design.rounds,
    )  # fmt: skip


def _caesium(energies_kev: Floats) -> int:
    """Index of the energy that everything is relative to, 662 keV."""
    return int(np.argmin(np.abs(energies_kev - 661.657)))


def _neighbours(foils: Sequence[Foil]) -> list[tuple[Foil, ...]]:
    """Every filter with one foil a step thicker or thinner in stock."""
    found = []
    for at, foil in enumerate(foils):
        stock = STOCK_MM[foil.metal]
        k = stock.index(foil.thickness_mm)
        found += [
            tuple(Foil(f.metal, stock[k + d]) if i == at else f for i, f in enumerate(foils))
            for d in (-1, 1)
            if 0 <= k + d < len(stock)
        ]
    return found


def _merit(design: FilterDesign) -> tuple[bool, float]:
    """Met first, then least loss and, where nothing is lost, the departure; else that alone."""
    away = abs(design.departure - 1.0)
    return design.met, min(design.kept, 1.0) - 0.01 * away if design.met else -away


def _through(foils: Sequence[Foil], radius_mm: float, energies: Floats) -> Floats:
    out, radius = np.ones(energies.size), radius_mm
    for foil in foils:
        out = out * sleeve_transmission(foil.metal, foil.thickness_mm, radius, energies)
        radius += foil.thickness_mm
    return np.asarray(out)


def _opened(
    under: Floats, bare: Floats, reference: int, band: float, least_kept: float
) -> tuple[list[float], Floats]:
    """Best open fraction of each sleeve, shape (sleeves,), and its cost.

    Args:
        under: response under closed sleeves, shape (sleeves, energies).
        bare: response of the bare tube, shape (energies,).
        reference: index of 662 keV.
        band: largest departure.
        least_kept: least share of the sensitivity.
    """
    opened = np.array(OPEN)[None, :, None]
    response = opened * bare + (1.0 - opened) * under[:, None, :]
    relative = response / response[:, :, reference : reference + 1]
    departure = np.abs(relative - 1.0).max(axis=2)
    kept = response[:, :, reference] / bare[reference]
    short = np.maximum(least_kept - kept, 0.0)
    # inside the band (with a little left for tolerance) the loss decides, and between equals, as
    # where nothing is lost, the departure; outside it the departure alone
    inside = -np.minimum(kept, 1.0) + 0.01 * departure
    cost = np.where(departure <= MARGIN * band, inside, 10.0 + departure) + 100.0 * short
    best = np.argmin(cost, axis=1)
    return [OPEN[int(k)] for k in best], np.asarray(cost.min(axis=1))


def _judged(
    choice: FilterChoice,
    energies: Floats,
    bare: Floats,
    bare_u: Floats,
    full: Floats,
    full_u: Floats,
    reference: int,
    band: float,
    least_kept: float,
    rounds: int,
) -> FilterDesign:
    relative = full / full[reference]
    u = relative * np.hypot(full_u / full, full_u[reference] / full[reference])
    u[reference] = 0.0
    kept = float(full[reference] / bare[reference])
    kept_u = kept * float(
        np.hypot(full_u[reference] / full[reference], bare_u[reference] / bare[reference])
    )
    worst = int(np.argmax(np.abs(relative - 1.0)))
    binds = ""
    if abs(relative[worst] - 1.0) > band:
        binds = text(
            "filter.binds_energy", kev=f"{energies[worst]:.0f}", value=f"{relative[worst]:.2f}",
            low=f"{1.0 - band:.2f}", high=f"{1.0 + band:.2f}", kept=f"{100 * kept:.0f}",
        )  # fmt: skip
    elif kept < least_kept:
        binds = text("filter.binds_kept", kept=f"{100 * kept:.0f}", least=f"{100 * least_kept:.0f}")
    return FilterDesign(
        choice,
        energies,
        bare / bare[reference],
        relative,
        u,
        kept,
        kept_u,
        not binds,
        binds,
        rounds,
    )


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How a filter holds when foil, slots and tube are not as drawn.

    Args:
        departure_low: 2.5 % quantile of the largest departure |R/R(662) − 1|.
        departure_high: 97.5 % quantile.
        within: share of all filters built so that stay within the band.
        worst_kev: energy that departs most, most often.
    """

    departure_low: float
    departure_high: float
    within: float
    worst_kev: float


def tolerance(
    design: FilterDesign,
    radius_mm: float,
    band: float = 0.30,
    shape_u: Floats | None = None,
    draws: int = 2000,
    seed: int = 1,
) -> Tolerance:
    """Vary thicknesses, open fraction and the bare tube's own response about a design.

    Args:
        design: from :func:`design_filter`.
        radius_mm: as there.
        band: as there.
        shape_u: relative standard uncertainty of the bare tube's response relative to 662 keV at
            each energy, shape (n,) (its unknown wall); none if ``None``.
        draws: filters imagined.
        seed: of the generator.
    """
    rng = np.random.default_rng(seed)
    energies = design.energies_kev
    reference = _caesium(energies)
    choice = design.choice
    scale = design.kept
    # what lies under the foils, relative to the bare tube at 662 keV
    under = (design.relative * scale - choice.open_fraction * design.bare) / (
        1.0 - choice.open_fraction
    )
    thick = np.array([f.thickness_mm for f in choice.foils])
    factors = np.exp(THICKNESS_U * rng.standard_normal((draws, thick.size)))
    # a sleeve's transmission goes as a power of itself when its thickness is scaled
    powers = np.ones((draws, energies.size))
    radius = radius_mm
    for k, foil in enumerate(choice.foils):
        one = sleeve_transmission(foil.metal, foil.thickness_mm, radius, energies)
        powers *= one[None, :] ** (factors[:, k : k + 1] - 1.0)
        radius += foil.thickness_mm
    opened = np.clip(choice.open_fraction + OPEN_U * rng.standard_normal((draws, 1)), 0.0, 1.0)
    bend = np.ones((draws, energies.size))
    if shape_u is not None:
        # neighbouring energies go together: one draw bends the whole curve
        bend = np.exp(shape_u[None, :] * rng.standard_normal((draws, 1)))
    response = bend * (opened * design.bare + (1.0 - opened) * under * powers)
    relative = response / response[:, reference : reference + 1]
    departures = np.abs(relative - 1.0)
    largest = departures.max(axis=1)
    low, high = np.quantile(largest, [0.025, 0.975])
    most = np.bincount(departures.argmax(axis=1), minlength=energies.size)
    return Tolerance(
        float(low),
        float(high),
        float(np.mean(largest <= band)),
        float(energies[int(most.argmax())]),
    )
