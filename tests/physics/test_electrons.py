import numpy as np
import pytest

from counterproof.physics.electrons import bremsstrahlung, slab, transport
from counterproof.physics.electrons.scatter import effective_z, scatter_table
from counterproof.physics.emissions import emission, source_spectrum
from counterproof.physics.materials import Material, material
from counterproof.physics.nuclides import equilibrium
from counterproof.physics.sheets import sheet
from counterproof.physics.stopping import csda_range, extrapolated_range_g_cm2


def simulate(
    name: str, energy_mev: float, mode: int, depths: list[float], histories: int = 8000
) -> tuple[np.ndarray, np.ndarray, float]:
    medium = material(name)
    planes = np.array(depths) * float(csda_range(medium, energy_mev))
    table = scatter_table(medium)
    fluence, current, back = slab.run(
        mode, energy_mev, histories, 7, planes, 100, max(2e-3, 0.01 * energy_mev), 0.97, *table[:9]
    )
    return fluence.sum(axis=1), current.sum(axis=1), back


# Number backscattered per electron of a normal beam on thick targets: T. Tabata, R. Ito and S.
# Okabe, Nucl. Instrum. Methods 94 (1971) 509, read from its figures; from memory, ± 10 %
BACKSCATTER = [
    ("Al", 0.1, 0.15),
    ("Al", 1.0, 0.095),
    ("Cu", 0.1, 0.30),
    ("Cu", 1.0, 0.23),
    ("Ag", 0.5, 0.37),
    ("Au", 0.1, 0.50),
    ("Au", 1.0, 0.46),
]


@pytest.mark.parametrize(("name", "energy_mev", "expected"), BACKSCATTER)
def test_backscatter(name: str, energy_mev: float, expected: float) -> None:
    _, _, back = simulate(name, energy_mev, slab.SLAB_BEAM, [], histories=5000)
    assert back == pytest.approx(expected, abs=0.03)


def transmission(thickness: float, energy_mev: np.ndarray, medium: Material) -> np.ndarray:
    """Number transmitted per electron of a normal beam.

    B. N. Subba Rao, Nucl. Instrum. Methods 44 (1966) 155, with the extrapolated ranges of T.
    Tabata, R. Ito and S. Okabe, Nucl. Instrum. Methods 103 (1972) 85: fits to measurements.
    """
    z = effective_z(medium)
    a = z / medium.z_over_a
    g = 9.2 * z**-0.2 + 16.0 * z**-2.2
    h = 0.63 * z / a + 0.27
    reach = extrapolated_range_g_cm2(medium, energy_mev)
    grows = np.minimum(g * thickness / reach - g * h, 500.0)
    return (1.0 + np.exp(-g * h)) / (1.0 + np.exp(grows))


def extrapolated(name: str, energy_mev: float) -> float:
    """Where the steepest tangent of number against thickness meets zero, g/cm²."""
    depths = [round(0.04 + 0.07 * i, 3) for i in range(13)]
    _, number, _ = simulate(name, energy_mev, slab.SLAB_BEAM, depths)
    slope = (number[2:] - number[:-2]) / (np.array(depths[2:]) - np.array(depths[:-2]))
    steepest = int(np.argmin(slope))
    meets = depths[steepest + 1] - number[steepest + 1] / slope[steepest]
    return meets * float(csda_range(material(name), energy_mev))


@pytest.mark.parametrize("name", ["Al", "Fe", "Sn"])
@pytest.mark.parametrize("energy_mev", [0.1, 0.5, 2.0])
def test_extrapolated_range_of_the_monte_carlo(name: str, energy_mev: float) -> None:
    # T. Tabata, R. Ito and S. Okabe, Nucl. Instrum. Methods 103 (1972) 85: a fit to measurements
    expected = float(extrapolated_range_g_cm2(material(name), energy_mev))
    assert extrapolated(name, energy_mev) == pytest.approx(expected, rel=0.06)


def test_practical_range_in_water() -> None:
    # ICRU Report 35 (1984): E = 0.22 + 1.98 R + 0.0025 R² (MeV, cm) for the practical range of a
    # depth-dose curve in water, 0.90 cm at 2 MeV; from memory. (The fit of Tabata et al. runs
    # past the CSDA range in the lightest elements and is not used there.)
    assert extrapolated("water", 2.0) == pytest.approx(0.897, rel=0.05)


def strontium() -> tuple[np.ndarray, np.ndarray]:
    spectrum = source_spectrum(equilibrium("Sr-90"))
    return spectrum.electron_edges_kev, spectrum.electron_per_s


@pytest.mark.parametrize(
    ("name", "mg_cm2"), [("mica", 2.0), ("steel", 40.0), ("PMMA", 118.0), ("Al", 700.0)]
)
def test_transmission_of_strontium_and_yttrium(name: str, mg_cm2: float) -> None:
    # normal broad beam with the spectrum of Sr-90/Y-90, all electrons behind counted, against
    # Subba Rao (1966) with the ranges of Tabata et al. (1972)
    edges, rate = strontium()
    layer = sheet(name, None, mg_cm2)
    ours = transport.number_behind([layer], edges, rate).sum() / rate.sum()
    middle = (edges[1:] + edges[:-1]) / 2e3
    expected = (transmission(mg_cm2 * 1e-3, middle, layer.material) * rate).sum() / rate.sum()
    assert abs(ours - expected) < max(0.15 * expected, 0.02)
    # µ/ρ = 17 E^−1.43 cm²/g (common practice, no source, stated to ± 20 to 30 %) is measured with
    # the source close to the layer: it lies between the normal beam and the isotropic source
    around = transport.number_behind([layer], edges, rate, isotropic=True).sum() / rate.sum()
    rough = np.mean([np.exp(-17.0 * mg_cm2 * 1e-3 / end**1.43) for end in (0.546, 2.280)])
    assert 0.8 * around < rough < max(1.2 * ours, ours + 0.02)


def test_nothing_but_bremsstrahlung_beyond_the_range() -> None:
    edges, rate = strontium()
    thick = [sheet("Al", None, 1400.0)]
    assert transport.behind(thick, edges, rate).sum() < 1e-4 * rate.sum()
    middle = (edges[1:] + edges[:-1]) / 2.0
    photons, _ = bremsstrahlung.from_layers(
        thick, middle, rate, bremsstrahlung.photon_edges_kev(2280.0)
    )
    assert photons.sum() > 0.0


@pytest.mark.parametrize(("name", "expected"), [("Al", 0.010), ("Fe", 0.021), ("Pb", 0.065)])
def test_bremsstrahlung_yield_of_yttrium(name: str, expected: float) -> None:
    # share of the beta energy radiated, 3.5e-4 Z E_max (H. Cember, Introduction to Health
    # Physics), within 30 %
    em = emission("Y-90")
    use = em.beta_kev > 2.0
    energy, density = em.beta_kev[use], em.beta_per_kev[use]
    weight = density * np.gradient(energy)
    edges = bremsstrahlung.photon_edges_kev(2280.0, 400)
    photons = bremsstrahlung.stopped_spectrum(material(name), energy, weight, edges)
    radiated = (photons * np.sqrt(edges[1:] * edges[:-1])).sum()
    assert radiated / (weight * energy).sum() == pytest.approx(expected, rel=0.30)


def test_the_table_is_what_the_monte_carlo_gives() -> None:
    table = transport._kernels()
    depths = [0.05, 0.2, 0.5]
    kinds = {
        "behind": (slab.SLAB_BEAM, "Al", 1),
        "shell": (slab.SHELL, "Al", 1),
        "air": (slab.SPHERE, "air", 0),
    }
    for kind, (mode, name, row) in kinds.items():
        fluence, _, _ = simulate(name, 0.5, mode, depths)
        at = [int(np.argmin(np.abs(table["depth"] - d))) for d in depths]
        energy = int(np.argmin(np.abs(table["energy_mev"] - 0.5)))
        np.testing.assert_allclose(table[f"{kind}_fluence"][row, energy, at], fluence, rtol=0.06)


def test_a_thin_ball_lets_every_electron_out() -> None:
    # what turns back in the ball comes out on the other side: number is conserved far beyond the
    # thickness at which a flat layer has lost some
    number, _, _ = simulate("Al", 1.0, slab.SHELL, [0.02, 0.1, 0.2])
    assert np.all((number > 0.99) & (number < 1.06))  # knocked-on electrons come on top
    flat, _, _ = simulate("Al", 1.0, slab.SHELL, [0.5, 0.9])
    assert flat[0] > flat[1]


def test_no_layer_changes_nothing() -> None:
    edges, rate = strontium()
    np.testing.assert_array_equal(transport.behind([], edges, rate), rate)
    np.testing.assert_allclose(transport.in_air(np.array([0.0]), edges, rate)[0], rate, rtol=1e-9)


def test_layers_in_a_group_add_up() -> None:
    edges, rate = strontium()
    one = transport.behind([sheet("PMMA", 1.0)], edges, rate)
    two = transport.behind([sheet("PMMA", 0.5), sheet("PMMA", 0.5)], edges, rate)
    np.testing.assert_allclose(one, two, rtol=1e-9)


def test_energy_falls_as_the_csda_range_says_in_a_thin_layer() -> None:
    # a 624 keV conversion electron through 10 mg/cm² of PMMA loses 2.0 MeV cm²/g × 10 mg/cm²
    # (NIST ESTAR: 1.87 at 0.6 MeV) and some per cent for its crooked path
    edges = np.linspace(1.0, np.sqrt(700.0), 400) ** 2
    middle = (edges[1:] + edges[:-1]) / 2.0
    rate = np.zeros(middle.size)
    rate[np.argmin(np.abs(middle - 624.0))] = 1.0
    out = transport.behind([sheet("PMMA", None, 10.0)], edges, rate)
    below = np.cumsum(out) / out.sum()
    median = float(np.interp(0.5, below, edges[1:]))  # the mean counts knocked-on electrons too
    start = middle[np.argmax(rate)]
    assert start - median == pytest.approx(18.7, rel=0.15)
