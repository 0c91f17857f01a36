"""Runs, their signals, live recording and what a crash leaves."""

import errno
import os
import signal as signals
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest

from counterproof import safefile as safefile_module
from counterproof.bench import Bench, check, export_bench
from counterproof.bench import signalfiles as signalfiles_module
from counterproof.errors import Cancelled, UserError
from counterproof.kit import Instrument
from counterproof.records import Run
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog

COUNTS = CountLog(np.array([0.0, 60.0]), np.array([60.0, 60.0]), np.array([20, 31]))
READINGS = ReadingLog(
    np.array([1.0, 2.0]), np.array([0.12, 0.13]), "dose_rate", "µSv/h", "average", 0.01, ("typed",)
)


def test_signals_come_back(bench: Bench, run: Run, train: PulseTrain, tmp_path: Path) -> None:
    sound = tmp_path / "take 1.WAV"
    sound.write_bytes(b"RIFF" * 1000)
    stored = bench.add_run(run, [train, COUNTS, READINGS], [sound])
    assert stored.id == "run-0001"
    assert stored.duration_s == 600.0
    assert bench.get(Run, "run-0001") == stored
    back = bench.load_train(stored)
    assert back.count == 1000
    assert np.abs(back.times_s - train.times_s).max() <= 0.5e-6
    assert (back.efficiency, back.warnings) == (0.99, ("faint",))
    (counts,) = bench.load_count_logs("run-0001")
    assert counts.counts.tolist() == [20, 31]
    (readings,) = bench.load_reading_logs("run-0001")
    assert readings.values.tolist() == [0.12, 0.13]
    assert (readings.quantum, readings.field, readings.warnings) == (0.01, "average", ("typed",))
    (copy,) = bench.recording_paths(stored)
    assert copy.read_bytes() == sound.read_bytes()
    assert copy.suffix == ".wav"
    report = check(bench)
    assert report.ok
    assert report.files == 4


def test_runs_are_listed_by_their_start(bench: Bench, run: Run) -> None:
    bench.add(Instrument(name="Wren"))
    later = bench.add_run(run.model_copy(update={"started_utc": run.started_utc.replace(hour=12)}))
    first = bench.add_run(run)
    other = bench.add_run(run.model_copy(update={"instrument": "Wren"}))
    assert bench.names(Run, "Lantern") == (first.id, later.id)
    assert bench.list(Run, "Wren") == (other,)


def test_a_run_needs_what_it_names(bench: Bench, run: Run) -> None:
    for change, said in (
        ({"instrument": "Lantren"}, "did you mean 'Lantern'"),
        ({"sources": ("caesium dsc",)}, "did you mean 'caesium disc'"),
        ({"probe": "slim"}, "There is no probe"),
        ({"id": "../up"}, "cannot name a run"),
    ):
        with pytest.raises(UserError, match=said):
            bench.add_run(run.model_copy(update=change))
    stored = bench.add_run(run)
    with pytest.raises(UserError, match="Another run"):
        bench.add_run(stored)
    with pytest.raises(UserError, match="has no pulse train"):
        bench.load_train(stored)


def test_cancelling_stores_nothing(
    bench: Bench, run: Run, train: PulseTrain, tmp_path: Path
) -> None:
    sound = tmp_path / "a.wav"
    sound.write_bytes(b"x" * 10)
    with pytest.raises(Cancelled):
        bench.add_run(run, [COUNTS, train], [sound], report=lambda done, total: False)
    assert _files(bench) == []
    assert bench.names(Run) == ()


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EACCES, errno.EIO])
def test_a_disk_that_refuses_leaves_nothing(
    bench: Bench, run: Run, train: PulseTrain, monkeypatch: pytest.MonkeyPatch, fault: int
) -> None:
    def refuse(handle: int) -> None:
        raise OSError(fault, os.strerror(fault))

    with monkeypatch.context() as patch:
        patch.setattr(safefile_module.os, "fsync", refuse)
        with pytest.raises(UserError):
            bench.add_run(run, [train])
    assert _files(bench) == []
    assert bench.names(Run) == ()
    assert check(bench).ok


def test_a_full_disk_is_seen_before_copying(
    bench: Bench, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound = tmp_path / "a.wav"
    sound.write_bytes(b"x" * 10)
    usage = type("Usage", (), {"free": 5})
    monkeypatch.setattr(signalfiles_module.shutil, "disk_usage", lambda path: usage)
    with pytest.raises(UserError, match="no room left"):
        bench.add_run(run, [], [sound])
    with pytest.raises(UserError, match=r"none\.wav"):
        bench.add_run(run, [], [tmp_path / "none.wav"])
    assert _files(bench) == []


def test_a_full_database_rolls_back(bench: Bench, run: Run, train: PulseTrain) -> None:
    (pages,) = bench.database.rows("PRAGMA page_count")[0]
    bench.database.rows(f"PRAGMA max_page_count = {pages}")

    def many() -> None:
        with bench.transaction():
            for _ in range(200):
                bench.add_run(run, [COUNTS])

    with pytest.raises(UserError, match="no room left"):
        many()
    assert bench.names(Run) == ()
    assert _files(bench) == []
    assert check(bench).ok


def test_a_folder_that_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, *arguments: object, **options: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(self))

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(UserError, match="may not be read or written: check its permissions"):
        Bench.create(tmp_path / "b")
    assert not (tmp_path / "b").exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_an_unwritable_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(UserError, match="may not be read or written"):
            Bench.create(tmp_path / "b")
    finally:
        tmp_path.chmod(0o700)


def test_a_read_only_folder_can_be_read(bench: Bench, run: Run) -> None:
    bench.add_run(run, [COUNTS])
    bench.close()
    (bench.folder / "bench.lock").unlink()
    bench.folder.chmod(0o500)
    try:
        with Bench.open(bench.folder, write=False) as reader:
            assert len(reader.load_count_logs("run-0001")) == 1
            assert check(reader).ok
    finally:
        bench.folder.chmod(0o700)


def test_damage_is_found(bench: Bench, run: Run, train: PulseTrain) -> None:
    stored = bench.add_run(run, [train, COUNTS, READINGS])
    pulses, counts, readings = (bench.folder / s.file for s in stored.signals)
    pulses.write_bytes(pulses.read_bytes()[:-1] + b"?")
    counts.unlink()
    readings.write_text("{}")
    (bench.folder / "pulses" / "mine.pulses").write_text("?")
    report = check(bench)
    assert len(report.problems) == 3
    assert "is missing" in report.problems[0]
    assert "mine.pulses" in report.notes[0]
    with pytest.raises(UserError, match="missing from the bench"):
        bench.load_count_logs(stored)
    with pytest.raises(UserError, match="damaged"):
        bench.load_reading_logs(stored)


def test_a_live_run(bench: Bench, run: Run, tmp_path: Path) -> None:
    sound = tmp_path / "kept.flac"
    sound.write_bytes(b"fLaC")
    live = bench.start_live(run)
    assert bench.get(Run, live.run.id).interrupted
    assert any("being recorded" in note for note in check(bench).notes)
    for i in range(40):
        live.append(np.array([0.1 * i + 0.05]), 0.1 * (i + 1))
    live.reading(1.0, 0.11, "dose_rate", "µSv/h")
    live.reading(3.0, 0.13, "dose_rate", "µSv/h")
    live.reading(3.5, 0.001, "dose", "µSv", "accumulated")
    stored = live.finish({"efficiency": 0.98, "efficiency_u": 0.01}, [sound])
    assert (stored.interrupted, stored.duration_s) == (False, 4.0)
    assert bench.get(Run, stored.id) == stored
    train = bench.load_train(stored)
    assert (train.count, train.efficiency) == (40, 0.98)
    assert [log.values.tolist() for log in bench.load_reading_logs(stored)] == [
        [0.001],
        [0.11, 0.13],
    ]
    assert len(bench.recording_paths(stored)) == 1
    report = check(bench)
    assert report.ok
    assert not report.notes
    with pytest.raises(UserError, match="was finished"):
        bench.resume_live(stored.id)


def test_an_error_leaves_an_interrupted_run_that_goes_on(bench: Bench, run: Run) -> None:
    live = bench.start_live(run)

    def fail() -> None:
        with live:
            live.append(np.array([0.5]), 1.0)
            live.reading(0.7, 5.0, "count_rate", "cpm")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert bench.get(Run, live.run.id).interrupted
    assert bench.load_train(live.run.id).count == 1
    bench.database.write("DELETE FROM live_reading")  # as after an export and import
    again = bench.resume_live(live.run.id)
    assert again.reached_s == 1.0
    again.gap(1.0, 11.0)
    again.append(np.array([11.5]), 12.0)
    again.reading(11.7, 6.0, "count_rate", "cpm")
    stored = again.finish()
    train = bench.load_train(stored)
    assert train.times_s.tolist() == [0.5, 11.5]
    assert train.gaps_s.tolist() == [[1.0, 11.0]]
    assert train.live_s == pytest.approx(2.0)
    assert bench.load_reading_logs(stored)[0].values.tolist() == [5.0, 6.0]
    other = bench.start_live(run)
    with pytest.raises(ValueError, match="must not begin before"):
        other.append(np.array([2.0]), -1.0)
    other.abandon()


def test_kill_during_a_capture_costs_at_most_a_second(bench: Bench, run: Run) -> None:
    bench.close()
    script = textwrap.dedent(
        """
        import datetime as dt, sys, time
        import numpy as np
        from counterproof.bench import Bench
        from counterproof.records import Run
        bench = Bench.open(sys.argv[1])
        now = dt.datetime.now(dt.UTC)
        live = bench.start_live(Run(id="", instrument="Lantern", started_utc=now, duration_s=0))
        start, until = time.monotonic(), 0.0
        while True:
            time.sleep(0.02)
            now = time.monotonic() - start
            live.append(np.arange(np.ceil(until * 1000), np.ceil(now * 1000)) / 1000, now)
            until = now
            print(until, flush=True)
        """
    )
    process = subprocess.Popen(
        [sys.executable, "-c", script, str(bench.folder)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    last = 0.0
    while last < 2.2:
        last = float(process.stdout.readline())
    process.send_signal(signals.SIGKILL)
    handed = [last, *(float(line) for line in process.stdout.read().split("\n")[:-1])]
    process.wait()
    process.stdout.close()
    with Bench.open(bench.folder) as again:
        assert check(again).ok
        (stored,) = again.list(Run)
        assert stored.interrupted
        train = again.load_train(stored)
        assert train.duration_s > handed[-1] - 1.0
        assert train.count == pytest.approx(1000 * train.duration_s, abs=2)
        again.resume_live(stored.id).finish()
        assert check(again).ok


def test_what_a_crash_leaves_is_cleared_and_nothing_else(bench: Bench, run: Run) -> None:
    kept = bench.add_run(run, [COUNTS]).signals[0].file
    draft = bench.folder / "pulses" / ".run-0002-1.pulses.abc.tmp"
    whole = bench.folder / "pulses" / "run-0002-1.pulses"  # written, its row never committed
    for path in (draft, whole):
        path.write_bytes(b"half")
    journal = bench.folder / "bench.pending"
    assert not journal.exists()
    outside = bench.folder.parent / "mine.txt"
    outside.write_text("mine")
    journal.write_text(f"pulses/run-0002-1.pulses\n{kept}\n../mine.txt\nlogs/cut")
    bench.close()
    with Bench.open(bench.folder) as again:
        assert not draft.exists()
        assert not whole.exists()
        assert not journal.exists()
        assert outside.exists()
        assert (bench.folder / kept).exists()
        assert check(again).ok


def test_a_bench_from_a_stranger_stays_in_its_folder(
    bench: Bench, run: Run, tmp_path: Path
) -> None:
    secret = tmp_path / "secret.json"
    secret.write_text("{}")
    stored = bench.add_run(run, [COUNTS])
    bench.database.write("UPDATE file SET path = '../secret.json'")
    bench.database.write(
        "UPDATE revision SET body = replace(body, ?, '../secret.json')", stored.signals[0].file
    )
    assert "leads out" in check(bench).problems[0]
    with pytest.raises(UserError, match="leads out"):
        bench.load_count_logs(stored.id)
    with pytest.raises(UserError, match="leads out"):
        export_bench(bench, tmp_path / "out.zip")
    other = bench.add_run(run, [COUNTS])
    path = bench.folder / other.signals[0].file
    path.unlink()
    path.symlink_to(secret)
    with pytest.raises(UserError, match="leads out"):
        bench.load_count_logs(other)


def _files(bench: Bench) -> list[str]:
    return [p.name for sub in bench.folder.iterdir() if sub.is_dir() for p in sub.iterdir()]
