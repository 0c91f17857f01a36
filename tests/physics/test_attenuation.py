import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from counterproof.physics import attenuation, xcom
from counterproof.physics.materials import material

# NIST XCOM (SRD 8), total with coherent scattering, cm²/g at 60, 661.66 and 1250 keV; from memory
XCOM_TOTAL = {
    "Al": (0.2778, 0.0747, 0.05496),
    "Fe": (1.205, 0.0735, 0.05350),
    "Sn": (6.564, 0.0756, 0.0509),
    "Pb": (5.021, 0.110, 0.05876),
    "water": (0.2059, 0.0857, 0.06323),
    "air": (0.1875, 0.0771, 0.05687),
}


@pytest.mark.parametrize("name", XCOM_TOTAL)
def test_total_against_xcom(name: str) -> None:
    ours = attenuation.total(material(name), [60.0, 661.66, 1250.0])
    np.testing.assert_allclose(ours, XCOM_TOTAL[name], rtol=5e-3)


def test_pair_production_at_3_mev() -> None:
    # NIST XCOM (SRD 8), from memory
    assert attenuation.total(material("Al"), 3000.0) == pytest.approx(0.03541, rel=5e-3)
    assert attenuation.total(material("Pb"), 3000.0) == pytest.approx(0.04234, rel=5e-3)
    assert attenuation.pair(material("Pb"), 1000.0) == 0.0
    assert attenuation.triplet(material("Pb"), 2000.0) == 0.0


@pytest.mark.parametrize("z", [13, 26, 50, 82])
def test_against_a_second_library_below_800_kev(z: int) -> None:
    # xraylib's own tables (A. Brunetti et al. 2004; T. Schoonjans et al. 2011): independent
    # evaluations that differ from XCOM by up to a few per cent, most near the edges
    import xraylib as xl

    for energy in (8.0, 20.0, 45.0, 59.54, 120.0, 300.0, 662.0):
        ours = xcom.mass_coefficients(z, np.array([energy]))[:, 0]
        assert ours[:3].sum() == pytest.approx(xl.CS_Total(z, energy), rel=0.03)


def test_jump_at_the_k_edge_of_lead() -> None:
    below, above = attenuation.photoelectric(material("Pb"), [88.0, 88.01])
    # NIST XCOM: 532.4 and 2519 barn per atom on the two sides of the edge
    assert above / below == pytest.approx(2519.0 / 532.4, rel=2e-3)


@given(st.floats(1.0, 3000.0), st.sampled_from(["H", "C", "Al", "Fe", "Sn", "W", "Pb", "U"]))
@settings(deadline=None)
def test_parts_are_positive_and_sum_to_the_total(energy: float, name: str) -> None:
    medium = material(name)
    parts = attenuation.partial(medium, energy)
    assert all(np.all(value >= 0.0) for value in parts.values())
    assert sum(parts.values()) == pytest.approx(attenuation.total(medium, energy))
    without = attenuation.total(medium, energy, with_coherent=False)
    assert without + parts["coherent"] == pytest.approx(attenuation.total(medium, energy))


def test_incoherent_tends_to_klein_nishina() -> None:
    # free electrons: 2 π r_e² … integrated by O. Klein and Y. Nishina (1929), at 1 MeV
    # 0.2112 barn per electron (W. Heitler, The Quantum Theory of Radiation; from memory)
    water = material("water")
    per_electron = attenuation.incoherent(water, 1000.0) / (water.z_over_a * 0.602214)
    assert per_electron == pytest.approx(0.2112, rel=2e-3)


def test_computed_air_energy_absorption_meets_the_published_table() -> None:
    # NIST SRD 126 (J. H. Hubbell and S. M. Seltzer), dry air, above the argon edge
    energy = attenuation.AIR_TABLE[0][5:]
    ours = attenuation.energy_absorption(material("air"), energy)
    np.testing.assert_allclose(ours, attenuation.air_energy_absorption(energy), rtol=4e-3)


def test_energy_absorption_of_water_and_lead() -> None:
    # NIST SRD 126, water, liquid: 60 keV 0.03190, 1 MeV 0.03103; lead 1 MeV 0.03787; from memory
    ours = attenuation.energy_absorption(material("water"), [60.0, 1000.0])
    np.testing.assert_allclose(ours, [0.03190, 0.03103], rtol=5e-3)
    assert attenuation.energy_absorption(material("Pb"), 1000.0) == pytest.approx(0.03787, rel=0.02)


def test_energies_outside_the_tables_are_refused() -> None:
    with pytest.raises(ValueError, match="keV"):
        attenuation.total(material("Fe"), 0.5)


def test_fluorescence_of_tin() -> None:
    # M. O. Krause, J. Phys. Chem. Ref. Data 8 (1979) 307: ω_K of tin 0.862; K edge 29.20 keV
    edge, _, fluorescence_yield, lines = xcom.fluorescence(50)["K"]
    assert edge == pytest.approx(29.20, abs=0.01)
    assert fluorescence_yield == pytest.approx(0.862, abs=0.01)
    assert sum(share for _, share in lines) == pytest.approx(1.0)
    assert xcom.edges_kev(50)["K"] == pytest.approx(29.20, abs=0.01)
