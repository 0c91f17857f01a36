"""Readings out of simulated films, against what the displays showed.

The examiner knows nothing of the reader but its door: a file and a region in, stills to key,
readings out. It keys stills from the truth, as a person would. Faces and seeds here were never used
to tune anything: two dot faces (``tall``, ``heavy``), wide thin segments, and strokes that lean
back. Hands, hunting focus, glare, tremor, flicker and codec are drawn as
:func:`counterproof.simulate.video.draw_filming` draws them.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acceptance import Row
from counterproof.forensics import PairedRun, ReadoutFit, fit_readout
from counterproof.readout import Boxcar, ReadoutModel
from counterproof.signals.video import (
    Box,
    Format,
    VideoReadings,
    open_video,
    read,
    sheet_of,
    watch,
)
from counterproof.signals.video.layout import survey
from counterproof.signals.video.scan import scan
from counterproof.simulate.acoustics import draw_scene
from counterproof.simulate.box import Box as Counter
from counterproof.simulate.box import BoxRun, Tube, run_box
from counterproof.simulate.typefaces import Face
from counterproof.simulate.video import Filmed, Shown, draw_filming, film, shown_readings
from counterproof.workshop.detect import train_of_file

TITLE = "Readings out of a video, on simulated films of displays kept aside"

ASIDE_SEEDS: Sequence[int] = range(880_000, 880_020)
HOUR_SEED, FIRMWARE_SEED, SPEED_SEED = 881_000, 882_001, 883_000
KEYED_AT_MOST = 25
ROUNDS = 4

Floats = NDArray[np.float64]


def aside_face(seed: int) -> Face:
    """Draw one of the faces kept aside."""
    rng = np.random.default_rng([seed, 3])
    kind = ("tall", "wide", "heavy", "back")[seed % 4]
    if kind == "wide":
        return Face(
            thickness=rng.uniform(0.07, 0.1),
            gap=rng.uniform(0.0, 0.02),
            aspect=rng.uniform(0.65, 0.75),
            slant=rng.uniform(0.0, 0.2),
            spacing=rng.uniform(0.3, 0.4),
            tails=bool(seed & 4),
            point_beside=bool(seed & 8),
        )
    if kind == "back":
        return Face("strokes", thickness=rng.uniform(0.1, 0.17), slant=-0.08, spacing=0.15)
    return Face(kind, thickness=rng.uniform(0.8, 1.0), aspect=rng.uniform(0.8, 1.0))


@dataclass
class Mark:
    """One film, marked."""

    given: int = 0
    wrong: int = 0
    wrong_point: int = 0
    due: int = 0
    found: int = 0
    keyed: int = 0
    cpu_s: float = 0.0


def keyed_readings(
    made: Filmed, shown: Shown, form: Format, every_s: float
) -> tuple[VideoReadings, int]:
    """Read a film as a person would: key the sheet, then what is asked, within the allowance."""
    watched = watch(made.path, Box(*made.region), every_s=every_s)
    sheet = sheet_of(watched, form)
    readings = None
    for _ in range(ROUNDS):
        for still in sheet.open:
            still.typed = shown.at(still.time_s)
        readings = read(watched, sheet.glyphs(), form, unit="µSv/h", keyed=sheet.of(0))
        more = readings.asked[: min(6, KEYED_AT_MOST - len(sheet.stills))]
        if not more:
            break
        sheet.ask(more)
    assert readings is not None
    return readings, len(sheet.keyed)


def marked(readings: VideoReadings, shown: Shown, made: Filmed, covered: Sequence[Floats]) -> Mark:
    """Compare readings with the truth: right if shown within a frame or two of its time."""
    frame_s = float(np.median(np.diff(made.frame_times_s)))
    mark = Mark()
    for at, value in zip(readings.times_s, readings.values, strict=True):
        near = {shown.at(float(at) + off) for off in (-2 * frame_s, 0.0, 2 * frame_s)}
        mark.given += 1
        if float(value) not in {float(t) for t in near if t}:
            mark.wrong += 1
            tens = {float(t) * 10.0**k for t in near if t for k in (-2, -1, 1, 2)}
            mark.wrong_point += any(abs(value - v) < 1e-6 for v in tens)
    ends = np.append(shown.times_s[1:], made.frame_times_s[-1])
    for start, end in zip(shown.times_s, ends, strict=True):
        if end - start < 3 * frame_s or any(start < c[1] and end > c[0] for c in covered):
            continue  # not to be seen
        mark.due += 1
        inside = (readings.times_s >= start - 2 * frame_s) & (readings.times_s < end)
        mark.found += bool(inside.any())
    return mark


def one_film(seed: int, seconds: float, refresh_s: float, folder: Path, fps: float = 10.0) -> Mark:
    """Film a display kept aside, read it, mark it."""
    rng = np.random.default_rng([seed, 1])
    panel, filming = draw_filming(seed, "strokes", seconds, frames_per_s=fps)
    panel = replace(panel, face=aside_face(seed))
    n = int(seconds / refresh_s)
    level = 0.3 * np.exp(np.cumsum(rng.normal(0, 0.12, n)) * (0.3 if n < 2000 else 0.1))
    values = level * np.exp(rng.normal(0, 0.2, n))
    decimals = 2 if seed % 3 else 3
    times = refresh_s * np.arange(n) + rng.uniform(0, refresh_s)
    shown = shown_readings(times, np.round(values, decimals), decimals)
    made = film(folder / f"{seed}.mp4", shown, seconds, panel, filming, seed)
    covered = [np.array([h - 0.2, h + filming.hand_lasts_s + 0.2]) for h in filming.hands_s]
    start = time.process_time()
    form = Format.parse("0." + "0" * decimals)
    readings, keyed = keyed_readings(made, shown, form, min(0.2, refresh_s / 3))
    mark = marked(readings, shown, made, covered)
    mark.keyed, mark.cpu_s = keyed, time.process_time() - start
    made.path.unlink()
    return mark


def firmware_pair(seed: int, seconds: float, folder: Path) -> tuple[BoxRun, PairedRun, PairedRun]:
    """Return a run of a counter, as it was and as its film tells it."""
    model = ReadoutModel(
        Boxcar(20.0), (120.0, 190.0), (120.0 * 1.2,), quantum_usv_h=0.01, refresh_s=1.0
    )

    def rate(t: Floats) -> Floats:
        levels = np.array([0.5, 1.0, 1.6, 3.2, 0.8]) * 120.0 / 60.0
        return levels[np.minimum((t / seconds * 5).astype(int), 4)]

    counter = Counter(Tube({}, non_paralysable_s=100e-6), model, draw_scene(seed))
    run = run_box(counter, rate, seconds, seed, warm_up_s=60.0)
    log = run.reading_log()
    shown = shown_readings(log.times_s, log.values, 2)
    panel, filming = draw_filming(seed, "strokes", seconds, frames_per_s=6.0)
    panel = replace(panel, face=aside_face(seed))
    made = film(folder / "firmware.mp4", shown, seconds, panel, filming, seed, sound=run.sound)
    readings, _ = keyed_readings(made, shown, Format.parse("0.00"), 0.2)
    clicks = train_of_file(made.path)
    true = PairedRun(run.pulses_s, seconds, log.times_s, log.values)
    seen = PairedRun(
        clicks.times_s,
        clicks.duration_s,
        readings.times_s,
        readings.values,
        clicks.gaps_s,
        clicks.efficiency,
        clicks.efficiency_u,
        clicks.resolving_time_s,
    )
    return run, true, seen


def _figures(fit: ReadoutFit) -> dict[str, tuple[float, float, float]]:
    out = {f"factor {i + 1}": (f.value, f.low, f.high) for i, f in enumerate(fit.factors)}
    if fit.switch is not None:
        out["switch"] = (fit.switch.value, fit.switch.low, fit.switch.high)
    if fit.time_constant is not None:
        t = fit.time_constant
        out["window"] = (t.value, t.low, t.high)
    return out


def firmware_row(seconds: float, folder: Path) -> Row:
    """Infer the firmware from the true signals and from the film alone."""
    _, true, seen = firmware_pair(FIRMWARE_SEED, seconds, folder)
    a, b = _figures(fit_readout([true])), _figures(fit_readout([seen]))
    apart = [
        name for name in a if name not in b or a[name][1] > b[name][2] or b[name][1] > a[name][2]
    ]
    words = "; ".join(
        f"{name} {b[name][0]:.4g} ({b[name][1]:.4g}…{b[name][2]:.4g}), from the truth {v[0]:.4g}"
        for name, v in a.items()
        if name in b
    )
    return Row(
        "firmware from the film alone as from true pulses and readings",
        "same parameters, intervals overlap",
        words or "nothing was found",
        bool(a) and not apart,
        f"{seconds:.0f} s over five levels" + (f"; apart: {', '.join(apart)}" if apart else ""),
    )


def speed_row(folder: Path, seconds: float) -> Row:
    """Read 1080p at 30 frames per second and scale to an hour."""
    rng = np.random.default_rng(SPEED_SEED)
    n = int(seconds)
    shown = shown_readings(np.arange(n) + 0.4, np.round(rng.gamma(20, 0.01, n), 2), 2)
    panel, filming = draw_filming(
        SPEED_SEED,
        "strokes",
        seconds,
        width=1920,
        height=1080,
        frames_per_s=30.0,
        scale=3.0,
        hunting=(),
        hands_s=(),
        noise=0.01,
        quality=26,
    )
    panel = replace(panel, face=aside_face(SPEED_SEED))
    made = film(folder / "speed.mp4", shown, seconds, panel, filming, SPEED_SEED)
    rate = made.path.stat().st_size * 8e-6 / seconds
    video = open_video(made.path)
    start = time.process_time()
    layout = survey(video, Box(*made.region))
    once = time.process_time() - start
    scan(video, layout)
    each = time.process_time() - start - once
    hour = (once + each * 3600 / seconds) / 60
    return Row(
        "an hour of 1080p at 30 frames per second",
        "< 10 min on 2 cores (20 processor minutes)",
        f"{hour:.1f} processor minutes",
        hour < 20.0,
        f"scaled from {seconds:.0f} s at {rate:.0f} Mbit/s; decoding spreads over the cores",
    )


def measure(quick: bool) -> list[Row]:
    """Film, key, read and mark."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        seeds = ASIDE_SEEDS[:2] if quick else ASIDE_SEEDS
        marks = [one_film(s, 30.0 if quick else 240.0, 0.5, folder) for s in seeds]
        hour = None if quick else one_film(HOUR_SEED, 3600.0, 1.0, folder, fps=4.0)
        rows = _rows(marks, hour)
        if not quick:
            rows += [firmware_row(900.0, folder), speed_row(folder, 10.0)]
    return rows


def _rows(marks: list[Mark], hour: Mark | None) -> list[Row]:
    every = marks if hour is None else [*marks, hour]
    given, wrong = sum(m.given for m in every), sum(m.wrong for m in every)
    due, found = sum(m.due for m in every), sum(m.found for m in every)
    points = sum(m.wrong_point for m in every)
    films = f"{len(every)} films"
    return [
        Row(
            "readings right among those given",
            "≥ 99.5 %",
            f"{100 * (1 - wrong / max(given, 1)):.2f} % ({wrong} wrong of {given})",
            given > 0 and wrong <= 0.005 * given,
            films,
        ),
        Row(
            "readings given of those that could be seen",
            "≥ 97 %",
            f"{100 * found / max(due, 1):.2f} % of {due}",
            found >= 0.97 * due,
            f"worst film {100 * min(m.found / max(m.due, 1) for m in every):.1f} %",
        ),
        Row(
            "wrong decimal points",
            "none among 10 000",
            f"{points} of {given}",
            points == 0,
        ),
        Row(
            "keyed stills",
            "≤ 25 an hour",
            f"at most {max(m.keyed for m in every)} for a film"
            + ("" if hour is None else f", {hour.keyed} for the hour"),
            max(m.keyed for m in every) <= KEYED_AT_MOST,
        ),
    ]
