"""What the sources of a run emit, as far as trials ask; physics is imported when it is asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from counterproof.errors import UserError

if TYPE_CHECKING:
    from counterproof.physics.emissions import Spectrum

CUT_KEV = 30.0  # softer lines rarely leave a source's cover; common practice, no source
LEAST_PHOTONS = 1e-3  # per decay of the leading nuclide: below it, a source counts as pure beta
HARD_BETA_KEV = 400.0  # betas that pass a thin wall and count as if they were photons


def spectrum_of(nuclides: Sequence[str]) -> Spectrum | None:
    """Return what one becquerel of each nuclide emits, short-lived daughters included.

    ``None`` when no nuclide is known.
    """
    from counterproof.physics.emissions import source_spectrum
    from counterproof.physics.nuclides import Part, held, parts_of

    parts: list[Part] = []
    for nuclide in nuclides:
        try:
            parts += parts_of(nuclide)
        except UserError:
            continue
    return source_spectrum(held(tuple(parts), 1.0, 0.0).activities_bq) if parts else None


def mean_photon_kev(nuclides: Sequence[str]) -> float | None:
    """Return the mean photon energy above 30 keV weighted by H*(10).

    ``None`` for unknown nuclides and for those that emit (almost) no photons.
    """
    from counterproof.physics.dose import h10_per_fluence

    spectrum = spectrum_of(nuclides)
    if spectrum is None:
        return None
    seen = spectrum.photon_kev >= CUT_KEV
    energy, rate = spectrum.photon_kev[seen], spectrum.photon_per_s[seen]
    if float(rate.sum()) < LEAST_PHOTONS:
        return None
    weight = rate * h10_per_fluence(energy)
    return float((weight * energy).sum() / weight.sum())


def hard_betas(nuclides: Sequence[str]) -> bool:
    """Whether electrons above 400 keV are more than a fiftieth of the photons."""
    spectrum = spectrum_of(nuclides)
    if spectrum is None:
        return False
    hard = spectrum.electron_edges_kev[:-1] > HARD_BETA_KEV
    photons = spectrum.photon_per_s[spectrum.photon_kev >= CUT_KEV]
    return float(spectrum.electron_per_s[hard].sum()) > 0.02 * float(photons.sum())
