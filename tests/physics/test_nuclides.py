import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from counterproof.errors import UserError
from counterproof.physics.decaydata import YEAR_S, half_life_s, nuclide_name, table
from counterproof.physics.emissions import emission, source_spectrum
from counterproof.physics.nuclides import decay, equilibrium, inventory

DAY = 86400.0


@pytest.mark.parametrize(
    ("nuclide", "years"),
    [("Cs-137", 30.167), ("Am-241", 432.2), ("Ra-226", 1600.0), ("Sr-90", 28.79)],
)
def test_half_lives(nuclide: str, years: float) -> None:
    # ICRP Publication 107 (2008)
    assert half_life_s(nuclide) / YEAR_S == pytest.approx(years, rel=1e-4)
    assert half_life_s("Y-90") == pytest.approx(64.1 * 3600)


def test_size_of_the_table() -> None:
    assert len(table()) == 1252  # ICRP Publication 107: 1252 radionuclides


def test_caesium_after_ten_years() -> None:
    # 1000 · 2^(−10/30.1671), worked by hand
    assert decay({"Cs-137": 1000.0}, 10 * YEAR_S)["Cs-137"] == pytest.approx(794.72, abs=0.01)


def test_radium_sealed_for_thirty_days() -> None:
    # radioactivedecay 0.6 in its high-precision mode
    grown = decay({"Ra-226": 1000.0}, 30 * DAY)
    assert grown["Rn-222"] == pytest.approx(995.6, abs=0.05)
    assert grown["Bi-214"] == pytest.approx(995.6, abs=0.05)
    assert grown["Pb-210"] == pytest.approx(2.09, abs=0.005)


@pytest.mark.timeout(120)
@pytest.mark.parametrize(
    ("parent", "days"), [("Ra-226", 0.02), ("U-238", 3.6e5), ("Th-232", 4000.0), ("U-235", 1.0)]
)
def test_chains_match_the_high_precision_mode_of_radioactivedecay(parent: str, days: float) -> None:
    import radioactivedecay as rd

    reference = rd.InventoryHP({parent: 1e6}, "Bq").decay(days, "d").activities("Bq")
    ours = decay({parent: 1e6}, days * DAY)
    for name, expected in reference.items():
        if name in ours:
            assert ours[str(name)] == pytest.approx(float(expected), rel=1e-10, abs=1e-25)


@given(st.floats(0.0, 3e9), st.floats(0.0, 3e9))
@settings(max_examples=20, deadline=None)
def test_two_steps_are_one(first: float, second: float) -> None:
    once = decay({"Ra-226": 1.0}, first + second)
    twice = decay(decay({"Ra-226": 1.0}, first), second)
    for name, value in once.items():
        assert twice[name] == pytest.approx(value, rel=1e-8, abs=1e-12)


def test_equilibrium_is_where_decay_leads() -> None:
    rest = equilibrium("Mo-99")
    grown = decay({"Mo-99": 1.0}, 12 * DAY)
    assert rest["Tc-99m"] == pytest.approx(grown["Tc-99m"] / grown["Mo-99"], rel=1e-6)
    assert set(equilibrium("Cs-137")) == {"Cs-137", "Ba-137m"}
    assert equilibrium("Sr-90")["Y-90"] == pytest.approx(1.0, rel=1e-3)
    assert "Pb-210" not in equilibrium("Ra-226")
    assert equilibrium("Ra-226", full=True)["Pb-210"] == pytest.approx(1.0, rel=0.02)


def test_ore_glaze_and_radon() -> None:
    ore = inventory("uranium ore", 100.0).activities_bq
    assert ore["Bi-214"] == pytest.approx(100.0, rel=1e-3)
    # 4.6 % of the activity of U-238 in natural uranium (IAEA, Nuclear data; from memory)
    assert ore["U-235"] == pytest.approx(4.6, abs=0.05)
    leaking = inventory("ore", 100.0, radon_retention=0.7).activities_bq
    assert leaking["Bi-214"] == pytest.approx(70.0, rel=1e-3)
    assert leaking["Ra-226"] == pytest.approx(100.0, rel=1e-3)
    glaze = inventory("uranium glaze", 100.0).activities_bq
    assert glaze["Pa-234m"] == pytest.approx(100.0, rel=1e-3)
    assert "Ra-226" not in glaze


def test_paint_loses_radon_for_good() -> None:
    kept = inventory("radium paint", 1.0, 50 * YEAR_S).activities_bq
    lost = inventory("radium paint", 1.0, 50 * YEAR_S, radon_retention=0.5).activities_bq
    assert lost["Pb-210"] / kept["Pb-210"] == pytest.approx(0.5, rel=1e-3)


def test_impossible_input_is_one_sentence() -> None:
    with pytest.raises(UserError, match="Cs-137"):
        inventory("Cs-317")
    with pytest.raises(UserError, match="uranium ore"):
        inventory("uranum ore")
    with pytest.raises(UserError, match="reference date"):
        inventory("Cs-137", 1.0, -1.0)
    with pytest.raises(UserError, match="retention"):
        inventory("Ra-226", radon_retention=1.5)
    with pytest.raises(UserError, match="pure"):
        inventory("Ra-226", state="old")


@pytest.mark.parametrize("written", ["cs137", "137Cs", "Cs 137", "CS-137", "Cs-137"])
def test_ways_to_write_a_nuclide(written: str) -> None:
    assert nuclide_name(written) == "Cs-137"


# ICRP Publication 107 (2008): nuclide, keV, photons per decay
LINES = [
    ("Ba-137m", 661.657, 0.8974),
    ("Am-241", 59.541, 0.359),
    ("Am-241", 26.345, 0.024),
    ("Th-234", 63.29, 0.0484),
    ("Pa-234m", 1001.0, 0.0084),
    ("Pb-214", 352.0, 0.376),
    ("Pb-214", 295.0, 0.193),
    ("Bi-214", 609.3, 0.461),
    ("Bi-214", 1120.3, 0.151),
    ("Bi-214", 1764.5, 0.154),
    ("Co-60", 1173.2, 0.9985),
    ("Co-60", 1332.5, 0.9998),
    ("K-40", 1460.8, 0.1066),
    ("Ba-133", 356.0, 0.6205),
    ("Ba-133", 81.0, 0.3406),
    ("Ba-133", 302.9, 0.1833),
]


@pytest.mark.parametrize(("nuclide", "energy_kev", "expected"), LINES)
def test_photon_lines(nuclide: str, energy_kev: float, expected: float) -> None:
    em = emission(nuclide)
    near = np.argmin(np.abs(em.photon_kev - energy_kev))
    assert em.photon_kev[near] == pytest.approx(energy_kev, abs=0.3)
    assert em.photon_yield[near] == pytest.approx(expected, rel=5e-3)


def test_x_rays_and_conversion_electrons_of_barium() -> None:
    # ICRP Publication 107 (2008): K X-rays 0.074, electrons of 624.2 and 655.7 keV
    em = emission("Ba-137m")
    k_x = (em.photon_kev > 31.0) & (em.photon_kev < 38.0)
    assert em.photon_yield[k_x].sum() == pytest.approx(0.0754, abs=0.002)
    at = {round(e, 1): y for e, y in zip(em.electron_kev, em.electron_yield, strict=True)}
    assert at[624.2] == pytest.approx(0.0834, rel=2e-3)
    assert at[655.7] == pytest.approx(0.0121, rel=2e-3)


# ICRP Publication 107 (2008): betas per decay, end point and mean in keV. The mean of Pa-234m is
# that of all its branches; its strongest branch alone has 822 keV.
BETAS = [
    ("Cs-137", 1.0015, 1175.6, 188.3),
    ("Sr-90", 1.0012, 546.0, 195.6),
    ("Y-90", 1.0004, 2280.1, 931.3),
    ("Pa-234m", 0.9996, 2273.0, 813.8),
    ("Bi-214", 1.0005, 3272.0, 641.0),
]


@pytest.mark.parametrize(("nuclide", "number", "end", "mean"), BETAS)
def test_beta_spectra(nuclide: str, number: float, end: float, mean: float) -> None:
    em = emission(nuclide)
    assert em.betas_per_decay == pytest.approx(number, abs=1e-3)
    assert em.beta_end_kev == pytest.approx(end, abs=0.1)
    assert em.beta_mean_kev == pytest.approx(mean, rel=1e-3)


def test_positrons_annihilate_in_the_source() -> None:
    em = emission("Na-22")
    assert em.beta_kev.size == 0
    annihilation = em.photon_yield[[k == "annihilation" for k in em.photon_kind]]
    assert annihilation.sum() == pytest.approx(1.798, abs=2e-3)  # ICRP-107


@pytest.mark.parametrize("nuclide", ["Cs-137", "Sr-90", "Ra-226", "U-238", "Am-241"])
def test_a_source_spectrum_conserves_numbers_and_energy(nuclide: str) -> None:
    held = equilibrium(nuclide)
    spectrum = source_spectrum(held, least_share=0.0)
    photons = sum(a * emission(n).photon_yield.sum() for n, a in held.items())
    electrons = sum(
        a * (emission(n).betas_per_decay + emission(n).electron_yield.sum())
        for n, a in held.items()
    )
    assert spectrum.photon_per_s.sum() == pytest.approx(photons, rel=1e-9)
    # betas below the lowest bin edge, 1 keV, are left out
    assert spectrum.electron_per_s.sum() == pytest.approx(electrons, rel=0.01)
    middle = (spectrum.electron_edges_kev[1:] + spectrum.electron_edges_kev[:-1]) / 2
    power = sum(
        a
        * (
            emission(n).betas_per_decay * emission(n).beta_mean_kev
            + (emission(n).electron_kev * emission(n).electron_yield).sum()
        )
        for n, a in held.items()
    )
    assert (middle * spectrum.electron_per_s).sum() == pytest.approx(power, rel=0.01)
