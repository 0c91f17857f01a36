import numpy as np
import pytest

from counterproof.physics import background as bg


def test_terrestrial_part_meets_unscear() -> None:
    # UNSCEAR 2000, annex B: 0.0417, 0.462, 0.604 nGy/h per Bq/kg at 420, 33, 45 Bq/kg: 60 nGy/h
    found = bg.background()
    assert found.terrestrial_ngy_h == pytest.approx(60.0, rel=0.01)
    assert found.cosmic_ngy_h == pytest.approx(32.0)
    # 0.05 to 0.2 µSv/h is usual outdoors (UNSCEAR 2000)
    assert 0.05 < found.h10_usv_h < 0.2


def test_unscattered_share_and_flux() -> None:
    # H. L. Beck, J. DeCampo, C. Gogolak, HASL-258 (1972): of the order of half the exposure at 1 m
    # comes unscattered, and the K-40 line brings 0.035 to 0.04 photons per cm² and s at 1 pCi/g
    # (37 Bq/kg); from memory, ± 10 %
    potassium = bg.background(0.0, 37.0, 0.0, 0.0)
    line = np.abs(potassium.photon_kev - 1460.8) < 0.5
    assert potassium.photon_fluence_rate[line].sum() == pytest.approx(0.037, rel=0.12)


def test_altitude() -> None:
    assert bg.altitude_factor(0.0) == pytest.approx(1.0)
    # A. Bouville and W. M. Lowder (1988): doubles every 1.5 to 2 km, formula by hand at 2240 m
    expected = 0.21 * np.exp(-1.649 * 2.24) + 0.79 * np.exp(0.4528 * 2.24)
    assert bg.altitude_factor(2240.0) == pytest.approx(expected)
    assert bg.background(2240.0).charged_fluence_rate > 2.0 * bg.CHARGED_PER_CM2_S


def test_without_ground_there_is_only_the_sky() -> None:
    none = bg.background(0.0, 0.0, 0.0, 0.0)
    assert none.terrestrial_ngy_h == 0.0
    assert none.h10_usv_h == pytest.approx(0.032)


def test_muons_bring_most_of_the_cosmic_dose() -> None:
    # 2 MeV cm²/g (minimum ionising, Particle Data Group) times the fluence rate
    ngy_h = bg.CHARGED_PER_CM2_S * 2.0 * 1.602e-10 * 3600.0 * 1e9
    assert 0.5 * bg.COSMIC_NGY_H < ngy_h < 1.1 * bg.COSMIC_NGY_H
