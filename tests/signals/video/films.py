"""Small films of invented displays, and how they are keyed and marked."""

import numpy as np

from counterproof.signals.video import Format, Sheet, VideoReadings, Watched, read
from counterproof.simulate.typefaces import Face
from counterproof.simulate.video import Filming, Panel, Shown, shown_readings

PANEL = Panel(Face(), digit_px=32, unit="µSv/h")
CAMERA = Filming(width=320, height=200, frames_per_s=8.0, tremor_px=0.5)

# every digit at least twice, in the last places
VALUES = np.array(
    [0.12, 0.34, 0.56, 0.78, 0.90, 0.21, 0.43, 0.65, 0.87, 0.09, 0.15, 0.26, 0.37, 0.48, 0.59, 0.60]
)


def readings_shown(period_s: float = 1.0, start_s: float = 0.4, repeat: int = 1) -> Shown:
    values = np.tile(VALUES, repeat)
    return shown_readings(start_s + period_s * np.arange(values.size), values, 2)


def key(sheet: Sheet, *shown: Shown) -> None:
    """Key what is open on a sheet, as a person would who sees the display."""
    for still in sheet.open:
        still.typed = shown[still.place].at(still.time_s)


def taught(watched: Watched, sheet: Sheet, form: str = "0.00") -> VideoReadings:
    return read(watched, sheet.glyphs(), Format.parse(form), unit="µSv/h", keyed=sheet.of(0))


def wrong(readings: VideoReadings, shown: Shown, near_s: float = 0.15) -> list[tuple[float, float]]:
    """Return the readings that the display did not show at their time, give or take a frame."""
    out = []
    for t, v in zip(readings.times_s, readings.values, strict=True):
        near = {shown.at(float(t) + off) for off in (-near_s, 0.0, near_s)}
        if v not in {float(x) for x in near if x}:
            out.append((float(t), float(v)))
    return out
