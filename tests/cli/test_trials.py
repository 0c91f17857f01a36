"""Every trial from the command line: files in, verdict out; and what surrounds a run."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from counterproof.trials.registry import TRIALS
from tests.cli.conftest import Bench

BOX = """
[instrument]
name = "Lantern"
role = "under test"
[[instrument.display]]
quantity = "dose_rate"
unit = "µSv/h"
quantum = 0.01
window_s = 20
top = 100
[[instrument.setting]]
kind = "factor"
unit = "cpm/(µSv/h)"
value = 120
[instrument.battery]
capacity = "1000 mAh"
claimed_h = "20 h"
"""
SOURCES = {
    "caesium": 'nuclide = "Cs-137"\ncover = [{ material = "PMMA", thickness_mm = 3.0 }]',
    "barium": 'nuclide = "Ba-133"\ncover = [{ material = "PMMA", thickness_mm = 3.0 }]',
    "strontium": 'nuclide = "Sr-90"\ncover = [{ material = "Al", thickness_mm = 0.01 }]',
}
ACTIVITY = 'activity = "370 kBq"\nactivity_uncertainty = "3 %"\nreference_date = 2026-01-01'


@dataclass
class Given:
    """One run: what to type after ``add-run``, and the file that is read."""

    options: tuple[str, ...] = ()
    counts: tuple[float, ...] = ()  # per interval of ten minutes
    shown: float | None = None
    minutes: float = 600.0
    instrument: str = "Lantern"
    readings: list[tuple[float, float]] = field(default_factory=list)


def at(source: str, mm: float = 100.0, *more: str) -> tuple[str, ...]:
    return ("--source", source, "--distance", f"{mm:g} mm", *more)


def on(*conditions: str) -> tuple[str, ...]:
    return tuple(word for c in conditions for word in ("--condition", c))


def pair(mine: float, theirs: float, options: tuple[str, ...] = ()) -> list[Given]:
    """Lantern's display beside Wren's counts (2.5 counts per second for 1 µSv/h)."""
    return [
        Given(options, shown=mine),
        Given(options, counts=(1500 * theirs,) * 3, instrument="Wren"),
    ]


def stepped() -> list[tuple[float, float]]:
    """A display that averages over 20 s, after a step from 0.1 to 4 µSv/h at 100 s."""
    times = [2.0 * i for i in range(150)]
    return [(t, 0.1 + 3.9 * min(max((t - 100.0) / 20.0, 0.0), 1.0)) for t in times]


# a textbook's plateau, from memory, with a hundred times its counts
SWEEP = dict(zip(range(400, 751, 50), (42, 310, 443, 456, 462, 468, 474, 520), strict=True))
CASES: dict[str, tuple[list[Given], str, str, str]] = {
    "background": (pair(0.15, 0.1), "grade_b", "not met", "Lantern over Wren"),
    "source response": (
        pair(0.1, 0.1) + pair(1.1, 1.1, at("caesium")), "grade_b", "met", "caesium",
    ),
    "dose-rate ladder": (
        pair(0.1, 0.1)
        + [g for mm, d in ((200, 1.1), (100, 4.1), (50, 16.1))
           for g in pair(d, d, at("caesium", mm))],
        "grade_b", "met", "net indication of Lantern",
    ),
    "repeatability": (
        [Given(counts=(300, 317, 291, 283, 322, 309, 278, 306, 295, 299, 314, 288))],
        "grade_b", "met", "scatter",
    ),
    "beta shutter": (
        [Given(counts=(300,)), Given(at("strontium", 20), counts=(12300,)),
         Given(at("strontium", 20, "--absorber", "PMMA 12 mm"), counts=(360,))],
        "grade_b", "no criterion", "beta share",
    ),
    "energy response": (
        [Given(shown=0.1), Given(at("caesium"), shown=3.2), Given(at("barium"), shown=9.3)],
        "iec_60846", "not met", "barium",
    ),
    "angle": (
        [Given(counts=(300,)), Given(at("caesium"), counts=(30300,)),
         Given(at("caesium", 100, "--angle", "90°"), counts=(27300,)),
         Given(at("caesium", 100, "--angle", "180°"), counts=(29300,))],
        "iec_60846", "met", "at 90°",
    ),
    "response time": (
        [Given((*at("caesium"), *on("step=100 s")), readings=stepped())],
        "grade_b", "met", "90 % of a step up",
    ),
    "plateau": (
        [Given(counts=(1800,))]
        + [Given((*at("caesium"), *on(f"voltage={v} V")), counts=(100 * n,))
           for v, n in SWEEP.items()],
        "grade_b", "met", "slope",
    ),
    "light": (
        [Given(on("light=dark"), counts=(3000,)), Given(on("light=lamp"), counts=(3010,)),
         Given(on("light=ultraviolet"), counts=(6000,))],
        "grade_b", "not met", "ultraviolet",
    ),
    "overload": (
        [Given(on(f"injected={r} cps"), shown=s)
         for r, s in ((10, 5), (100, 50), (1000, 99.9), (100000, 40))],
        "grade_b", "not met", "overload",
    ),
    "endurance": (
        [Given(on("battery_empty=yes", "mode=quiet"), shown=0.1, minutes=25 * 60)],
        "grade_b", "met", "quiet",
    ),
    "climate": (
        [Given((*at("caesium"), *on(f"temperature={t} °C")), counts=(n,))
         for t, n in ((5, 300000), (20, 304500), (35, 309000))],
        "grade_b", "met", "per kelvin",
    ),
}  # fmt: skip


def add(bench: Bench, folder: Path, number: int, given: Given) -> None:
    """Write the run's file and hand it in."""
    words = ["add-run", "-i", given.instrument, *given.options]
    words += ["--started", f"2026-03-{number + 1:02d}T09:00"]
    path = folder / f"{number}.csv"
    if given.counts:
        lines = ["start;counts"] + [f"{600 * i};{n:.0f}" for i, n in enumerate(given.counts)]
        columns = ("role=counts", "time_columns=1", "value_column=2", "interval_s=600")
    elif given.readings:
        lines = ["time_s;dose_rate_usv_h"] + [f"{t};{v:.2f}" for t, v in given.readings]
        columns = ("role=dose_rate", "time_columns=1", "value_column=2", "unit=µSv/h")
    else:
        words += ["--lasted", f"{given.minutes:g} min"]
        momentary = "injected" in " ".join(given.options)
        words += ["--field", "momentary" if momentary else "average"]
        words += ["--reading", f"{given.shown:g} µSv/h"] * (12 if momentary else 1)
        bench(*words)
        return
    path.write_text("\n".join(lines) + "\n")
    bench(*words, "--table", str(path), "--yes", *(w for c in columns for w in ("--column", c)))


@pytest.fixture
def described(bench: Bench, tmp_path: Path) -> Bench:
    """The bench with the box under test and three sources described."""
    (tmp_path / "box.toml").write_text(BOX)
    bench("kit", "amend", str(tmp_path / "box.toml"))
    for name, what in SOURCES.items():
        path = tmp_path / f"{name}.toml"
        path.write_text(f'[source]\nname = "{name}"\n{ACTIVITY}\nform = "point"\n{what}\n')
        bench("kit", "add", str(path))
    return bench


@pytest.mark.parametrize("name", [t.name for t in TRIALS])
def test_files_in_verdict_out(name: str, described: Bench, tmp_path: Path) -> None:
    runs, profile, verdict, judged = CASES[name]
    for number, given in enumerate(runs):
        add(described, tmp_path, number, given)
    outcome = described.json("trial", "judge", name, "-i", "Lantern", "--profile", profile)
    assert outcome["verdict"] == verdict, outcome
    assert any(judged in j["quantity"] for j in outcome["judgements"])
    assert outcome["runs"]


def test_what_surrounds_a_run_is_kept(described: Bench) -> None:
    told = described.json(
        "add-run", "-i", "Lantern", "--lasted", "5 min", "--reading", "0.5 µSv/h",
        *at("caesium", 50, "--distance-uncertainty", "1 mm", "--angle", "45°"),
        "--absorber", "Al 50 mg/cm²", "--absorber", "PMMA 3 mm",
        *on("temperature=-5 °C", "mode=backlight on", "battery_empty=no"),
    )  # fmt: skip
    run = told["runs"][0]["run"]
    assert run["position"]["angle_deg"] == 45.0
    assert run["position"]["distance_u_mm"] == 1.0
    plates = run["position"]["absorbers"]
    assert [(p["material"], p["areal_density_mg_cm2"]) for p in plates] == [
        ("Al", 50.0),
        ("PMMA", pytest.approx(357.0)),  # 3 mm at 1.19 g/cm³
    ]
    conditions = {"temperature_c": -5.0, "mode": "backlight on", "battery_empty": "0"}
    assert run["conditions"] == conditions


@pytest.mark.parametrize(
    "options,words",
    [
        (("--condition", "volt=400 V"), "did you mean voltage"),
        (("--condition", "light=sun"), "dark, lamp, ultraviolet"),
        (("--condition", "voltage"), "name=value"),
        (("--condition", "voltage=4 s"), "a voltage is expected"),
        (("--condition", "current=0 mA"), "above zero"),
        (("--absorber", "unobtainium 3 mm"), "no material 'unobtainium'"),
        (("--absorber", "PMMA 0 mm"), "above zero"),
        (("--angle", "4 cm"), "an angle is expected"),
        (("--angle", "720"), "no angle"),
        (("--distance", "0 cm"), "no distance"),
        (("--distance-uncertainty", "-1 mm"), "no distance"),
    ],
)
def test_what_cannot_surround_a_run(options: tuple[str, ...], words: str, described: Bench) -> None:
    told = described(
        "add-run", "-i", "Lantern", "--lasted", "5 min", "--reading", "1 µSv/h", *options, code=2
    )
    assert words in told
    assert described.json("bench", "runs")["runs"] == []


def test_the_agenda_says_what_every_trial_still_needs(described: Bench, tmp_path: Path) -> None:
    before = described.json("trial", "plan", "-i", "Lantern")
    assert [t["trial"] for t in before["trials"]][: len(TRIALS)] == [t.name for t in TRIALS]
    assert {t["state"] for t in before["trials"]} == {"nothing recorded"}
    assert all(t["missing"] and t["minutes"] > 0.0 for t in before["trials"])
    assert before["total_minutes"] == pytest.approx(sum(t["minutes"] for t in before["trials"]))

    half = Given(on("battery_empty=no", "mode=quiet"), shown=0.1, minutes=12 * 60)
    add(described, tmp_path, 0, half)
    after = {t["trial"]: t for t in described.json("trial", "plan", "-i", "Lantern")["trials"]}
    assert after["endurance"]["state"] == "not judged"
    assert after["background"]["state"] == "not judged"
    assert after["angle"]["state"] == "nothing recorded"

    described("trial", "judge", "endurance", "-i", "Lantern")
    described("trial", "judge", "background", "-i", "Lantern")
    after = {t["trial"]: t for t in described.json("trial", "plan", "-i", "Lantern")["trials"]}
    assert after["endurance"]["state"] == "open"
    assert after["endurance"]["minutes"] == pytest.approx(8 * 60)  # 20 h are claimed
    assert after["background"]["state"] == "decided"
    assert "nothing recorded" in described("trial", "plan", "-i", "Lantern")


def test_a_plan_guesses_the_background_from_the_factor(described: Bench) -> None:
    # 120 cpm per µSv/h at 0.105 µSv/h: 0.21 counts per second; 20 % need 25 counts, two minutes
    made = described.json("trial", "plan", "background", "-i", "Lantern", "--uncertainty", "20 %")
    own = next(r for r in made["runs"] if r["instrument"] == "Lantern")
    assert own["minutes"] == pytest.approx(25.0 / 0.21 / 60.0, rel=0.05)
