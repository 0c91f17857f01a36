"""Readings out of films: right, or asked, or a gap; never guessed, never shifted."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from counterproof.errors import Cancelled, UserError
from counterproof.signals.video import (
    Box,
    Format,
    Glyphs,
    Sheet,
    Watched,
    flashes_of,
    read,
    sheet_of,
    watch,
)
from counterproof.simulate.video import Filmed, Shown, shown_readings
from tests.signals.video.films import CAMERA, PANEL, VALUES, key, readings_shown, taught, wrong

FORM = Format.parse("0.00")


def test_all_readings_are_right(watched_film: tuple[Watched, Shown]) -> None:
    watched, shown = watched_film
    sheet = sheet_of(watched, FORM)
    assert 4 <= len(sheet.stills) <= 12
    key(sheet, shown)
    readings = taught(watched, sheet)
    assert wrong(readings, shown) == []
    assert set(np.round(readings.values, 2)) == set(VALUES)
    assert readings.asked == ()
    assert readings.refresh is not None
    period = readings.refresh.period
    assert period.low <= 1.0 <= period.high
    log = readings.log()
    assert (log.quantity, log.unit, log.quantum) == ("dose_rate", "µSv/h", 0.01)
    # each number's time is known to a frame
    starts = shown.times_s[1:-1]
    off = [np.abs(readings.times_s - t).min() for t in starts]
    assert max(off) < 1.5 / CAMERA.frames_per_s


def test_glyphs_and_sheets_come_back_from_their_files(
    watched_film: tuple[Watched, Shown], tmp_path: Path
) -> None:
    watched, shown = watched_film
    sheet = sheet_of(watched, FORM)
    table, picture = sheet.write(tmp_path / "sheet")
    with Image.open(picture) as seen:
        assert seen.size[0] > 100
    again = Sheet.load(table)
    assert [s.number for s in again.open] == [s.number for s in sheet.stills]
    # a spreadsheet may turn commas into semicolons and points into commas
    lines = table.read_text().splitlines()
    rows = [line.split(",") for line in lines[1:]]
    filled = [";".join([n, f, t, shown.at(float(t)).replace(".", ",")]) for n, f, t, _ in rows]
    table.write_text("\n".join([lines[0].replace(",", ";"), *filled]))
    glyphs = Sheet.load(table).glyphs()
    assert glyphs.digits == "0123456789"
    back = Glyphs.load(glyphs.save(tmp_path / "glyphs.npz"))
    readings = read(watched, back, FORM, unit="µSv/h")
    assert wrong(readings, shown) == []
    assert readings.values.size >= VALUES.size
    (tmp_path / "other.csv").write_text("number,field,time_s,reading\n1,1,0.5,0.12\n")
    with pytest.raises(UserError, match="is no sheet"):
        Sheet.load(tmp_path / "other.csv")
    with pytest.raises(UserError, match="holds no learned glyphs"):
        Glyphs.load(table)


def test_a_figure_that_was_never_keyed_is_asked(watched_film: tuple[Watched, Shown]) -> None:
    watched, shown = watched_film
    sheet = sheet_of(watched, FORM)
    key(sheet, shown)
    for still in sheet.stills:
        if "8" in still.typed or "6" in still.typed:
            still.typed = ""
    readings = taught(watched, sheet)
    assert wrong(readings, shown) == []
    assert not any("8" in f"{v:.2f}" or "6" in f"{v:.2f}" for v in readings.values)
    asked = {shown.at(s.time_s) for s in readings.asked}
    assert {"0.78", "0.87", "0.48"} <= asked
    assert any("never keyed" in w for w in readings.warnings)


def test_what_does_not_fit_the_format_is_asked(watched_film: tuple[Watched, Shown]) -> None:
    watched, shown = watched_film
    sheet = sheet_of(watched, FORM)
    key(sheet, shown)
    readings = taught(watched, sheet, "0.0")
    assert readings.values.size == 0
    assert len(readings.asked) >= 5
    for form in ("0.0.0", "x", "1.00", ""):
        with pytest.raises(UserError, match="format is written"):
            Format.parse(form)


def test_a_point_that_moves(shoot: Callable[..., Filmed]) -> None:
    texts = ("9.81", "10.2", "23.4", "87.6", "105", "99.5", "7.36", "41.0", "2.58", "364", "9.09")
    shown = Shown(0.3 + 1.0 * np.arange(len(texts)), texts)
    made = shoot(shown, 11.5)
    form = Format.parse("0.00|00.0|000")
    watched = watch(made.path, Box(*made.region))
    sheet = sheet_of(watched, form)
    key(sheet, shown)
    readings = taught(watched, sheet, form.written)
    assert wrong(readings, shown) == []
    assert {float(t) for t in texts} == set(readings.values)
    assert readings.quantum is None


def test_darkness_and_missing_frames_are_gaps(shoot: Callable[..., Filmed]) -> None:
    shown = readings_shown(repeat=2)
    filming = replace(CAMERA, dark_s=((12.0, 15.0),), missing_s=((17.0, 19.5),))
    made = shoot(shown, 25.0, filming=filming)
    watched = watch(made.path, Box(*made.region))
    sheet = sheet_of(watched, FORM)
    key(sheet, shown)
    readings = taught(watched, sheet)
    # after a gap every number still has its own time
    assert wrong(readings, shown) == []
    assert (readings.times_s > 19.5).sum() >= 5
    for start, end in ((12.2, 14.9), (17.0, 19.4)):
        assert not ((readings.times_s > start) & (readings.times_s < end)).any()
        assert any(a <= start + 0.3 and b >= end - 0.3 for a, b in readings.gaps_s)
    assert any("gaps in the log" in w for w in readings.warnings)


def test_two_numbers_of_one_display(shoot: Callable[..., Filmed]) -> None:
    first = readings_shown()
    second = shown_readings(0.4 + 2.0 * np.arange(8), np.array([3, 14, 15, 92, 65, 35, 89, 70]), 0)
    panel = replace(PANEL, small=0.7, unit="")
    made = shoot([first, second], 16.4, panel=panel)
    watched = watch(made.path, Box(*made.region), fields=2)
    forms = [FORM, Format.parse("0")]
    sheet = sheet_of(watched, forms)
    key(sheet, first, second)
    for place, (form, shown) in enumerate(zip(forms, (first, second), strict=True)):
        readings = read(
            watched, sheet.glyphs(place), form, unit="µSv/h", place=place, keyed=sheet.of(place)
        )
        assert wrong(readings, shown) == []
        assert readings.values.size >= 8


def test_flashes_of_a_lamp(shoot: Callable[..., Filmed]) -> None:
    rng = np.random.default_rng(4)
    flashes = np.cumsum(0.3 + rng.exponential(0.7, 14))
    filming = replace(CAMERA, lamp_lasts_s=0.08, frames_per_s=15.0)
    made = shoot(readings_shown(), 16.0, filming=filming, flashes_s=flashes)
    assert made.lamp is not None
    watched = watch(made.path, Box(*made.region), lamp=Box(*made.lamp))
    train = flashes_of(watched)
    due = flashes[flashes < 15.8]
    assert train.count == due.size
    assert np.abs(train.times_s - due).max() < 2.0 / 15.0
    assert 0.05 < train.resolving_time_s < 0.3


def test_stopping_leaves_by_the_front_door(plain_film: tuple[Filmed, Shown]) -> None:
    made, _ = plain_film
    with pytest.raises(Cancelled):
        watch(made.path, Box(*made.region), report=lambda done, total: done < 3)


def test_a_region_without_a_number_is_named(shoot: Callable[..., Filmed]) -> None:
    made = shoot(Shown(np.array([0.0]), ("",)), 2.0, panel=replace(PANEL, unit=""))
    x, y, w, h = made.region
    with pytest.raises(UserError, match="No number was found"):
        watch(made.path, Box(x + 12, y + 12, w - 24, h - 24))


def test_a_typeface_from_elsewhere(tmp_path: Path) -> None:
    """Digits drawn by another library, in its own font: Pillow's built-in one."""
    font = ImageFont.load_default(44)
    shown = readings_shown(0.8, 0.0)
    path = tmp_path / "pillow.mp4"
    rng = np.random.default_rng(2)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=8)
        stream.width, stream.height, stream.pix_fmt = 240, 120, "yuv420p"
        for i in range(100):
            picture = Image.new("L", (240, 120), 60)
            draw = ImageDraw.Draw(picture)
            draw.rectangle((20, 20, 220, 100), fill=170)
            draw.text((50, 28), shown.at(i / 8 + 1e-6), font=font, fill=35)
            grey = np.asarray(picture) + rng.normal(0, 3, (120, 240))
            rgb = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
            out.mux(stream.encode(av.VideoFrame.from_ndarray(rgb, format="rgb24")))
        out.mux(stream.encode(None))
    watched = watch(path, Box(22, 22, 196, 76))
    sheet = sheet_of(watched, FORM)
    key(sheet, shown)
    readings = taught(watched, sheet)
    assert wrong(readings, shown) == []
    assert readings.values.size >= 14
