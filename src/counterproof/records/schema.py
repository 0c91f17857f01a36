"""The JSON schema of every record: ``python -m counterproof.records.schema [FOLDER]``."""

from __future__ import annotations

import importlib
import json
import pkgutil
import sys
from pathlib import Path
from typing import Any

import counterproof.records as package
from counterproof.records.base import Record


def schemas() -> dict[str, dict[str, Any]]:
    """Return the JSON schema of each record by its kind."""
    for module in pkgutil.iter_modules(package.__path__):
        if module.name != "schema":
            importlib.import_module(f"{package.__name__}.{module.name}")
    return {
        kind: {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            **record.model_json_schema(mode="serialization"),
        }
        for kind, record in sorted(Record.registry.items())
    }


def write(folder: Path) -> None:
    """Write ``<kind>.json`` for every record and remove schemas of records that are gone."""
    folder.mkdir(parents=True, exist_ok=True)
    wanted = schemas()
    for old in folder.glob("*.json"):
        if old.stem not in wanted:
            old.unlink()
    for kind, schema in wanted.items():
        text = json.dumps(schema, indent=2, ensure_ascii=False, sort_keys=True)
        (folder / f"{kind}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/schema"))
