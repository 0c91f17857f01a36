"""The invented demonstration: the instrument pool of the Hollow Lane Community Workshop.

Nothing here is a real place, product or measurement. Three counters and five sources are pure
data; :func:`make_run` turns a planned run into pulses, displayed numbers and sound, and
:func:`write_runs` into files that are read back like anybody's recordings.

Physics is simple on purpose: photons by the inverse square with the sensitivities of one table,
betas by solid angle with one efficiency per tube and source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi
from pathlib import Path
from zlib import crc32

import numpy as np

from counterproof.progress import Report, silent, step
from counterproof.readout import Boxcar, ReadoutModel
from counterproof.simulate.acoustics import Phone, Scene
from counterproof.simulate.box import Box, BoxRun, Tube, run_box, write_readings
from counterproof.simulate.clicks import draw_click
from counterproof.simulate.phone import write_recording
from counterproof.simulate.room import Room

PLACE = "Hollow Lane Community Workshop (invented)"
SEED = 2026
BACKGROUND_USV_H = 0.10
"""True H*(10) rate in the workshop, terrestrial and cosmic together."""


@dataclass(frozen=True)
class Source:
    """An invented source.

    Args:
        key: short name.
        label: what it is.
        nuclides: nuclides and activities in Bq at ``reference_date``, the parent of a chain alone.
        reference_date: ISO date of the activity; the runs take place on that day.
        form: shape, size and cover.
        photon_usv_h_m2: H*(10) rate times distance squared in air, µSv/h·m².
    """

    key: str
    label: str
    nuclides: tuple[tuple[str, float], ...]
    reference_date: str
    form: str
    photon_usv_h_m2: float


DAY = "2026-03-14"
SOURCES = {
    s.key: s
    for s in (
        # photon constants in µSv m²/(MBq h): Cs-137 0.0754 µGy·1.203 Sv/Gy = 0.0907 (air kerma
        # constant and ICRP 74 coefficient), Ba-133 0.076, K-40 0.020, Th-232 chain 0.25 (these
        # three from memory, rounded; the last less the rods' own absorption); Sr/Y-90:
        # bremsstrahlung only, taken as about 1 % of a photon source
        Source("caesium", "caesium disc", (("Cs-137", 37e3),), DAY,
               "disc 25 mm, 3 mm plastic", 0.0907 * 0.037),
        Source("barium", "barium disc", (("Ba-133", 37e3),), DAY,
               "disc 25 mm, 3 mm plastic", 0.076 * 0.037),
        Source("strontium", "strontium–yttrium disc", (("Sr-90", 3.7e3), ("Y-90", 3.7e3)), DAY,
               "disc 25 mm, thin foil on the front", 0.001 * 0.0037),
        Source("rods", "bundle of thoriated rods", (("Th-232", 3.0e3),), DAY,
               "ten rods, 2.4 mm by 150 mm, side by side", 0.25 * 0.003),
        Source("salt", "jar of potassium salt", (("K-40", 8.0e3),), DAY,
               "jar of 0.5 kg, open, 80 mm across", 0.020 * 0.008),
    )
}  # fmt: skip
"""The invented sources by key."""


@dataclass(frozen=True)
class Counter:
    """An invented counter.

    Args:
        name: its name.
        role: what it is in the workshop.
        tube_form: what the tube looks like.
        wall: what radiation has to pass.
        box: tube, readout and sound.
        betas_per_s_at_5cm: rate of betas in the gas with the source 5 cm from the effective
            centre, by source.
        suffix: kind of file its recordings are kept in.
    """

    name: str
    role: str
    tube_form: str
    wall: str
    box: Box
    betas_per_s_at_5cm: dict[str, float]
    suffix: str


# Counts per second per µSv/h (H*(10)). Caesium sets the scale; the others follow the shape that
# such tubes are known for: bare thin steel over-reads soft photons (barium) moderately, a mica
# disc more, and a brass sleeve of 1.5 mm flattens and then cuts them. Background photons are close
# to caesium for all three. Invented figures; later replaced by computed responses.
_CPS_PER_USV_H = {
    #            caesium barium strontium rods  salt  background
    "Lantern": (1.90, 1.85, 1.60, 1.95, 2.00, 1.90),
    "Wren": (2.50, 3.00, 3.20, 2.60, 2.45, 2.50),
    "Heron": (5.00, 7.00, 8.00, 5.40, 4.90, 5.00),
}
_FIELDS = ("caesium", "barium", "strontium", "rods", "salt", "background")


def _sensitivity(name: str) -> dict[str, float]:
    return dict(zip(_FIELDS, _CPS_PER_USV_H[name], strict=True))


def _betas(area_cm2: float, share: dict[str, float]) -> dict[str, float]:
    """Betas in the gas at 5 cm: emitted per second × solid angle × share that gets through.

    A chain or two nuclides count each beta; self-absorption in rods and salt is in the share. The
    caesium and barium discs' covers stop what they emit.
    """
    solid = area_cm2 / (4 * pi * 5.0**2)
    emitted = {"strontium": 2 * 3.7e3, "rods": 4 * 3.0e3, "salt": 0.89 * 8.0e3}
    return {k: emitted[k] * solid * s for k, s in share.items()}


_ROOM = Room((4.6, 3.4, 2.5), (1.7, 1.3, 0.9), (1.82, 1.38, 0.95), 0.55, 0.30, 0.012)


def _scene(kind: str, seed: int, sigma: float, noise: dict[str, float], phone: Phone) -> Scene:
    click = draw_click(kind, np.random.default_rng(seed), highest_hz=6500.0)
    return Scene(click, _ROOM, noise, loudness_sigma=sigma, peak=0.3, phone=phone)


def _counters() -> dict[str, Counter]:
    rate = 16000
    lantern = Counter(
        "Lantern",
        "pocket counter under test",
        "steel tube 10 mm by 75 mm in a brass sleeve",
        "1.5 mm of brass (1280 mg/cm²) and 0.1 mm of steel: no betas",
        Box(
            # 3.3 cpm of its own, 114 cpm per µSv/h and the factor 110: a third high at background
            Tube(_sensitivity("Lantern"), 0.055, non_paralysable_s=110e-6),
            ReadoutModel(
                estimator=Boxcar(40.0),
                factors_cpm_per_usv_h=(110.0, 190.0),
                switches_cpm=(66.0,),
                hysteresis=0.1,
                quantum_usv_h=0.01,
                dose_quantum_usv=0.001,
            ),
            _scene("piezo", 11, 0.15, {"pink": -38.0, "hum": -24.0}, Phone(sample_rate_hz=rate)),
        ),
        {},
        ".m4a",
    )
    wren = Counter(
        "Wren",
        "the workshop's gamma reference",
        "slim thin-walled steel tube 8 mm by 90 mm",
        "45 mg/cm² of steel",
        Box(
            Tube(_sensitivity("Wren"), 0.030, non_paralysable_s=90e-6),
            ReadoutModel(
                estimator=Boxcar(60.0),
                factors_cpm_per_usv_h=(150.0,),
                background_cpm=1.8,
                quantum_usv_h=0.001,
                dose_quantum_usv=0.001,
            ),
            _scene("loudspeaker", 12, 0.12, {"white": -40.0, "hum": -30.0},
                   Phone(sample_rate_hz=rate)),
        ),
        _betas(5.0, {"strontium": 0.45, "rods": 0.02, "salt": 0.005}),
        ".ogg",
    )  # fmt: skip
    heron = Counter(
        "Heron",
        "the beta reference",
        "disc tube with a mica window of 28 mm",
        "1.8 mg/cm² of mica",
        Box(
            Tube(_sensitivity("Heron"), 0.20, non_paralysable_s=70e-6, paralysable_s=10e-6),
            ReadoutModel(
                estimator=Boxcar(30.0),
                factors_cpm_per_usv_h=(300.0,),
                background_cpm=12.0,
                quantum_usv_h=0.001,
                dose_quantum_usv=0.001,
            ),
            _scene("piezo", 13, 0.18, {"pink": -42.0, "hum": -28.0}, Phone(sample_rate_hz=rate)),
        ),
        _betas(6.2, {"strontium": 0.85, "rods": 0.08, "salt": 0.02}),
        ".flac",
    )
    return {c.name: c for c in (lantern, wren, heron)}


COUNTERS = _counters()
"""The invented counters by name."""


def dose_rate_usv_h(source: str | None, distance_m: float) -> dict[str, float]:
    """Return the true H*(10) rate by where it comes from, at a distance from a source.

    Args:
        source: key of the source, or ``None`` for background alone.
        distance_m: from the source to the tube's effective centre.
    """
    field = {"background": BACKGROUND_USV_H}
    if source is not None:
        field[source] = SOURCES[source].photon_usv_h_m2 / distance_m**2
    return field


def true_rate_per_s(counter: str, source: str | None = None, distance_m: float = 0.05) -> float:
    """Return the true rate of events in a counter's tube, before dead time."""
    c = COUNTERS[counter]
    betas = 0.0
    if source is not None:
        betas = c.betas_per_s_at_5cm.get(source, 0.0) * (0.05 / distance_m) ** 2
    return c.box.tube.rate_per_s(dose_rate_usv_h(source, distance_m), betas)


@dataclass(frozen=True)
class PlannedRun:
    """One run of the demonstration: who, with what, how far, how long.

    ``kept`` says what was kept of it: ``"sound"`` (a recording and the displayed numbers),
    ``"register"`` (the accumulated dose, read at start and end) or ``"counts"`` (a table of counts
    per minute from a pulse line).
    """

    key: str
    counter: str
    source: str | None
    distance_m: float
    duration_s: float
    purpose: str
    kept: str = "sound"


def _plan() -> tuple[PlannedRun, ...]:
    names = list(COUNTERS)
    runs = [
        PlannedRun(f"background-{n.lower()}", n, None, 0.05, 900.0, "background") for n in names
    ]
    runs += [
        PlannedRun(f"{s}-{n.lower()}", n, s, 0.05, 90.0, "source response")
        for s in SOURCES
        for n in names
    ]
    runs += [
        PlannedRun(f"caesium-{n.lower()}-{d}cm", n, "caesium", d / 100, 120.0, "dose-rate ladder")
        for d in (20, 10, 3)
        for n in ("Lantern", "Wren")
    ]
    runs += [
        PlannedRun(f"repeat-lantern-{i}", "Lantern", "caesium", 0.05, 40.0, "repeatability")
        for i in range(1, 7)
    ]
    night = 12 * 3600.0
    runs += [
        PlannedRun("overnight-lantern", "Lantern", None, 0.05, night, "background", "register"),
        PlannedRun("overnight-wren", "Wren", None, 0.05, night, "background", "counts"),
    ]
    return tuple(runs)


RUNS = _plan()
"""Every run of the demonstration, in order; their seeds follow from their keys."""


def make_run(run: PlannedRun, *, seed: int = SEED, with_sound: bool = True) -> BoxRun:
    """Let the run's counter run: pulses, displayed numbers, sound.

    Args:
        run: one of :data:`RUNS`, or one like it.
        seed: the demonstration's seed.
        with_sound: make the recording too.
    """
    rate = true_rate_per_s(run.counter, run.source, run.distance_m)
    return let_run(run, COUNTERS[run.counter].box, rate, seed=seed, with_sound=with_sound)


def let_run(run: PlannedRun, box: Box, rate_per_s: float, *, seed: int, with_sound: bool) -> BoxRun:
    """Let a box run as planned at a true rate; the run's own seed follows from its key."""
    root = np.random.SeedSequence([seed, crc32(run.key.encode())])
    return run_box(box, rate_per_s, run.duration_s, root, warm_up_s=120.0, with_sound=with_sound)


@dataclass(frozen=True)
class WrittenRun:
    """Files of one run; ``None`` for what was not kept of it."""

    run: PlannedRun
    audio: Path | None = None
    readings: Path | None = None
    counts: Path | None = None


def write_runs(
    folder: str | Path,
    *,
    runs: Sequence[PlannedRun] = RUNS,
    seed: int = SEED,
    report: Report = silent,
) -> list[WrittenRun]:
    """Write the demonstration's recordings and reading logs into a folder.

    Args:
        folder: where to; made if missing.
        runs: which of :data:`RUNS`.
        seed: the demonstration's seed.
        report: progress by seconds of sound.

    Raises:
        Cancelled: if ``report`` answers ``False``; the files written so far stay.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    sound_s = {r.key: r.duration_s if r.kept == "sound" else 0.0 for r in runs}
    total, done = int(sum(sound_s.values())), 0
    written = []
    for run in runs:
        step(report, done, total)
        written.append(_write_run(folder, run, make_run(run, seed=seed, with_sound=_heard(run))))
        done += int(sound_s[run.key])
    step(report, total, total)
    return written


def _heard(run: PlannedRun) -> bool:
    return run.kept == "sound"


def _write_run(folder: Path, run: PlannedRun, made: BoxRun) -> WrittenRun:
    table = folder / f"{run.key}.csv"
    if run.kept == "register":
        log = made.reading_log("accumulated")
        ends = replace(log, times_s=log.times_s[[0, -1]], values=log.values[[0, -1]])
        return WrittenRun(run, readings=write_readings(table, ends))
    if run.kept == "counts":
        edges = np.arange(0.0, run.duration_s + 1.0, 60.0)
        counts = np.histogram(made.pulses_s, edges)[0]
        lines = [f"{start:g},{n}" for start, n in zip(edges[:-1], counts, strict=True)]
        table.write_text("start_s,counts\n" + "\n".join(lines) + "\n", encoding="utf-8")
        return WrittenRun(run, counts=table)
    assert made.sound is not None
    audio = folder / f"{run.key}{COUNTERS[run.counter].suffix}"
    write_recording(audio, made.sound.samples, made.sound.sample_rate_hz, bits_per_s=32000)
    readings = write_readings(table, made.reading_log(every_s=5.0))
    return WrittenRun(run, audio=audio, readings=readings)
