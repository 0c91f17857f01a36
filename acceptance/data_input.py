"""Recordings, tables and pulse files: memory, speed, crashes, bad input."""

from __future__ import annotations

import random
import signal
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from acceptance import Row
from counterproof.errors import UserError
from counterproof.signals.audio import open_audio
from counterproof.signals.mapping import Mapping
from counterproof.signals.pulsefile import read_pulses, summary, write_pulses
from counterproof.signals.tables import read_table
from counterproof.signals.trains import PulseTrain

TITLE = "Reading recordings, tables and pulse files"

_STREAM = """
import resource, sys
from pathlib import Path
from counterproof.signals.audio import open_audio
with open_audio(sys.argv[1]) as recording:
    total = sum(block.size for block in recording.blocks())
# ru_maxrss is handed down through fork and exec: the peak of this process alone is in /proc
status = Path("/proc/self/status")
peak = next((int(line.split()[1]) for line in status.read_text().splitlines()
             if line.startswith("VmHWM")), 0) if status.exists() else 0
print(total, (peak or resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) // 1024)
"""
_LIVE = """
import itertools, sys, numpy as np
from counterproof.signals.pulsefile import PulseWriter
writer = PulseWriter(sys.argv[1])
for step in itertools.count():
    writer.append((step + np.linspace(0.1, 0.9, 5)) / 100, (step + 1) / 100)
    print(step + 1, flush=True)
"""
COUNTS = Mapping("counts", value_column=2, time_columns=(1,), interval_s=1.0, separator="semicolon")


def _wav_head(frames: int, rate: int = 48000, channels: int = 2) -> bytes:
    size = frames * channels * 2
    form = struct.pack("<HHIIHH", 1, channels, rate, rate * channels * 2, channels * 2, 16)
    return (
        b"RIFF" + struct.pack("<I", size + 36) + b"WAVEfmt " + struct.pack("<I", 16) + form
        + b"data" + struct.pack("<I", size)
    )  # fmt: skip


def _long_recording(folder: Path, quick: bool) -> Row:
    """A stereo recording at 48 kHz; a sparse file of silence is as long as any other."""
    hours = 0.2 if quick else 3.0
    frames = round(hours * 3600 * 48000)
    path = folder / "long.wav"
    path.write_bytes(_wav_head(frames))
    with path.open("r+b") as stream:
        stream.truncate(44 + frames * 4)
    done = subprocess.run(
        [sys.executable, "-c", _STREAM, str(path)], capture_output=True, text=True, check=True
    )
    total, megabytes = map(int, done.stdout.split())
    path.unlink()
    return Row(
        f"memory for a {hours:g}-hour stereo recording",
        "≤ 500 MB",
        f"{megabytes} MB, whole process",
        total == frames and megabytes <= 500,
    )


def _pulse_file(folder: Path) -> list[Row]:
    path = folder / "ten-million.pulses"
    times = np.cumsum(np.random.default_rng(7).exponential(0.01, 10_000_000))
    train = PulseTrain(times, float(times[-1]))
    begin = time.process_time()
    write_pulses(path, train)
    stored = time.process_time() - begin
    begin = time.process_time()
    again = read_pulses(path)
    opened = time.process_time() - begin
    begin = time.process_time()
    told = summary(path).count
    summed = time.process_time() - begin
    worst = float(np.abs(again.times_s - times).max())
    each = path.stat().st_size / times.size
    return [
        Row("store 10⁷ pulses", "< 5 s", f"{stored:.2f} s", stored < 5),
        Row("open 10⁷ pulses", "< 1 s", f"{opened:.2f} s", opened < 1),
        Row("count and length of 10⁷ pulses", "< 1 s", f"{summed:.3f} s",
            summed < 1 and told == times.size),
        Row("size of a pulse at 100/s", "≤ 4 bytes", f"{each:.2f} bytes", each <= 4),
        Row("error of a time", "≤ 0.5 µs", f"{worst * 1e6:.4f} µs", worst <= 0.5001e-6),
    ]  # fmt: skip


def _kills(folder: Path, quick: bool) -> Row:
    """Kill a live writer at random instants; whatever it had acknowledged must be there."""
    trials = 3 if quick else 50
    rng = random.Random(11)
    whole = 0
    for trial in range(trials):
        path = folder / f"live-{trial}.pulses"
        child = subprocess.Popen(
            [sys.executable, "-c", _LIVE, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.3))
        child.send_signal(signal.SIGKILL)
        said = child.stdout.read().split()
        child.stdout.close()
        child.wait()
        told = int(said[-1]) if said else 1
        again = read_pulses(path)
        expected = (np.arange(told)[:, None] + np.linspace(0.1, 0.9, 5)).ravel() / 100
        kept = again.times_s[: 5 * told]
        whole += kept.size == expected.size and bool(np.allclose(kept, expected, atol=1e-6))
    return Row(
        f"kill -9 during a live run, {trials} times",
        "nothing acknowledged is lost",
        f"{whole} of {trials} runs whole",
        whole == trials,
    )


def _table(folder: Path, quick: bool) -> Row:
    millions = 1 if quick else 10
    path = folder / "table.csv"
    with path.open("wb") as stream:
        for start in range(0, millions * 1_000_000, 1_000_000):
            stream.write(b"".join(b"%d.25;%d\n" % (start + i, i % 50) for i in range(1_000_000)))
    begin = time.process_time()
    log = read_table(path, COUNTS)
    spent = time.process_time() - begin
    path.unlink()
    return Row(
        f"read a table of {millions}·10⁶ lines",
        f"< {2 * millions} s",
        f"{spent:.1f} s of processor time",
        log.live_s == millions * 1e6 and spent < 2 * millions,
    )


def _sentence(read: Callable[[], object]) -> bool:
    try:
        read()
    except UserError as fault:
        return "\n" not in fault.message and len(fault.message) < 400
    return False


def _bad_input(folder: Path) -> Row:
    def sound(name: str, content: bytes) -> bool:
        (folder / name).write_bytes(content)
        return _sentence(lambda: list(open_audio(folder / name).blocks()))

    def table(content: str) -> bool:
        (folder / "bad.csv").write_text(content, encoding="utf-8")
        return _sentence(lambda: read_table(folder / "bad.csv", COUNTS))

    train = PulseTrain(np.array([0.5]), 1.0)
    cases = {
        "empty file": sound("empty.wav", b""),
        "text named .wav": sound("text.wav", b"0;3\n1;5\n"),
        "header only": sound("head.wav", _wav_head(480)),
        "junk": sound("junk.wav", bytes(range(256)) * 20),
        "mixed units": table("0;1 cpm\n1;2 cps\n"),
        "negative counts": table("0;1\n1;-2\n"),
        "time running backwards": table("0;1\n2;2\n1;3\n"),
        "not a number": table("0;1\n1;NaN\n"),
        "unwritable folder": _sentence(lambda: write_pulses(folder / "none" / "a.pulses", train)),
    }
    path = folder / "cut.wav"
    path.write_bytes(_wav_head(48000) + bytes(48000 * 2))
    with open_audio(path) as recording:
        frames = sum(block.size for block in recording.blocks())
    cases["truncated WAV is used as far as it goes"] = frames == 24000 and any(
        "cut short" in warning for warning in recording.warnings
    )
    wrong = [name for name, fine in cases.items() if not fine]
    return Row(
        "bad input",
        "one sentence each, nothing half-written",
        f"{len(cases) - len(wrong)} of {len(cases)}"
        + (f"; not: {', '.join(wrong)}" if wrong else ""),
        not wrong and not list(folder.glob(".*.tmp")),
    )


def measure(quick: bool) -> list[Row]:
    """Measure in a temporary folder."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return [
            _long_recording(folder, quick),
            *_pulse_file(folder),
            _kills(folder, quick),
            _table(folder, quick),
            _bad_input(folder),
        ]
