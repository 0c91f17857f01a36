"""A bench as one file, to keep or to hand on, and back again.

The file is a ZIP archive without compression: ``manifest.json`` (what is inside, with checksums),
``documents.jsonl`` (every revision of every item) and the files under their names on the bench.
The same bench gives the same bytes. Sound is left out unless asked for: it may hold voices.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import stat
import tempfile
import zipfile
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from counterproof.bench.database import Database
from counterproof.bench.faults import plainly
from counterproof.bench.places import FOLDERS, is_inside, place
from counterproof.bench.schema import MIGRATIONS
from counterproof.errors import UserError
from counterproof.progress import Report, silent, step
from counterproof.safefile import atomic_write
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.bench.store import Bench

FORMAT = "counterproof bench"
FORMAT_VERSION = 1
_CHUNK = 1 << 22
_LARGEST_TEXT = 1 << 30
_LARGEST_RATIO = 100


def export_bench(
    bench: Bench, target: Path, recordings: bool = False, report: Report = silent
) -> Path:
    """Write the whole bench to one file and return its path.

    Args:
        bench: opened for reading or writing; no run may be in recording.
        target: the file, replaced if it is there.
        recordings: include sound and video; otherwise their checksums alone travel.
        report: progress in bytes.

    Raises:
        UserError: if a run is being recorded, a file is missing or changed, or the disk refuses.
        Cancelled: if ``report`` answers ``False``; what stood at ``target`` is kept.
    """
    rows = bench.database.rows
    open_runs = rows("SELECT id FROM file WHERE state = 'open'")
    if open_runs:
        raise UserError(text("bench.export_open", id=open_runs[0][0]))
    files = []
    for name, kind, item, digest, size, state in rows("SELECT * FROM file ORDER BY path"):
        left_out = state == "left out" or (name.startswith("recordings/") and not recordings)
        files.append(
            {"path": name, "kind": kind, "id": item, "sha256": digest, "bytes": size}
            | {"left_out": left_out}
        )
    columns = ("kind", "id", "revision", "deleted", "written_utc", "note", "body")
    documents = "".join(
        json.dumps(dict(zip(columns, row, strict=True)), ensure_ascii=False) + "\n"
        for row in bench.items.all_revisions()
    ).encode()
    manifest = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "bench_version": len(MIGRATIONS),
        "meta": dict(rows("SELECT key, value FROM meta ORDER BY key")),
        "documents": {"sha256": hashlib.sha256(documents).hexdigest(), "bytes": len(documents)},
        "files": files,
    }
    total = sum(f["bytes"] for f in files if not f["left_out"])
    done = 0
    with (
        plainly(target),
        atomic_write(target) as stream,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive,
    ):
        body = json.dumps(manifest, ensure_ascii=False, indent=1).encode()
        archive.writestr(_entry("manifest.json"), body)
        archive.writestr(_entry("documents.jsonl"), documents)
        for entry in files:
            if entry["left_out"]:
                continue
            done = _pack(bench.folder, entry, archive, report, done, total)
    return target


def _entry(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    info.create_system = 3
    return info


def _pack(
    folder: Path,
    entry: dict[str, Any],
    archive: zipfile.ZipFile,
    report: Report,
    done: int,
    total: int,
) -> int:
    path = place(folder, entry["path"])
    if not path.is_file():
        raise UserError(text("bench.export_missing", file=entry["path"], id=entry["id"]))
    info = _entry(entry["path"])
    info.file_size = path.stat().st_size
    digest = hashlib.sha256()
    with path.open("rb") as source, archive.open(info, "w", force_zip64=True) as sink:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            sink.write(chunk)
            done += len(chunk)
            step(report, done, total)
    if digest.hexdigest() != entry["sha256"]:
        raise UserError(text("bench.export_changed", file=entry["path"], id=entry["id"]))
    return done


def import_bench(source: Path, folder: Path, report: Report = silent) -> None:
    """Unpack an exported bench into a new folder; open it with ``Bench.open``.

    Everything is unpacked and compared with its checksum beside the folder first, so the folder
    appears whole or not at all.

    Raises:
        UserError: if the file is no export, is damaged, was written by a newer version, holds
            names that lead out of the folder or data that swell beyond what it declares, the
            folder is there already, or the disk refuses or has no room.
        Cancelled: if ``report`` answers ``False``; nothing is left behind.
    """
    if folder.exists():
        raise UserError(text("bench.import_exists", path=folder))
    with plainly(source):
        try:
            archive = zipfile.ZipFile(source)
        except zipfile.BadZipFile:
            raise UserError(text("bench.import_not_ours", path=source)) from None
    with archive:
        manifest = _manifest(archive, source)
        entries = _contents(archive, manifest, source)
        total = sum(info.file_size for info in entries)
        with plainly(folder):
            folder.parent.mkdir(parents=True, exist_ok=True)
            if total > shutil.disk_usage(folder.parent).free:
                raise UserError(text("bench.disk_full", path=folder))
            draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
        try:
            with plainly(folder):
                _unpack(archive, manifest, draft, source, report)
                draft.chmod(0o755)
                draft.rename(folder)
        finally:
            shutil.rmtree(draft, ignore_errors=True)


def _manifest(archive: zipfile.ZipFile, source: Path) -> dict[str, Any]:
    found: Any = None
    try:
        info = archive.getinfo("manifest.json")
        _refuse_bomb(info, source)
        found = json.loads(archive.read(info))
        known = found["format"] == FORMAT
    except (KeyError, ValueError, TypeError, RecursionError, zipfile.BadZipFile, EOFError):
        known = False
    if not known:
        raise UserError(text("bench.import_not_ours", path=source))
    if found["format_version"] > FORMAT_VERSION or found["bench_version"] > len(MIGRATIONS):
        raise UserError(text("bench.import_newer", path=source))
    return dict(found)


def _contents(
    archive: zipfile.ZipFile, manifest: dict[str, Any], source: Path
) -> list[zipfile.ZipInfo]:
    """Return the archive's entries, all of them named in the manifest and harmless."""
    declared = {f["path"]: f["bytes"] for f in manifest["files"] if not f["left_out"]}
    declared["documents.jsonl"] = manifest["documents"]["bytes"]
    for entry in manifest["files"]:
        if not is_inside(entry["path"]):
            raise UserError(text("bench.import_outside", path=source, file=entry["path"]))
    infos = [i for i in archive.infolist() if i.filename != "manifest.json"]
    names = [i.filename for i in infos]
    for info in infos:
        mode = info.external_attr >> 16
        if info.filename not in declared or stat.S_IFMT(mode) not in (0, stat.S_IFREG):
            raise UserError(text("bench.import_outside", path=source, file=info.filename))
        if info.file_size != declared[info.filename]:
            raise UserError(text("bench.import_damaged", path=source, file=info.filename))
        _refuse_bomb(info, source)
    missing = sorted(set(declared) - set(names))
    if missing or len(set(names)) < len(names):
        first = missing[0] if missing else names[0]
        raise UserError(text("bench.import_damaged", path=source, file=first))
    return infos


def _refuse_bomb(info: zipfile.ZipInfo, source: Path) -> None:
    swells = info.file_size > _LARGEST_RATIO * max(info.compress_size, 1) + 4096
    huge = info.filename in ("manifest.json", "documents.jsonl") and info.file_size > _LARGEST_TEXT
    if swells or huge:
        raise UserError(text("bench.import_bomb", path=source, file=info.filename))


def _unpack(
    archive: zipfile.ZipFile,
    manifest: dict[str, Any],
    draft: Path,
    source: Path,
    report: Report,
) -> None:
    for sub in FOLDERS:
        (draft / sub).mkdir()
    wanted = [f for f in manifest["files"] if not f["left_out"]]
    total = sum(f["bytes"] for f in wanted)
    done = 0
    try:
        documents = archive.read("documents.jsonl")
        if hashlib.sha256(documents).hexdigest() != manifest["documents"]["sha256"]:
            raise UserError(text("bench.import_damaged", path=source, file="documents.jsonl"))
        for entry in wanted:
            digest = hashlib.sha256()
            with archive.open(entry["path"]) as stream, (draft / entry["path"]).open("xb") as sink:
                while chunk := _read(stream):
                    digest.update(chunk)
                    sink.write(chunk)
                    done += len(chunk)
                    step(report, done, total)
            if digest.hexdigest() != entry["sha256"]:
                raise UserError(text("bench.import_damaged", path=source, file=entry["path"]))
        revisions = [json.loads(line) for line in documents.decode().splitlines()]
    except (zipfile.BadZipFile, EOFError, ValueError) as fault:
        raise UserError(text("bench.import_damaged", path=source, file=fault)) from None
    _fill(Database(draft, writable=True), manifest, revisions, source)


def _read(stream: IO[bytes]) -> bytes:
    return stream.read(_CHUNK)


def _fill(
    database: Database, manifest: dict[str, Any], revisions: list[dict[str, Any]], source: Path
) -> None:
    from counterproof.bench.codec import decode, encode
    from counterproof.kit import KINDS
    from counterproof.records import Record

    try:
        with database.transaction():
            for key, value in manifest["meta"].items():
                database.write("INSERT INTO meta VALUES (?, ?)", str(key), str(value))
            for r in revisions:
                database.write(
                    "INSERT INTO item VALUES (?, ?, ?, ?, NULL, NULL) ON CONFLICT (kind, id)"
                    " DO UPDATE SET revision = excluded.revision, deleted = excluded.deleted",
                    *(r["kind"], r["id"], r["revision"], r["deleted"]),
                )
                database.write(
                    "INSERT INTO revision VALUES (?, ?, ?, ?, ?, ?, ?)",
                    *(r["kind"], r["id"], r["revision"], r["deleted"], r["written_utc"]),
                    *(r["note"], r["body"]),
                )
            last = {(r["kind"], r["id"]): r["body"] for r in revisions}
            for (kind, name), body in last.items():
                cls = KINDS.get(kind) or Record.registry.get(kind)
                if cls is None:
                    raise UserError(text("bench.check_kind", kind=kind, id=name))
                indexed = encode(decode(cls, name, body))
                database.write(
                    "UPDATE item SET instrument = ?, started_utc = ? WHERE kind = ? AND id = ?",
                    *(indexed.instrument, indexed.started_utc, kind, name),
                )
            for f in manifest["files"]:
                state = "left out" if f["left_out"] else "here"
                database.write(
                    "INSERT INTO file VALUES (?, ?, ?, ?, ?, ?)",
                    *(f["path"], f["kind"], f["id"], f["sha256"], f["bytes"], state),
                )
    except (KeyError, TypeError):
        raise UserError(text("bench.import_damaged", path=source, file="documents.jsonl")) from None
    finally:
        database.close()
