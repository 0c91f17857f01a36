"""Named materials: composition, density, and where each comes from.

A row is ``names, density in g/cm³, composition, mean excitation energy in eV or None, source``. A
composition is a formula, or pairs of a formula and its mass fraction. Densities are typical;
where a sheet of material was weighed, give the density or the areal density measured.
"""

from __future__ import annotations

from typing import NamedTuple

ESTAR = "NIST SRD 124 (ESTAR), composition of ICRU Report 37 (1984)"
FORMULA = "chemical formula; handbook density"
TYPICAL = "typical composition, common practice, no source"


class Row(NamedTuple):
    """One named material; the first name is the one printed."""

    names: tuple[str, ...]
    density_g_cm3: float
    parts: tuple[tuple[str, float], ...]
    mean_excitation_ev: float | None
    source: str


def _one(formula: str) -> tuple[tuple[str, float], ...]:
    return ((formula, 1.0),)


MATERIALS: tuple[Row, ...] = (
    Row(
        ("air", "air dry", "dry air"),
        1.20479e-3,
        (("C", 0.000124), ("N", 0.755267), ("O", 0.231781), ("Ar", 0.012827)),
        85.7,
        ESTAR,
    ),
    Row(("water",), 1.0, _one("H2O"), 75.0, ESTAR),
    Row(("PMMA", "acrylic", "polymethyl methacrylate"), 1.19, _one("C5H8O2"), 74.0, ESTAR),
    Row(("mylar", "PET", "polyester film"), 1.40, _one("C10H8O4"), 78.7, ESTAR),
    Row(
        ("PETG",),
        1.27,
        (("C10H8O4", 0.665), ("C16H18O4", 0.335)),
        None,
        "PET with 30 mol % of its glycol replaced by cyclohexanedimethanol; " + TYPICAL,
    ),
    Row(("PLA", "polylactide"), 1.24, _one("C3H4O2"), None, FORMULA),
    Row(
        ("ABS",),
        1.05,
        (("C8H8", 0.55), ("C3H3N", 0.25), ("C4H6", 0.20)),
        None,
        "55 % styrene, 25 % acrylonitrile, 20 % butadiene; " + TYPICAL,
    ),
    Row(("polycarbonate",), 1.20, _one("C16H14O3"), 73.1, ESTAR),
    Row(("polyethylene", "PE"), 0.94, _one("C2H4"), 57.4, ESTAR),
    Row(("polypropylene", "PP"), 0.90, _one("C3H6"), 56.5, ESTAR),
    Row(("polystyrene",), 1.06, _one("C8H8"), 68.7, ESTAR),
    Row(("PVC", "polyvinyl chloride"), 1.30, _one("C2H3Cl"), 108.2, ESTAR),
    Row(("PTFE",), 2.20, _one("C2F4"), 99.1, ESTAR),
    Row(("POM", "polyoxymethylene"), 1.425, _one("CH2O"), 77.4, ESTAR),
    Row(("nylon", "polyamide"), 1.14, _one("C6H11NO"), 63.9, ESTAR),
    Row(("polyimide",), 1.42, _one("C22H10N2O5"), 79.6, ESTAR),
    Row(("epoxy",), 1.18, _one("C21H24O4"), None, FORMULA),
    Row(("rubber",), 0.92, _one("C5H8"), 59.8, ESTAR),
    Row(("paper", "cellulose", "cardboard"), 0.80, _one("C6H10O5"), None, FORMULA),
    Row(("wood",), 0.60, _one("C6H10O5"), None, "as cellulose; " + TYPICAL),
    Row(
        ("paint",),
        1.35,
        (("C7H8O3", 0.70), ("TiO2", 0.30)),
        None,
        "alkyd resin with 30 % titanium dioxide; " + TYPICAL,
    ),
    Row(
        ("luminous paint",),
        2.5,
        (("ZnS", 0.85), ("C7H8O3", 0.15)),
        None,
        "zinc sulfide in a resin binder; " + TYPICAL,
    ),
    Row(
        ("mica", "muscovite"),
        2.80,
        _one("KAl3Si3O12H2"),
        None,
        "muscovite, KAl2(AlSi3O10)(OH)2; handbook density 2.76 to 2.88",
    ),
    Row(("phlogopite",), 2.80, _one("KMg3AlSi3O12H2"), None, FORMULA),
    Row(
        ("borosilicate glass",),
        2.23,
        (
            ("B", 0.040064),
            ("O", 0.539562),
            ("Na", 0.028191),
            ("Al", 0.011644),
            ("Si", 0.377220),
            ("K", 0.003321),
        ),
        134.0,
        ESTAR,
    ),
    Row(
        ("soda-lime glass", "glass", "plate glass"),
        2.40,
        (("O", 0.459800), ("Na", 0.096441), ("Si", 0.336553), ("Ca", 0.107205)),
        145.4,
        ESTAR,
    ),
    Row(
        ("lead glass",),
        6.22,
        (
            ("O", 0.156453),
            ("Si", 0.080866),
            ("Ti", 0.008092),
            ("As", 0.002651),
            ("Pb", 0.751938),
        ),
        526.4,
        ESTAR,
    ),
    Row(("quartz", "silica", "fused silica"), 2.32, _one("SiO2"), 139.2, ESTAR),
    Row(("alumina", "ceramic"), 3.97, _one("Al2O3"), 145.2, ESTAR),
    Row(("tin oxide", "tin dioxide"), 6.95, _one("SnO2"), None, FORMULA),
    Row(("steel", "carbon steel"), 7.85, (("Fe", 0.998), ("C", 0.002)), None, TYPICAL),
    Row(
        ("stainless steel", "stainless steel 304"),
        8.00,
        (("Fe", 0.7025), ("Cr", 0.19), ("Ni", 0.0925), ("Mn", 0.01), ("Si", 0.005)),
        None,
        "PNNL-15870 Rev. 1 (2011), from memory",
    ),
    Row(
        ("chrome iron", "stainless steel 446"),
        7.60,
        (("Fe", 0.72), ("Cr", 0.28)),
        None,
        "28 % chromium, the alloy sealed to glass in tubes; " + TYPICAL,
    ),
    Row(("brass",), 8.44, (("Cu", 0.63), ("Zn", 0.37)), None, "CuZn37 (EN 12163)"),
    Row(("bronze",), 8.80, (("Cu", 0.94), ("Sn", 0.06)), None, "CuSn6 (EN 12163)"),
    Row(("solder",), 8.40, (("Sn", 0.63), ("Pb", 0.37)), None, "Sn63Pb37 (ISO 9453)"),
    Row(
        ("thoriated tungsten",),
        19.0,
        (("W", 0.98), ("ThO2", 0.02)),
        None,
        "WT20 of ISO 6848: 2 % thorium oxide",
    ),
    Row(("uranium oxide",), 10.96, _one("UO2"), 720.6, ESTAR),
    Row(
        ("uranium ore",),
        3.0,
        (("UO2", 0.05), ("SiO2", 0.70), ("Al2O3", 0.15), ("Fe2O3", 0.10)),
        None,
        "5 % uranium oxide in silicate rock; " + TYPICAL,
    ),
    Row(
        ("uranium glaze",),
        3.0,
        (("UO2", 0.14), ("PbO", 0.20), ("SiO2", 0.56), ("Na2O", 0.10)),
        None,
        "14 % uranium oxide in a lead-silicate glaze; " + TYPICAL,
    ),
    Row(("potassium chloride", "salt"), 1.98, _one("KCl"), None, FORMULA),
    Row(
        ("soil",),
        1.60,
        (
            ("SiO2", 0.675),
            ("Al2O3", 0.135),
            ("Fe2O3", 0.045),
            ("CO2", 0.045),
            ("H2O", 0.100),
        ),
        None,
        "H. L. Beck, J. DeCampo, C. Gogolak, HASL-258 (1972)",
    ),
    Row(
        ("concrete",),
        2.30,
        (
            ("H", 0.010000),
            ("C", 0.001000),
            ("O", 0.529107),
            ("Na", 0.016000),
            ("Mg", 0.002000),
            ("Al", 0.033872),
            ("Si", 0.337021),
            ("K", 0.013000),
            ("Ca", 0.044000),
            ("Fe", 0.014000),
        ),
        135.2,
        ESTAR,
    ),
    Row(
        ("ICRU tissue", "tissue", "skin"),
        1.00,
        (("H", 0.101), ("C", 0.111), ("N", 0.026), ("O", 0.762)),
        74.9,
        "ICRU Report 33 (1980), four components; mean excitation energy of ESTAR",
    ),
    Row(("bromine vapour",), 6.65e-3, _one("Br2"), None, "ideal gas at 20 °C"),
    Row(("ethanol vapour",), 1.916e-3, _one("C2H6O"), None, "ideal gas at 20 °C"),
)
