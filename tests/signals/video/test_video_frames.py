"""Frames come with their own times, upright, on the sound's clock."""

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from counterproof.errors import UserError
from counterproof.signals.audio import open_audio
from counterproof.signals.video import Box, open_video
from counterproof.signals.video.sheet import png_bytes
from counterproof.simulate.acoustics import Recording
from counterproof.simulate.phone import write_recording
from counterproof.simulate.video import Filmed, Filming, Shown

CAMERA = Filming(width=96, height=160, frames_per_s=10.0, noise=0.0, tremor_px=0.0, scale=0.4)
SHOWN = Shown(np.array([0.0]), ("0.12",))


def test_turned_frames_come_out_upright(shoot: Callable[..., Filmed]) -> None:
    upright = None
    for turn in (0, 90, 180, 270):
        made = shoot(SHOWN, 0.5, filming=replace(CAMERA, rotation_deg=turn), name=f"{turn}.mp4")
        video = open_video(made.path)
        assert (video.rotation_deg, video.width, video.height) == (turn, 96, 160)
        _, picture = video.still()
        # a box is cut from the same place whichever way the file's frames lie
        box = Box(10, 40, 50, 30)
        _, (part,) = next(video.frames((box,)))
        assert (part == picture[40:70, 10:60]).all()
        if upright is None:
            upright = picture.astype(float)
        else:  # the codec packs turned pictures a little differently
            assert np.abs(picture - upright).mean() < 2.0


@pytest.mark.parametrize("suffix", ["mp4", "mov", "mkv"])
def test_times_are_those_of_the_frames(shoot: Callable[..., Filmed], suffix: str) -> None:
    filming = replace(CAMERA, uneven=0.6, missing_s=((1.0, 2.5),))
    made = shoot(SHOWN, 3.5, filming=filming, name=f"uneven.{suffix}")
    times = np.array([t for t, _ in open_video(made.path).frames()])
    expected = made.frame_times_s - made.frame_times_s[0]
    # Matroska rounds to 1 ms (RFC 9559); the others carry 1/90000 s here
    assert np.abs(times - expected).max() < 2e-3
    assert np.diff(times).max() > 1.4  # the gap stays a gap
    assert np.ptp(np.diff(times)[:8]) > 0.01  # and the rate stays uneven


def test_picture_and_sound_share_a_clock(shoot: Callable[..., Filmed]) -> None:
    rate, at = 44100, 1.5
    samples = np.zeros(3 * rate, dtype=np.float32)
    samples[round(at * rate) : round(at * rate) + 200] = 0.8
    sound = Recording(samples, rate, np.array([at]), 0.005)
    shown = Shown(np.array([0.0, at]), ("0.00", "8.88"))
    made = shoot(shown, 3.0, sound=sound, filming=replace(CAMERA, frames_per_s=20.0))
    video = open_video(made.path)
    assert video.has_sound
    with open_audio(made.path) as recording:
        heard = recording.read()
        onset = np.argmax(np.abs(heard) > 0.3) / recording.sample_rate_hz
    box = Box(*made.fields[0])
    levels = [(t, float(part.mean())) for t, (part,) in video.frames((box,))]
    jump = int(np.argmax(np.abs(np.diff([v for _, v in levels]))))
    assert levels[jump + 1][0] == pytest.approx(onset, abs=0.06)


def test_a_video_without_sound_runs_from_its_first_frame(shoot: Callable[..., Filmed]) -> None:
    video = open_video(shoot(SHOWN, 0.5).path)
    assert not video.has_sound
    assert next(iter(video.frames()))[0] == 0.0


def test_what_is_no_picture_gets_one_sentence(tmp_path: Path) -> None:
    sound = write_recording(tmp_path / "sound.m4a", np.zeros(8000, dtype=np.float32), 8000)
    with pytest.raises(UserError, match="has no picture"):
        open_video(sound)
    note = tmp_path / "note.mp4"
    note.write_text("no video at all\n")
    with pytest.raises(UserError, match="is text"):
        open_video(note)


def test_a_cut_off_file_is_named(shoot: Callable[..., Filmed]) -> None:
    made = shoot(SHOWN, 0.5)
    made.path.write_bytes(made.path.read_bytes()[:2000])
    with pytest.raises(UserError, match="index is missing"):
        open_video(made.path)


@pytest.mark.parametrize("written", ["1,2,3", "a,b,c,d", ""])
def test_a_region_is_four_numbers(written: str) -> None:
    with pytest.raises(UserError, match="four numbers"):
        Box.parse(written)


def test_a_region_must_lie_in_the_picture() -> None:
    with pytest.raises(UserError, match="does not lie in the picture"):
        Box(400, 10, 50, 50).within(320, 200)
    assert Box.parse("10, 20, 30.4, 40") == Box(10, 20, 30, 40)


def test_stills_are_pngs_that_others_read() -> None:
    picture = np.arange(48, dtype=np.uint8).reshape(6, 8) * 5
    with Image.open(io.BytesIO(png_bytes(picture))) as seen:
        assert (np.asarray(seen) == picture).all()
