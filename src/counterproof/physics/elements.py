"""Constants of the elements: symbol, name, atomic weight, density, mean excitation energy.

Atomic weights are those that the XCOM tables were made with (IUPAC 1993), densities (gases at
20 °C and 101.325 kPa) and mean excitation energies those of NIST's ESTAR (ICRU Report 37, 1984):
using the same constants as the tables keeps cross sections and stopping powers consistent.
"""

from __future__ import annotations

from typing import NamedTuple


class Element(NamedTuple):
    """One element: atomic weight in g/mol, density in g/cm³, mean excitation energy in eV."""

    symbol: str
    name: str
    atomic_weight: float
    density_g_cm3: float
    mean_excitation_ev: float


_ROWS: tuple[tuple[str, str, float, float, float], ...] = (
    ("H", "hydrogen", 1.00794, 8.3748e-05, 19.2),
    ("He", "helium", 4.002602, 0.000166322, 41.8),
    ("Li", "lithium", 6.941, 0.534, 40),
    ("Be", "beryllium", 9.012182, 1.848, 63.7),
    ("B", "boron", 10.811, 2.37, 76),
    ("C", "carbon", 12.011, 2, 81),
    ("N", "nitrogen", 14.00674, 0.00116528, 82),
    ("O", "oxygen", 15.9994, 0.00133151, 95),
    ("F", "fluorine", 18.9984032, 0.00158029, 115),
    ("Ne", "neon", 20.1797, 0.000838505, 137),
    ("Na", "sodium", 22.989768, 0.971, 149),
    ("Mg", "magnesium", 24.305, 1.74, 156),
    ("Al", "aluminum", 26.981539, 2.6989, 166),
    ("Si", "silicon", 28.0855, 2.33, 173),
    ("P", "phosphorus", 30.973762, 2.2, 173),
    ("S", "sulfur", 32.066, 2, 180),
    ("Cl", "chlorine", 35.4527, 0.00299473, 174),
    ("Ar", "argon", 39.948, 0.00166201, 188),
    ("K", "potassium", 39.0983, 0.862, 190),
    ("Ca", "calcium", 40.078, 1.55, 191),
    ("Sc", "scandium", 44.95591, 2.989, 216),
    ("Ti", "titanium", 47.88, 4.54, 233),
    ("V", "vanadium", 50.9415, 6.11, 245),
    ("Cr", "chromium", 51.9961, 7.18, 257),
    ("Mn", "manganese", 54.93805, 7.44, 272),
    ("Fe", "iron", 55.847, 7.874, 286),
    ("Co", "cobalt", 58.9332, 8.9, 297),
    ("Ni", "nickel", 58.69, 8.902, 311),
    ("Cu", "copper", 63.546, 8.96, 322),
    ("Zn", "zinc", 65.39, 7.133, 330),
    ("Ga", "gallium", 69.723, 5.904, 334),
    ("Ge", "germanium", 72.61, 5.323, 350),
    ("As", "arsenic", 74.92159, 5.73, 347),
    ("Se", "selenium", 78.96, 4.5, 348),
    ("Br", "bromine", 79.904, 0.00707218, 343),
    ("Kr", "krypton", 83.8, 0.00347832, 352),
    ("Rb", "rubidium", 85.4678, 1.532, 363),
    ("Sr", "strontium", 87.62, 2.54, 366),
    ("Y", "yttrium", 88.90585, 4.469, 379),
    ("Zr", "zirconium", 91.224, 6.506, 393),
    ("Nb", "niobium", 92.90638, 8.57, 417),
    ("Mo", "molybdenum", 95.94, 10.22, 424),
    ("Tc", "technetium", 97.9072, 11.5, 428),
    ("Ru", "ruthenium", 101.07, 12.41, 441),
    ("Rh", "rhodium", 102.9055, 12.41, 449),
    ("Pd", "palladium", 106.42, 12.02, 470),
    ("Ag", "silver", 107.8682, 10.5, 470),
    ("Cd", "cadmium", 112.411, 8.65, 469),
    ("In", "indium", 114.82, 7.31, 488),
    ("Sn", "tin", 118.71, 7.31, 488),
    ("Sb", "antimony", 121.75, 6.691, 487),
    ("Te", "tellurium", 127.6, 6.24, 485),
    ("I", "iodine", 126.90447, 4.93, 491),
    ("Xe", "xenon", 131.29, 0.00548536, 482),
    ("Cs", "cesium", 132.90543, 1.873, 488),
    ("Ba", "barium", 137.327, 3.5, 491),
    ("La", "lanthanum", 138.9055, 6.154, 501),
    ("Ce", "cerium", 140.115, 6.657, 523),
    ("Pr", "praseodymium", 140.90765, 6.71, 535),
    ("Nd", "neodymium", 144.24, 6.9, 546),
    ("Pm", "promethium", 144.9127, 7.22, 560),
    ("Sm", "samarium", 150.36, 7.46, 574),
    ("Eu", "europium", 151.965, 5.243, 580),
    ("Gd", "gadolinium", 157.25, 7.9004, 591),
    ("Tb", "terbium", 158.92534, 8.229, 614),
    ("Dy", "dysprosium", 162.5, 8.55, 628),
    ("Ho", "holmium", 164.93032, 8.795, 650),
    ("Er", "erbium", 167.26, 9.066, 658),
    ("Tm", "thulium", 168.93421, 9.321, 674),
    ("Yb", "ytterbium", 173.04, 6.73, 684),
    ("Lu", "lutetium", 174.967, 9.84, 694),
    ("Hf", "hafnium", 178.49, 13.31, 705),
    ("Ta", "tantalum", 180.9479, 16.654, 718),
    ("W", "tungsten", 183.85, 19.3, 727),
    ("Re", "rhenium", 186.207, 21.02, 736),
    ("Os", "osmium", 190.2, 22.57, 746),
    ("Ir", "iridium", 192.22, 22.42, 757),
    ("Pt", "platinum", 195.08, 21.45, 790),
    ("Au", "gold", 196.96654, 19.32, 790),
    ("Hg", "mercury", 200.59, 13.546, 800),
    ("Tl", "thallium", 204.3833, 11.72, 810),
    ("Pb", "lead", 207.2, 11.35, 823),
    ("Bi", "bismuth", 208.98037, 9.747, 823),
    ("Po", "polonium", 208.9824, 9.32, 830),
    ("At", "astatine", 209.9871, 9.32, 825),
    ("Rn", "radon", 222.0176, 0.00906618, 794),
    ("Fr", "francium", 223.0197, 1, 827),
    ("Ra", "radium", 226.0254, 5, 826),
    ("Ac", "actinium", 227.0278, 10.07, 841),
    ("Th", "thorium", 232.0381, 11.72, 847),
    ("Pa", "protactinium", 231.03588, 15.37, 878),
    ("U", "uranium", 238.0289, 18.95, 890),
    ("Np", "neptunium", 237.0482, 20.25, 902),
    ("Pu", "plutonium", 239.0522, 19.84, 921),
    ("Am", "americium", 243.0614, 13.67, 934),
    ("Cm", "curium", 247.0703, 13.51, 939),
    ("Bk", "berkelium", 247.0703, 14, 952),
    ("Cf", "californium", 251.0796, 10, 966),
)

ELEMENTS: dict[int, Element] = {z: Element(*row) for z, row in enumerate(_ROWS, start=1)}
"""Atomic number → :class:`Element`, hydrogen to californium."""

Z_OF: dict[str, int] = {element.symbol: z for z, element in ELEMENTS.items()}
"""Symbol → atomic number."""
