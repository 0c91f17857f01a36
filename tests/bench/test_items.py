"""Kit items and records on the bench."""

import sqlite3
from pathlib import Path

import pytest

from counterproof.bench import Bench, check
from counterproof.bench import schema as schema_module
from counterproof.bench.lock import file_system, refuse_network
from counterproof.errors import UserError
from counterproof.kit import Instrument, Source, Tube
from counterproof.records import Finding, Run

TUBE = Tube(name="slim steel", outer_diameter_mm=10, length_mm=90)  # type: ignore[arg-type]


def test_items_come_back_as_they_went_in(bench: Bench) -> None:
    bench.add(TUBE)
    assert bench.get(Tube, "slim steel") == TUBE
    assert bench.list(Tube) == (TUBE,)
    assert bench.names(Instrument) == ("Lantern",)
    assert bench.name == "Hollow Lane"


def test_amending_keeps_the_history(bench: Bench) -> None:
    changed = bench.get(Instrument, "Lantern").model_copy(update={"serial": "7"})
    assert bench.amend(changed, "serial read from the label") == 2
    assert bench.amend(changed) == 2  # nothing new, nothing written
    history = bench.history(Instrument, "Lantern")
    assert [r.number for r in history] == [1, 2]
    assert history[1].note == "serial read from the label"
    assert "serial" not in history[0].body
    assert bench.restore(Instrument, "Lantern", 1).serial == ""
    assert len(bench.history(Instrument, "Lantern")) == 3


def test_deleting_leaves_a_tombstone(bench: Bench) -> None:
    bench.delete(Source, "caesium disc", "handed back")
    assert bench.list(Source) == ()
    with pytest.raises(UserError, match="There is no source"):
        bench.get(Source, "caesium disc")
    with pytest.raises(UserError, match="There is no source"):
        bench.delete(Source, "caesium disc")
    assert bench.history(Source, "caesium disc")[-1].deleted
    assert bench.restore(Source, "caesium disc", 1).nuclide == "Cs-137"
    assert bench.names(Source) == ("caesium disc",)
    bench.delete(Source, "caesium disc")
    bench.add(Source(name="caesium disc", nuclide="Co-60"))
    assert [r.number for r in bench.history(Source, "caesium disc")] == [1, 2, 3, 4, 5]


def test_records_get_ids(bench: Bench) -> None:
    finding = Finding(
        instrument="Lantern", subject="x", statement="y", strength="strong", refuted_by="z"
    )
    assert bench.add(finding) == "finding-0001"
    assert bench.add(finding) == "finding-0002"
    assert bench.get(Finding, "finding-0001").statement == "y"
    assert len(bench.list(Finding, instrument="Lantern")) == 2
    assert bench.list(Finding, instrument="Wren") == ()


def test_names_are_checked(bench: Bench) -> None:
    with pytest.raises(UserError, match="did you mean 'Lantern'"):
        bench.get(Instrument, "Lantren")
    with pytest.raises(UserError, match="it has none yet"):
        bench.get(Tube, "x")
    with pytest.raises(UserError, match="instrument on the bench is named 'Lantern'"):
        bench.add(Instrument(name="Lantern"))
    with pytest.raises(UserError, match="There is no tube"):
        bench.amend(TUBE)
    with pytest.raises(UserError, match="no revision 9"):
        bench.restore(Instrument, "Lantern", 9)
    with pytest.raises(UserError, match="needs a name"):
        bench.add(Instrument(name=" "))


def test_a_transaction_is_all_or_nothing(bench: Bench) -> None:

    def half() -> None:
        with bench.transaction():
            bench.add(TUBE)
            bench.add(Instrument(name="Lantern"))

    with pytest.raises(UserError):
        half()
    assert bench.names(Tube) == ()
    with bench.transaction():
        bench.add(TUBE)
    assert bench.names(Tube) == ("slim steel",)


def test_one_writer_at_a_time(bench: Bench) -> None:
    with pytest.raises(UserError, match="open for writing in another process"):
        Bench.open(bench.folder)
    with Bench.open(bench.folder, write=False) as reader:
        assert reader.names(Instrument) == ("Lantern",)
        bench.add(Instrument(name="Wren"))
        assert reader.names(Instrument) == ("Lantern", "Wren")
        with pytest.raises(UserError, match="open for reading only"):
            reader.add(TUBE)
    bench.close()
    with Bench.open(bench.folder) as again:
        assert check(again).ok


def test_folders_that_are_no_bench(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no folder"):
        Bench.open(tmp_path / "none")
    with pytest.raises(UserError, match="is not a bench"):
        Bench.open(tmp_path)
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UserError, match="not empty"):
        Bench.create(tmp_path)
    with pytest.raises(UserError, match="not empty"):
        Bench.create(tmp_path / "notes.txt")
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "bench.sqlite").write_bytes(b"no database at all, but long enough" * 50)
    with pytest.raises(UserError, match="damaged"):
        Bench.open(tmp_path / "b")


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "bench.sqlite")
    connection.execute("CREATE TABLE theirs (x)")
    connection.execute("PRAGMA user_version = 1")
    connection.close()
    with pytest.raises(UserError, match="not a bench"):
        Bench.open(tmp_path)


def test_a_newer_bench_is_refused(bench: Bench) -> None:
    bench.database.write("PRAGMA user_version = 99")
    bench.close()
    for write in (True, False):
        with pytest.raises(UserError, match=r"newer counterproof \(version 99"):
            Bench.open(bench.folder, write=write)


def test_an_older_bench_is_brought_up_to_date(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.close()
    step = "ALTER TABLE file ADD COLUMN origin TEXT"
    monkeypatch.setattr(schema_module, "MIGRATIONS", (*schema_module.MIGRATIONS, step))
    with Bench.open(bench.folder) as newer:
        columns = [row[1] for row in newer.database.rows("PRAGMA table_info(file)")]
        assert columns[-1] == "origin"
        assert newer.database.rows("PRAGMA user_version") == [(2,)]
        assert newer.names(Instrument) == ("Lantern",)
    kept = sqlite3.connect(bench.folder / "bench.version-1.sqlite")
    assert kept.execute("PRAGMA user_version").fetchone() == (1,)
    kept.close()


def test_a_migration_that_fails_changes_nothing(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.close()
    broken = "ALTER TABLE file ADD COLUMN origin TEXT; CREATE TABLE item (x)"
    with monkeypatch.context() as patch:
        patch.setattr(schema_module, "MIGRATIONS", (*schema_module.MIGRATIONS, broken))
        with pytest.raises(UserError):
            Bench.open(bench.folder)
    with Bench.open(bench.folder) as again:
        assert again.database.rows("PRAGMA user_version") == [(1,)]
        assert check(again).ok


def test_a_stored_record_that_no_longer_fits_is_explained(bench: Bench, run: Run) -> None:
    stored = bench.add_run(run)
    bench.database.write(
        "UPDATE revision SET body = replace(body, '\"duration_s\":', '\"length\":')"
        " WHERE kind = 'run'"
    )
    with pytest.raises(UserError, match=f"run '{stored.id}' cannot be read"):
        bench.get(Run, stored.id)
    assert not check(bench).ok


def test_a_network_share_is_refused(tmp_path: Path) -> None:
    table = f"/dev/a / ext4 rw 0 0\nserver:/x {tmp_path} nfs4 rw 0 0\n"
    assert file_system(tmp_path / "bench", table) == "nfs4"
    assert file_system(Path("/"), table) == "ext4"
    with pytest.raises(UserError, match=r"network share \(nfs4\)"):
        refuse_network(tmp_path, table)
