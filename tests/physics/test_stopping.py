import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from counterproof.physics import stopping
from counterproof.physics.materials import Material, material

# NIST ESTAR (SRD 124), CSDA ranges in g/cm² at 0.1, 0.5, 1, 2, 3 MeV
ESTAR_RANGE = {
    "Al": (0.01871, 0.2259, 0.5544, 1.224, 1.868),
    "Si": (0.01822, 0.2197, 0.5386, 1.188, 1.812),
    "Fe": (0.02136, 0.2528, 0.6159, 1.347, 2.042),
    "Sn": (0.02613, 0.2966, 0.7084, 1.512, 2.251),
    "Pb": (0.0311, 0.336, 0.784, 1.63, 2.38),
    "water": (0.01431, 0.1766, 0.4367),
}


@pytest.mark.parametrize("name", ESTAR_RANGE)
def test_csda_ranges_against_estar(name: str) -> None:
    expected = ESTAR_RANGE[name]
    ours = stopping.csda_range(material(name), [0.1, 0.5, 1.0, 2.0, 3.0][: len(expected)])
    np.testing.assert_allclose(ours, expected, rtol=5e-3)


def test_stopping_powers_at_1_mev_against_estar() -> None:
    # NIST ESTAR (SRD 124): collision and radiative, MeV cm²/g
    for name, collision, radiative in (("water", 1.849, 0.0128), ("Al", 1.465, 0.0212)):
        assert stopping.collision_stopping_power(material(name), 1.0) == pytest.approx(
            collision, rel=1e-3
        )
        assert stopping.radiative_stopping_power(material(name), 1.0) == pytest.approx(
            radiative, rel=5e-3
        )


def test_density_effect_vanishes_in_a_thin_gas_and_grows_with_energy() -> None:
    iron = material("Fe")
    assert np.all(np.diff(stopping.density_effect(iron, [0.1, 0.5, 1.0, 5.0])) > 0.0)
    assert stopping.density_effect(material("Ne"), 1.0) == 0.0


def test_a_compound_with_its_own_excitation_energy_against_additivity() -> None:
    # ICRU Report 37 (1984): the additivity of stopping powers holds within about 1 %
    pmma = material("PMMA")
    added = Material("PMMA", pmma.density_g_cm3, pmma.mass_fractions)
    ratio = stopping.collision_stopping_power(pmma, 0.5) / stopping.collision_stopping_power(
        added, 0.5
    )
    assert ratio == pytest.approx(1.0, abs=0.01)


@given(st.floats(2e-3, 9.9), st.sampled_from(["H", "air", "Al", "mica", "SnO2", "brass", "Pb"]))
@settings(deadline=None)
def test_range_and_energy_invert(energy: float, name: str) -> None:
    medium = material(name)
    reach = stopping.csda_range(medium, energy)
    assert stopping.energy_of_range(medium, reach) == pytest.approx(energy, rel=1e-6)
    assert 0.0 <= stopping.radiation_yield(medium, energy) < 1.0


def test_outside_the_range_of_validity() -> None:
    with pytest.raises(ValueError, match="keV"):
        stopping.csda_range(material("Al"), 1e-4)
    assert stopping.energy_of_range(material("Al"), 0.0) == 0.0


@pytest.mark.parametrize(
    ("energy_mev", "expected"),
    [(0.514, 170.2), (0.546, 185.0), (1.162, 497.1), (2.269, 1089.5), (2.280, 1095.3)],
)
def test_extrapolated_ranges(energy_mev: float, expected: float) -> None:
    # L. Katz and A. S. Penfold, Rev. Mod. Phys. 24 (1952) 28, formula worked by hand
    assert stopping.extrapolated_range_mg_cm2(energy_mev) == pytest.approx(expected, rel=1e-3)
