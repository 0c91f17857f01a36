"""Recordings of every kind, whole and damaged. All files are made here; none is a product's."""

import os
import struct
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from counterproof.errors import Cancelled, UserError
from counterproof.signals.audio import open_audio

RATE = 48000
CLICKS_S = np.array([0.5, 2.0, 3.25, 7.0, 8.75])


def clicks(seconds: float = 10.0, rate: int = RATE) -> np.ndarray:
    """Short bursts at known instants over faint noise."""
    rng = np.random.default_rng(1)
    sound = rng.normal(scale=1e-4, size=round(seconds * rate))
    burst = np.exp(-np.arange(96) / 20.0) * np.cos(np.arange(96) * 0.6) * 0.8
    for at in CLICKS_S[: np.searchsorted(CLICKS_S, seconds - 0.1)]:
        start = round(at * rate)
        sound[start : start + 96] += burst
    return sound.astype(np.float32)


def onsets(sound: np.ndarray, rate: int = RATE) -> np.ndarray:
    loud = np.flatnonzero(np.abs(sound) > 0.25)
    return loud[np.concatenate(([True], np.diff(loud) > rate // 10))] / rate


def pack(path: Path, codec: str, sound: np.ndarray, *, without: tuple[float, float] = (0, 0)):
    """Encode with FFmpeg; stretches of ``without`` (seconds) are left out, times kept."""
    with av.open(str(path), "w") as container:
        container.metadata["creation_time"] = "2026-03-01T10:00:00Z"
        stream = container.add_stream(codec, rate=RATE, layout="mono")
        for at in range(0, len(sound) - 1023, 1024):
            if without[0] <= at / RATE < without[1]:
                continue
            frame = av.AudioFrame.from_ndarray(
                sound[None, at : at + 1024], format="fltp", layout="mono"
            )
            frame.rate, frame.pts, frame.time_base = RATE, at, Fraction(1, RATE)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def refused(path: Path, *words: str, **options: object) -> str:
    """One sentence that names the file and says ``words``."""
    with pytest.raises(UserError) as caught, open_audio(path, **options) as recording:
        for _ in recording.blocks():
            pass
    message = caught.value.message
    assert "\n" not in message
    assert str(path) in message
    for word in words:
        assert word in message
    return message


@pytest.mark.parametrize(
    "name, options",
    [
        ("a.wav", {}),
        ("f.wav", {"subtype": "FLOAT"}),
        ("x.rf64", {"format": "RF64", "subtype": "PCM_24"}),
        ("a.aiff", {}),
        ("a.flac", {}),
        ("a.ogg", {}),
        ("o.ogg", {"format": "OGG", "subtype": "OPUS"}),
        ("a.mp3", {}),
    ],
)
def test_sound_comes_back_at_its_time(tmp_path, name, options):
    path = tmp_path / name
    soundfile.write(path, clicks(), RATE, **options)
    with open_audio(path) as recording:
        sound = recording.read()
        assert recording.sample_rate_hz == RATE
    assert recording.duration_s == pytest.approx(10.0, abs=0.03)
    assert recording.warnings == []
    assert sound.dtype == np.float32
    np.testing.assert_allclose(onsets(sound), CLICKS_S, atol=1e-3)


@pytest.mark.parametrize(
    "name, codec",
    [
        ("a.m4a", "aac"),
        ("a.mp4", "aac"),
        ("a.mov", "pcm_s16le"),
        ("a.mkv", "flac"),
        ("a.webm", "libopus"),
        ("b.mkv", "aac"),
    ],
)
def test_sound_of_a_video_container(tmp_path, name, codec):
    sound = clicks()
    if codec in ("flac", "pcm_s16le"):
        path = tmp_path / name
        with av.open(str(path), "w") as container:
            stream = container.add_stream(codec, rate=RATE, layout="mono")
            whole = (sound[: 460 * 1024] * 32767).astype(np.int16)
            for at in range(0, len(whole), 1024):
                frame = av.AudioFrame.from_ndarray(
                    whole[None, at : at + 1024], format="s16", layout="mono"
                )
                frame.rate, frame.pts, frame.time_base = RATE, at, Fraction(1, RATE)
                container.mux(stream.encode(frame))
            container.mux(stream.encode(None))
    else:
        path = pack(tmp_path / name, codec, sound)
    with open_audio(path) as recording:
        heard = recording.read()
    assert recording.warnings == []
    # lossy encoders may keep a constant delay of some milliseconds; it must be constant
    delay = onsets(heard) - CLICKS_S
    assert np.ptp(delay) < 1e-3
    assert abs(delay.mean()) < 0.03


def test_container_start_time(tmp_path):
    path = pack(tmp_path / "a.m4a", "aac", clicks(2.0))
    with open_audio(path) as recording:
        assert recording.started is not None
        assert recording.started.isoformat() == "2026-03-01T10:00:00+00:00"


@pytest.mark.parametrize("name", ["g.mp4", "g.mkv"])
def test_missing_packets_are_a_gap_and_later_clicks_keep_their_time(tmp_path, name):
    path = pack(tmp_path / name, "aac", clicks(), without=(4.0, 6.0))
    with open_audio(path) as recording:
        heard = recording.read()
    ((start, end),) = recording.gaps_s
    assert start == pytest.approx(4.0, abs=0.05)
    assert end == pytest.approx(6.0, abs=0.05)
    np.testing.assert_allclose(onsets(heard), CLICKS_S, atol=2e-3)
    assert any("lacks 1 stretches" in warning for warning in recording.warnings)


@pytest.mark.parametrize("name", ["a.flac", "a.ogg"])
def test_corrupt_middle_keeps_later_times(tmp_path, name):
    path = tmp_path / name
    soundfile.write(path, clicks(), RATE)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 2000] = np.random.default_rng(3).bytes(2000)
    path.write_bytes(data)
    with open_audio(path) as recording:
        heard = recording.read()
    assert recording.warnings
    assert len(recording.gaps_s) >= 1
    assert onsets(heard)[-1] == pytest.approx(8.75, abs=1e-3)


def test_corrupt_mp3_says_that_times_may_be_shifted(tmp_path):
    path = tmp_path / "a.mp3"
    soundfile.write(path, clicks(), RATE)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 2000] = np.random.default_rng(3).bytes(2000)
    path.write_bytes(data)
    with open_audio(path) as recording:
        heard = recording.read()
    assert heard.size > 9 * RATE
    assert any("shifted" in warning for warning in recording.warnings)


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.mp3"])
def test_truncated_recording_gives_what_is_there(tmp_path, name):
    path = tmp_path / name
    soundfile.write(path, clicks(), RATE)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])
    with open_audio(path) as recording:
        heard = recording.read()
    assert 5.5 * RATE < heard.size < 6.5 * RATE
    assert any("cut short" in warning for warning in recording.warnings)
    np.testing.assert_allclose(onsets(heard), [0.5, 2.0, 3.25], atol=1e-3)


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF])
def test_wav_whose_recorder_was_killed(tmp_path, size):
    path = tmp_path / "a.wav"
    soundfile.write(path, clicks(), RATE)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = struct.pack("<I", size)
    path.write_bytes(data)
    with open_audio(path) as recording:
        heard = recording.read()
    assert heard.size == 10 * RATE
    assert any("never closed" in warning for warning in recording.warnings)


def test_truncated_video_says_so(tmp_path):
    path = pack(tmp_path / "a.mp4", "aac", clicks())
    path.write_bytes(path.read_bytes()[:20000])
    refused(path, "index is missing")


def test_channels(tmp_path):
    path = tmp_path / "two.wav"
    left = clicks(2.0)
    right = np.full_like(left, 0.25)
    soundfile.write(path, np.stack([left, right], axis=1), RATE, subtype="FLOAT")
    with open_audio(path, channel=1) as recording:
        np.testing.assert_array_equal(recording.read(), right)
    with open_audio(path) as recording:
        assert recording.channels == 2
        np.testing.assert_allclose(recording.read(), (left + right) / 2, atol=1e-7)
    refused(path, "no channel 3", channel=2)


@pytest.mark.parametrize("block", [1000, 4096, 65536])
def test_blocks_do_not_depend_on_their_size(tmp_path, block):
    path = tmp_path / "a.flac"
    sound = clicks(3.0)
    soundfile.write(path, sound, RATE)
    with open_audio(path, block_frames=block) as recording:
        blocks = list(recording.blocks())
    assert all(part.size == block for part in blocks[:-1])
    np.testing.assert_allclose(np.concatenate(blocks), sound, atol=1 / 32768)


def test_nan_samples_become_a_gap(tmp_path):
    path = tmp_path / "n.wav"
    sound = clicks(4.0)
    sound[RATE : RATE + 480] = np.nan
    sound[3 * RATE] = np.inf
    soundfile.write(path, sound, RATE, subtype="FLOAT")
    with open_audio(path, block_frames=1000) as recording:
        heard = recording.read()
    assert np.isfinite(heard).all()
    np.testing.assert_allclose(recording.gaps_s, [[1.0, 1.01], [3.0, 3 + 1 / RATE]], atol=1e-9)
    assert any("481 samples that are not numbers" in w for w in recording.warnings)
    soundfile.write(path, np.full(RATE, np.nan, np.float32), RATE, subtype="FLOAT")
    refused(path, "no valid sample")


def test_bad_files_get_one_sentence(tmp_path):
    path = tmp_path / "bad.wav"
    refused(path, "no file")
    refused(tmp_path, "folder")
    path.write_bytes(b"")
    refused(path, "empty")
    path.write_text("time,counts\n0,3\n1,5\n")
    refused(path, "text")
    path.write_text("zeit;zähler\n0;3\n", encoding="utf-16")
    refused(path, "text")
    path.write_bytes(bytes(5000))
    refused(path, "zero bytes")
    path.write_bytes(np.random.default_rng(5).bytes(5000))
    refused(path, "no recording")
    soundfile.write(path, clicks(1.0), RATE)
    whole = path.read_bytes()
    path.write_bytes(whole[:44])
    refused(path, "no sound after it")
    path.write_bytes(whole[:20])
    refused(path, "no sound after it")
    soundfile.write(path, np.empty(0, np.float32), RATE)
    refused(path, "no sound after it")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read everything")
def test_unreadable(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, clicks(1.0), RATE)
    path.chmod(0)
    refused(path, "may not be read")


def test_unreadable_by_the_system(tmp_path, monkeypatch):
    path = tmp_path / "a.wav"
    soundfile.write(path, clicks(1.0), RATE)

    def deny(self, *args, **options):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", deny)
    refused(path, "may not be read")


def test_video_without_sound(tmp_path):
    path = tmp_path / "silent.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 32
        stream.pix_fmt = "yuv420p"
        for _ in range(5):
            frame = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    refused(path, "video without sound")


def test_unknown_codec(tmp_path):
    path = pack(tmp_path / "a.mkv", "aac", clicks(1.0))
    path.write_bytes(path.read_bytes().replace(b"A_AAC", b"A_QQQ"))
    refused(path, "packed in a way")


def test_progress_can_cancel(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, clicks(), RATE)
    seen: list[tuple[int, int]] = []

    def report(done: int, total: int) -> bool:
        seen.append((done, total))
        return len(seen) < 3

    with open_audio(path) as recording, pytest.raises(Cancelled):
        for _ in recording.blocks(report):
            pass
    assert seen[-1] == (3 * 65536, 10 * RATE)


def test_three_hours_in_bounded_memory(tmp_path):
    """Three hours of 8 kHz sound streamed; NumPy's own memory stays far below the sound's size."""
    import tracemalloc

    path = tmp_path / "long.flac"
    quiet = np.zeros(8000 * 60, np.int16)
    with soundfile.SoundFile(path, "w", samplerate=8000, channels=1, subtype="PCM_16") as out:
        for _ in range(180):
            out.write(quiet)
    tracemalloc.start()
    with open_audio(path) as recording:
        total = sum(block.size for block in recording.blocks())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert total == 3 * 3600 * 8000
    assert recording.duration_s == 10800.0
    assert peak < 8e6


HEADS = [
    b"",
    b"RIFF\x00\x10\x00\x00WAVEfmt ",
    b"fLaC",
    b"OggS\x00\x02",
    b"\x1a\x45\xdf\xa3",
    b"ID3",
]
HEADS += [b"\x00\x00\x00\x20ftypisom", b"\xff\xfb\x90\x44", b"\xff\xf1\x50\x80", b"caff", b".snd"]


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(head=st.sampled_from(HEADS), body=st.binary(max_size=3000))
def test_random_bytes_never_crash(tmp_path, head, body):
    path = tmp_path / "junk.bin"
    path.write_bytes(head + body)
    with suppress(UserError), open_audio(path) as recording:
        for _, block in zip(range(100), recording.blocks(), strict=False):
            assert np.isfinite(block).all()


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data(), name=st.sampled_from(["a.wav", "a.flac", "a.ogg", "a.mp3", "a.m4a"]))
def test_damaged_recordings_never_crash(tmp_path, data, name):
    path = tmp_path / name
    original = tmp_path / ("whole-" + name)
    if not original.exists():
        if name.endswith("m4a"):
            pack(original, "aac", clicks(1.0))
        else:
            soundfile.write(original, clicks(1.0), RATE)
    content = bytearray(original.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        patch = data.draw(st.binary(min_size=1, max_size=64))
        content[at : at + len(patch)] = patch
    path.write_bytes(content)
    with suppress(UserError), open_audio(path) as recording:
        for _, block in zip(range(200), recording.blocks(), strict=False):
            assert np.isfinite(block).all()
