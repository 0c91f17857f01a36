"""A bench as one file and back."""

import json
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from counterproof.bench import Bench, check, export_bench, import_bench
from counterproof.errors import Cancelled, UserError
from counterproof.kit import Instrument, Source
from counterproof.records import Run
from counterproof.signals.trains import PulseTrain


@pytest.fixture
def full(bench: Bench, run: Run, train: PulseTrain, tmp_path: Path) -> Bench:
    sound = tmp_path / "voice.wav"
    sound.write_bytes(b"RIFF" * 5000)
    bench.add_run(run, [train], [sound])
    bench.amend(Instrument(name="Lantern", serial="7"), "label")
    bench.delete(Source, "caesium disc")
    return bench


def test_there_and_back(full: Bench, tmp_path: Path) -> None:
    out = export_bench(full, tmp_path / "out.zip", recordings=True)
    import_bench(out, tmp_path / "copy")
    with Bench.open(tmp_path / "copy") as copy:
        assert check(copy).ok
        assert not check(copy).notes
        assert copy.name == "Hollow Lane"
        assert copy.list(Run) == full.list(Run)
        assert copy.names(Run, "Lantern") == ("run-0001",)
        assert copy.get(Instrument, "Lantern").serial == "7"
        assert copy.history(Instrument, "Lantern") == full.history(Instrument, "Lantern")
        assert copy.names(Source) == ()
        assert copy.restore(Source, "caesium disc", 1).nuclide == "Cs-137"
        assert copy.load_train("run-0001").count == 1000
        assert len(copy.recording_paths("run-0001")) == 1


def test_sound_stays_at_home_unless_chosen(full: Bench, tmp_path: Path) -> None:
    out = export_bench(full, tmp_path / "out.zip")
    assert b"RIFFRIFF" not in out.read_bytes()
    import_bench(out, tmp_path / "copy")
    with Bench.open(tmp_path / "copy") as copy:
        report = check(copy)
        assert report.ok
        assert "left out" in report.notes[0]
        assert copy.recording_paths("run-0001") == ()
        again = export_bench(copy, tmp_path / "again.zip", recordings=True)
        assert again.read_bytes() == out.read_bytes()


def test_the_same_bench_gives_the_same_bytes(full: Bench, tmp_path: Path) -> None:
    one = export_bench(full, tmp_path / "1.zip").read_bytes()
    full.close()
    with Bench.open(full.folder) as again:
        assert export_bench(again, tmp_path / "2.zip").read_bytes() == one


def test_a_live_run_or_a_damaged_file_stops_the_export(
    full: Bench, run: Run, tmp_path: Path
) -> None:
    target = tmp_path / "out.zip"
    target.write_text("kept")
    live = full.start_live(run)
    with pytest.raises(UserError, match="still being recorded"):
        export_bench(full, target)
    live.append(np.array([0.5]), 1.0)
    live.finish()
    with pytest.raises(Cancelled):
        export_bench(full, target, report=lambda done, total: False)
    path = full.folder / "pulses" / "run-0001-1.pulses"
    path.write_bytes(path.read_bytes()[:-1] + b"?")
    with pytest.raises(UserError, match="is not what was stored"):
        export_bench(full, target)
    path.unlink()
    with pytest.raises(UserError, match="is missing"):
        export_bench(full, target)
    assert target.read_text() == "kept"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["hollow", "out.zip", "voice.wav"]


def _rewritten(
    source: Path, target: Path, change: Callable[[dict[str, Any], dict[str, bytes]], None]
) -> Path:
    with zipfile.ZipFile(source) as archive:
        contents = {n: archive.read(n) for n in archive.namelist()}
    manifest = json.loads(contents.pop("manifest.json"))
    change(manifest, contents)
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("manifest.json", json.dumps(manifest))
        for name, body in contents.items():
            archive.writestr(name, body)
    return target


def _refused(source: Path, tmp_path: Path, said: str) -> None:
    with pytest.raises(UserError, match=said):
        import_bench(source, tmp_path / "copy")
    assert not (tmp_path / "copy").exists()
    assert not list(tmp_path.glob(".copy.*"))


@pytest.mark.parametrize(
    "name",
    [
        *("../evil", "/etc/evil", "pulses/../../evil", "evil", "pulses/a/b", "pulses\\..\\evil"),
        *("pulses/.x", "C:/evil", "bench.sqlite"),
    ],
)
def test_names_that_lead_out_are_refused(full: Bench, tmp_path: Path, name: str) -> None:
    out = export_bench(full, tmp_path / "out.zip")

    def listed(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        manifest["files"][0]["path"] = name
        contents[name] = contents.pop("pulses/run-0001-1.pulses")

    def unlisted(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        contents[name] = b"evil"

    _refused(_rewritten(out, tmp_path / "a.zip", listed), tmp_path, "does not belong")
    _refused(_rewritten(out, tmp_path / "b.zip", unlisted), tmp_path, "does not belong")
    assert not (tmp_path.parent / "evil").exists()


def test_links_are_refused(full: Bench, tmp_path: Path) -> None:
    out = export_bench(full, tmp_path / "out.zip")
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(bad, "w") as new:
        for info in old.infolist():
            body = old.read(info)
            if info.filename.startswith("pulses/"):
                info.external_attr = (stat.S_IFLNK | 0o777) << 16
            new.writestr(info, body)
    _refused(bad, tmp_path, "does not belong")


def test_what_swells_is_refused(full: Bench, tmp_path: Path) -> None:
    out = export_bench(full, tmp_path / "out.zip")
    name = "pulses/run-0001-1.pulses"

    def swell(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        entry = next(f for f in manifest["files"] if f["path"] == name)
        contents[name] = bytes(50_000_000)
        entry["bytes"] = 50_000_000

    plain = _rewritten(out, tmp_path / "plain.zip", swell)
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as new:
        for entry_name in old.namelist():
            new.writestr(entry_name, old.read(entry_name))
    assert bomb.stat().st_size < 200_000
    _refused(bomb, tmp_path, "swell")
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as new:
        new.writestr("manifest.json", b" " * 50_000_000)
    _refused(bomb, tmp_path, "swell")


def test_damage_is_refused(full: Bench, tmp_path: Path) -> None:
    out = export_bench(full, tmp_path / "out.zip")
    name = "pulses/run-0001-1.pulses"

    def altered(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        contents[name] = contents[name][:-1] + b"?"

    def missing(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        del contents[name]

    def documents(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        contents["documents.jsonl"] = contents["documents.jsonl"].replace(b"label", b"lapel")

    for number, change in enumerate((altered, missing, documents)):
        bad = _rewritten(out, tmp_path / f"{number}.zip", change)
        _refused(bad, tmp_path, "damaged")
    cut = tmp_path / "cut.zip"
    cut.write_bytes(out.read_bytes()[:-100])
    _refused(cut, tmp_path, "not an exported bench")


def test_other_files_are_refused(full: Bench, tmp_path: Path) -> None:
    text = tmp_path / "text.zip"
    text.write_text("hello")
    _refused(text, tmp_path, "not an exported bench")
    _refused(tmp_path / "none.zip", tmp_path, "none.zip")
    other = tmp_path / "other.zip"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("a.txt", "a")
    _refused(other, tmp_path, "not an exported bench")
    out = export_bench(full, tmp_path / "out.zip")

    def newer(manifest: dict[str, Any], contents: dict[str, bytes]) -> None:
        manifest["bench_version"] = 99

    _refused(_rewritten(out, tmp_path / "newer.zip", newer), tmp_path, "newer")
    with pytest.raises(Cancelled):
        import_bench(out, tmp_path / "copy", report=lambda done, total: False)
    assert not list(tmp_path.glob("*copy*"))
    (tmp_path / "copy").mkdir()
    with pytest.raises(UserError, match="there already"):
        import_bench(out, tmp_path / "copy")
