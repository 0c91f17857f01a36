"""From a field to counts: kernel, Monte Carlo and analogue mode, and electrons against others."""

from __future__ import annotations

import math
import resource
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np

from acceptance import Row
from counterproof.physics.electrons.scatter import effective_z
from counterproof.physics.materials import gas, material
from counterproof.physics.stopping import csda_range, extrapolated_range_g_cm2
from counterproof.physics.tube import analogue_kernel, run
from counterproof.physics.tube.escape import ENERGY_KEV, side_chords, skin
from counterproof.physics.tube.geometry import Layer, Tube, Window
from counterproof.physics.tube.response import GRID_KEV, response_curve
from counterproof.physics.tube.stream import stream_key

TITLE = "From a field to counts"

FILL = gas("Ne 0.998 + Ar 0.001 + Br2 0.001", 15.0)
STEEL = Tube(gas("Ne", 10.0), 0.45, 9.0, Layer(material("Fe"), 0.01))
TINNED = replace(STEEL, filters=(Layer(material("Sn"), 0.1),))
GLASS = Tube(FILL, 0.4, 5.0, Layer(material("soda-lime glass"), 0.09))
LINED = replace(GLASS, lining=Layer(material("SnO2", 5.0), 1e-4))
PANCAKE = Tube(
    gas("Ne", 20.0), 1.4, 1.2, Layer(material("stainless steel"), 0.05),
    window=Window(material("mica"), 1.7e-3 / 2.8, 1.4),
)  # fmt: skip
TUBES = {
    "0.1 mm steel": (STEEL, 90.0), "behind 1 mm tin": (TINNED, 90.0), "0.9 mm glass": (GLASS, 90.0),
    "glass lined with SnO2": (LINED, 90.0), "mica window, end on": (PANCAKE, 0.0),
}  # fmt: skip
_QUICK = (60.0, 200.0, 1000.0)
_FULL = (30.0, 45.0, 60.0, 90.0, 130.0, 200.0, 350.0, 662.0, 1000.0, 1250.0, 2000.0)


def _kernel(quick: bool) -> list[Row]:
    """The kernel against the Monte Carlo, as far as statistics allow."""
    rows = []
    chosen = list(TUBES)[:3] if quick else list(TUBES)
    precision = 0.02 if quick else 0.007
    for name in chosen:
        tube, angle = TUBES[name]
        b = run.body(tube)
        energies = np.array(_QUICK if quick else _FULL)
        kernel = response_curve(tube, [*energies, 661.657], angle_deg=angle).effective_area_cm2
        floor = 5e-4 * kernel[-1]

        def enough(mean: float, u: float, floor: float = floor) -> bool:
            return u <= max(precision * mean, floor)

        scores = run.simulate_many(
            b, [run.beam(b, float(e), angle) for e in energies], enough=enough, seed=3
        )
        gaps, beyond = [], []
        for ours, score in zip(kernel, scores, strict=False):
            if score.counts < 0.01 * kernel[-1]:
                continue  # behind many mean free paths neither method claims 5 %
            gaps.append(ours / score.counts - 1.0)
            beyond.append(abs(gaps[-1]) - 2.0 * score.u_counts / score.counts)
        worst = max(gaps, key=abs)
        rows.append(
            Row(
                f"kernel against the Monte Carlo: {name}",
                "within 5 % (and 2 u of the Monte Carlo)", f"worst {100 * worst:+.1f} %",
                bool(max(beyond) <= 0.05), f"{len(gaps)} energies, 1 % of caesium's or more",
            )
        )  # fmt: skip
    return rows


def _analogue(quick: bool) -> list[Row]:
    rows = []
    for name, energies in (("0.1 mm steel", (60.0, 662.0)), ("glass lined with SnO2", (90.0,)),
                           ("behind 1 mm tin", (130.0,))):  # fmt: skip
        tube, angle = TUBES[name]
        b = run.body(tube)
        n = 400_000 if quick else 6_000_000
        for energy in energies:
            total = np.zeros(5)
            source = run.beam(b, energy, angle)
            analogue_kernel.run_analogue(
                b.grid, b.tables, source, stream_key(2, int(energy)), n, total
            )
            mean = total[0] / n
            u = math.sqrt((total[2] / n - mean**2) / n)
            score = run.simulate(b, source, enough=lambda m, s: s <= 0.01 * m, seed=9)
            sigma = (score.counts - mean) / math.hypot(u, score.u_counts)
            rows.append(
                Row(
                    f"Monte Carlo against its analogue mode: {name}, {energy:g} keV",
                    "within 3 sigma", f"{sigma:+.1f} sigma", bool(abs(sigma) < 3.0),
                    f"ratio {score.counts / mean:.3f}, analogue ± {100 * u / mean:.1f} %",
                )
            )  # fmt: skip
    return rows


def _passed(name: str, energy_mev: float, share: float) -> float:
    medium = material(name)
    thickness = share * float(csda_range(medium, energy_mev)) / medium.density_g_cm3
    made = skin([(medium, thickness)], STEEL.gas, side_chords(0.45, 9.0), [(medium, 1.0)])
    return float(np.interp(np.log(energy_mev * 1e3), np.log(ENERGY_KEV), made.through_entry[:, -1]))


def _electrons() -> list[Row]:
    reach, number = [], []
    for name in ("Al", "soda-lime glass", "mica"):
        medium = material(name)
        for energy in (0.1, 0.3, 1.0, 2.0):
            csda = float(csda_range(medium, energy))
            expected = float(extrapolated_range_g_cm2(medium, energy))
            shares = np.array([0.3, 0.4, 0.5, 0.6, 0.7])
            passed = np.array([_passed(name, energy, s) for s in shares])
            slope = np.diff(passed) / 0.1
            k = int(np.argmin(slope))
            found = shares[k : k + 2].mean() - passed[k : k + 2].mean() / slope[k]
            reach.append(found * csda / expected - 1.0)
            z = effective_z(medium)
            g, h = 9.2 * z**-0.2 + 16.0 * z**-2.2, 0.63 * medium.z_over_a + 0.27
            x = shares * csda / expected
            fit = (1.0 + np.exp(-g * h)) / (1.0 + np.exp(g * x - g * h))
            number += [(energy, float(gap)) for gap in passed - fit]
    worst = max(reach, key=abs)
    low = max((gap for e, gap in number if e < 0.5), key=abs)
    high = max((gap for e, gap in number if e > 0.5), key=abs)
    return [
        Row("extrapolated range in Al, glass, mica, 0.1 to 2 MeV", "within 6 %",
            f"worst {100 * worst:+.1f} %", bool(abs(worst) < 0.06), "Tabata, Ito and Okabe 1972"),
        Row("number transmitted in Al, glass, mica, 0.1 and 0.3 MeV", "within 0.075",
            f"worst {low:+.3f}", bool(abs(low) < 0.075),
            f"Subba Rao 1966; at 1 and 2 MeV up to {high:+.2f}, where that form does not run into "
            "the extrapolated range it is given"),
    ]  # fmt: skip


def _rules() -> list[Row]:
    def relative(tube: Tube, energy: float) -> float:
        per = response_curve(tube, [energy, 661.657]).counts_per_usv
        return float(per[0] / per[1])

    area = response_curve(STEEL, [661.657]).effective_area_cm2[0]
    per_photon = 1e3 * area / (2.0 * STEEL.outer_radius_cm * STEEL.length_cm)
    bare, sleeve, glass = (relative(t, 59.5) for t in (STEEL, TINNED, GLASS))
    return [
        Row("counts per striking photon at 662 keV", "2 to 6 per thousand", f"{per_photon:.2f}",
            bool(2.0 < per_photon < 6.0), "common practice, no source"),
        Row("response per H*(10) at 59.5 keV over caesium", "steel > 4; sleeve < 0.5; glass < 1.5",
            f"{bare:.1f}; {sleeve:.2f}; {glass:.2f}", bare > 4.0 and sleeve < 0.5 and glass < 1.5,
            "common practice, no source"),
    ]  # fmt: skip


def _spent(tube: Tube, energies: np.ndarray) -> float:
    began = time.process_time()
    response_curve(tube, energies)
    return time.process_time() - began


def _speed(quick: bool) -> list[Row]:
    rows = []
    for name in list(TUBES)[:3]:
        tube = TUBES[name][0]
        response_curve(tube, GRID_KEV[:2])
        # another thickness of wall: nothing of it has been computed before
        moved = replace(tube, wall=replace(tube.wall, thickness_cm=1.03 * tube.wall.thickness_cm))
        whole = _spent(moved, GRID_KEV)
        rows.append(
            Row(f"40 energies by the kernel: {name}", "< 1 s", f"{whole:.2f} s", whole < 1.0,
                "processor time")
        )  # fmt: skip
        again = replace(tube, wall=replace(tube.wall, thickness_cm=1.07 * tube.wall.thickness_cm))
        step = _spent(again, GRID_KEV[::3])
        rows.append(
            Row(f"one step of a slider (14 energies): {name}", "< 0.3 s", f"{step:.2f} s",
                step < 0.3, "processor time")
        )  # fmt: skip
    count = 6 if quick else 200
    began = time.process_time()
    for k in range(count):
        filters = (Layer(material("Sn"), 0.02 + 0.0005 * k), Layer(material("Cu"), 0.01))
        response_curve(replace(STEEL, filters=filters), GRID_KEV)
    spent = (time.process_time() - began) * 200.0 / count / 2.0
    rows.append(
        Row("200 filters × 40 energies on two cores", "< 60 s", f"{spent:.0f} s", spent < 60.0,
            f"half the processor time of one core, from {count}")
    )  # fmt: skip
    return rows


def _memory() -> Row:
    code = (
        "from acceptance.tube import TINNED, GRID_KEV, response_curve;"
        "response_curve(TINNED, GRID_KEV);"
        "response_curve(TINNED, [200.0], precision=0.03, method='mc')"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
    return Row(
        "memory of a curve and a Monte Carlo run", "< 500 MB", f"{peak:.0f} MB", peak < 500.0
    )


def measure(quick: bool) -> list[Row]:
    """Measure; the full run takes about ten minutes of one core."""
    rows = [*_electrons(), *_rules(), *_kernel(quick), *_analogue(quick), *_speed(quick)]
    if not quick:
        rows.append(_memory())
    return rows
