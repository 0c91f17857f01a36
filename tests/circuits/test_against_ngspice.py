"""Recharge, amplitude and droop against ngspice, a general-purpose circuit simulator.

The tube is a switch with a little resistance in series with its extinction voltage, closed for a
quarter of a microsecond at regular times: the fixed-drop limit. Netlists are generated here.
"""

import re
import shutil
import subprocess

import pytest

from counterproof.circuits.network import GROUND, SUPPLY
from counterproof.circuits.pulse import Pickoff, pulse_at_input
from counterproof.circuits.supply import Supply, fixed_drop_load

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed (Debian package: ngspice)"
)
V, EXT, WIDTH = 400.0, 260.0, 0.25e-6

# (circuit, source resistance, reservoir, pulses per second)
CASES = {
    "built-in tube, cathode pick-off": (
        Pickoff(5.1e6, 4e-12, 2e-12, at="cathode"), 1e6, 1e-9, 1000.0),
    "probe, resistor at the tube, cathode": (
        Pickoff(4.7e6, 4e-12, 1e-12, 102e-12, "tube", "cathode", 220e3, 15e-12), 2e6, 1e-9, 2000.0),
    "probe, resistor in the box, cathode": (
        Pickoff(4.7e6, 4e-12, 1e-12, 102e-12, "box", "cathode", 100e3, 10e-12), 2e6, 2e-9, 500.0),
    "probe, resistor in the box, anode": (
        Pickoff(4.7e6, 4e-12, 1e-12, 204e-12, "box", "anode", 470e3, 20e-12, 47e-12),
        3e6, 2e-9, 300.0),
    "probe, resistor at the tube, anode": (
        Pickoff(10e6, 5e-12, 1e-12, 69e-12, "tube", "anode", 1e6, 10e-12, 220e-12, 470e3),
        0.5e6, 4e-9, 400.0),
}  # fmt: skip


def spice(tmp_path, pickoff, source_ohm, reservoir_f, period_s, stop_s, step_s, measures):
    """Run one transient analysis; return the measures by name."""
    net = pickoff.network()
    names = {GROUND: "0", SUPPLY: "supply"}
    lines = ["a counting tube as a switched discharge", f"V0 open 0 {V}"]
    if source_ohm > 0:
        lines += [f"Rs open supply {source_ohm}", f"Cr supply 0 {reservoir_f} ic={V}"]
    else:
        lines += ["Vs supply open 0"]
    for k, (a, b, value) in enumerate(net.resistors):
        lines.append(f"R{k} {names.get(a, a)} {names.get(b, b)} {value}")
    rest = {"anode": V, "line": V, SUPPLY: V}
    for k, (a, b, value) in enumerate(net.capacitors):
        ic = rest.get(a, 0.0) - rest.get(b, 0.0)
        lines.append(f"C{k} {names.get(a, a)} {names.get(b, b)} {value} ic={ic}")
    cathode = names.get(pickoff.cathode, pickoff.cathode)
    lines += [
        f"Vctl ctl 0 PULSE(0 1 10u 5n 5n {WIDTH} {period_s})",
        "S1 anode plasma ctl 0 tube",
        f"Vext plasma {cathode} {EXT}",
        ".model tube SW(Ron=10 Roff=1e13 Vt=0.5 Vh=0.1)",
        ".options reltol=1e-5 abstol=1e-15 vntol=1e-6 method=gear",
        f".tran {step_s} {stop_s} 0 {step_s} uic",
        *(f".meas tran {m}" for m in measures),
        ".end",
    ]
    path = tmp_path / "tube.cir"
    path.write_text("\n".join(lines) + "\n")
    done = subprocess.run(
        ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=120, check=False
    )
    found = re.findall(r"^(\w+)\s*=\s*([-+\d.eE]+)", done.stdout, re.M)
    values = {name: float(v) for name, v in found}
    wanted = [m.split()[0] for m in measures]
    assert all(name in values for name in wanted), done.stdout + done.stderr
    return values


@pytest.mark.parametrize("case", CASES)
def test_recharge_and_amplitude(tmp_path, case):
    pickoff, *_ = CASES[case]
    pulse = pulse_at_input(pickoff, drop_v=V - EXT, threshold_v=0.1)
    cathode = "" if pickoff.cathode == GROUND else f"-v({pickoff.cathode})"
    back = EXT + 0.9 * (V - EXT)
    # the peak may last a microsecond: a run of its own, in steps fine enough to see it
    peak = spice(
        tmp_path, pickoff, 0.0, 0.0, 1.0, 14e-6 + 3 * pulse.peak_s, 2e-9,
        ["high max v(input)", "low min v(input)"],
    )  # fmt: skip
    assert max(peak["high"], -peak["low"]) == pytest.approx(pulse.peak_v, rel=0.03)
    got = spice(
        tmp_path, pickoff, 0.0, 0.0, 1.0, 10e-6 + 2 * pulse.recharge_s, pulse.recharge_s / 4000,
        [f"back when par('v(anode){cathode}')={back} rise=last"],
    )  # fmt: skip
    begin = 10e-6 + WIDTH / 2
    assert got["back"] - begin == pytest.approx(pulse.recharge_s, rel=0.03)


@pytest.mark.parametrize("case", CASES)
def test_droop(tmp_path, case):
    pickoff, source, reservoir, rate = CASES[case]
    net = pickoff.network()
    # what the supply has to recharge: the capacitance that the discharge meets
    anode_f = net.across_f("anode", pickoff.cathode)
    series = pickoff.anode_ohm
    if pickoff.at == "anode" and pickoff.resistor_at == "tube":
        series += pickoff.load_ohm
    supply = Supply(V, source, reservoir)
    load = fixed_drop_load(rate, supply, series, anode_f, EXT, pattern="regular")
    settled = 12 * source * reservoir
    cycles = max(8, int(settled * rate) + 1)
    start = 10e-6 + (cycles - 4) / rate
    stop = 10e-6 + cycles / rate
    got = spice(
        tmp_path, pickoff, source, reservoir, 1 / rate, stop, 0.25 / rate / 500,
        [f"mean avg v(supply) from={start} to={stop}"],
    )  # fmt: skip
    assert V - got["mean"] == pytest.approx(float(load.droop_v), rel=0.03)
