"""Run acceptance topics and write their sections of docs/acceptance.md."""

from __future__ import annotations

import importlib
import pkgutil
import re
import sys
import time
from pathlib import Path

import acceptance

DOCUMENT = Path(__file__).parents[1] / "docs" / "acceptance.md"
HEAD = """# Acceptance

Measured by `make accept` (seeded; `make accept TOPICS="name …"` renews only those sections).
A row that misses its bar says so.
"""


def topics() -> list[str]:
    """Names of the topic modules, in order."""
    found = (m.name for m in pkgutil.iter_modules(acceptance.__path__))
    return sorted(n for n in found if not n.startswith("_"))


def section(name: str, quick: bool = False) -> str:
    """Run one topic and return its section."""
    module = importlib.import_module(f"acceptance.{name}")
    start = time.perf_counter()
    rows = module.measure(quick)
    spent = time.perf_counter() - start
    lines = [
        f"<!-- topic: {name} -->",
        f"## {module.TITLE}",
        "",
        f"Run took {spent:.0f} s.",
        "",
        "| bar | required | measured | holds | note |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {r.bar} | {r.required} | {r.measured} | {'yes' if r.passed else '**no**'} | {r.note} |"
        for r in rows
    ]
    return "\n".join(lines) + "\n"


def main(wanted: list[str]) -> int:
    """Renew the wanted sections (all when none is named) and keep the others."""
    known = topics()
    unknown = [w for w in wanted if w not in known]
    if unknown:
        print(f"No such topic: {', '.join(unknown)}; there are {', '.join(known)}.")
        return 2
    old: dict[str, str] = {}
    if DOCUMENT.exists():
        parts = re.split(r"(?m)^<!-- topic: (\w+) -->\n", DOCUMENT.read_text(encoding="utf-8"))
        old = {
            n: f"<!-- topic: {n} -->\n{t}" for n, t in zip(parts[1::2], parts[2::2], strict=True)
        }
    for name in wanted or known:
        print(f"{name} …", flush=True)
        old[name] = section(name)
        print(old[name])
        body = "\n".join(old[n].rstrip() + "\n" for n in known if n in old)
        DOCUMENT.write_text(f"{HEAD}\n{body}", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
