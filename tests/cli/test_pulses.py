"""`counterproof pulses`: the promised JSON, a true interval, one sentence per fault."""

import json
import struct
import wave
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from counterproof.cli import app as frame
from counterproof.records.schema import schemas


@pytest.fixture(autouse=True)
def _own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COUNTERPROOF_LOG_FOLDER", str(tmp_path / "log"))


def write_wav(path: Path, samples: np.ndarray, rate: int = 16000) -> Path:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        out.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return path


def clicks(rate_per_s: float, seconds: float, seed: int = 1, fs: int = 16000) -> np.ndarray:
    """Return damped 3 kHz clicks at random times over a little hiss."""
    rng = np.random.default_rng(seed)
    sound = rng.normal(0.0, 0.003, int(seconds * fs))
    t = np.arange(int(0.006 * fs)) / fs
    shape = np.exp(-t / 0.0012) * np.sin(2 * np.pi * 3000 * t)
    for at in rng.uniform(0.0, seconds - 0.01, rng.poisson(rate_per_s * seconds)):
        i = int(at * fs)
        sound[i : i + shape.size] += 0.3 * np.exp(rng.normal(0, 0.2)) * shape
    return sound


def run_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, object]:
    assert frame.run(["pulses", *arguments, "--json"]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def test_json_holds_what_was_promised(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_wav(tmp_path / "clicks.wav", clicks(5.0, 40.0))
    found = run_json(capsys, str(file))
    jsonschema.validate(found, schemas()["pulses"])
    rate = found["rate_per_s"]
    assert isinstance(rate, dict)
    assert rate["low"] < 5.0 < rate["high"]
    assert rate["low"] < rate["value"] < rate["high"]
    assert found["count"] == len(found["times_s"])  # type: ignore[arg-type]
    assert found["duration_s"] == pytest.approx(40.0)
    assert 0 < found["resolving_time_s"] <= 0.004  # type: ignore[operator]
    assert found["warnings"] == []


def test_a_person_gets_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_wav(tmp_path / "clicks.wav", clicks(5.0, 20.0))
    assert frame.run(["pulses", str(file)]) == 0
    told = capsys.readouterr().out
    assert "true rate" in told
    assert "min⁻¹" in told
    assert "95 %" in told


def test_noise_gives_a_warning_and_no_rate(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hiss = np.random.default_rng(3).normal(0.0, 0.05, 16000 * 20)
    found = run_json(capsys, str(write_wav(tmp_path / "hiss.wav", hiss)))
    assert found["rate_per_s"] is None
    assert found["warnings"]


def test_a_taught_shape_finds_a_sparse_background(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    near = write_wav(tmp_path / "near.wav", clicks(10.0, 20.0, 5))
    sparse = write_wav(tmp_path / "sparse.wav", clicks(0.1, 120.0, 7))
    found = run_json(capsys, str(sparse), "--teach", str(near))
    rate = found["rate_per_s"]
    assert isinstance(rate, dict)
    assert rate["low"] < 0.1 < rate["high"]


def truncated(folder: Path) -> Path:
    whole = write_wav(folder / "whole.wav", clicks(5.0, 10.0))
    cut = folder / "cut.wav"
    cut.write_bytes(whole.read_bytes()[:20])
    return cut


def named_wav(folder: Path) -> Path:
    path = folder / "words.wav"
    path.write_text("these are words, not sound\n" * 50)
    return path


def empty(folder: Path) -> Path:
    path = folder / "empty.wav"
    path.touch()
    return path


def header_only(folder: Path) -> Path:
    return write_wav(folder / "header.wav", np.empty(0))


def missing(folder: Path) -> Path:
    return folder / "not-there.wav"


def a_folder(folder: Path) -> Path:
    return folder


def a_lie(folder: Path) -> Path:
    """A header that promises a rate of zero."""
    whole = bytearray(write_wav(folder / "lie.wav", clicks(5.0, 2.0)).read_bytes())
    whole[24:28] = struct.pack("<I", 0)
    path = folder / "lie.wav"
    path.write_bytes(bytes(whole))
    return path


@pytest.mark.parametrize(
    "make", [truncated, named_wav, empty, header_only, missing, a_folder, a_lie]
)
def test_one_sentence_for_each_fault(
    make: object, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(tmp_path)  # type: ignore[operator]
    assert frame.run(["pulses", str(path), "--json"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.strip().splitlines()) == 1, told.err
    assert path.name in told.err


def test_a_recording_that_breaks_off_is_heard_as_far_as_it_goes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = write_wav(tmp_path / "whole.wav", clicks(5.0, 40.0))
    half = tmp_path / "half.wav"
    data = whole.read_bytes()
    half.write_bytes(data[: len(data) // 2])
    found = run_json(capsys, str(half))
    assert found["duration_s"] == pytest.approx(20.0, abs=0.1)
    assert found["warnings"]
    assert found["rate_per_s"] is not None
