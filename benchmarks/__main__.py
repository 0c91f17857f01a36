"""Run benchmark topics and print one table; write docs/benchmarks.md."""

from __future__ import annotations

import importlib
import os
import pkgutil
import platform
import sys
from pathlib import Path

import benchmarks

DOCUMENT = Path(__file__).parents[1] / "docs" / "benchmarks.md"


def main(wanted: list[str]) -> int:
    """Run the wanted topics (all when none is named)."""
    known = sorted(
        m.name for m in pkgutil.iter_modules(benchmarks.__path__) if not m.name.startswith("_")
    )
    unknown = [w for w in wanted if w not in known]
    if unknown:
        print(f"No such topic: {', '.join(unknown)}; there are {', '.join(known)}.")
        return 2
    lines = [
        "# Benchmarks",
        "",
        f"Printed by `make measure` on {os.cpu_count()} cores ({platform.machine()}), "
        f"Python {platform.python_version()}. Each ratio was measured in one run.",
    ]
    for name in wanted or known:
        module = importlib.import_module(f"benchmarks.{name}")
        lines += ["", f"## {module.TITLE}", "", "| what | ours | baseline | ratio | note |"]
        lines += ["|---|---|---|---|---|"]
        lines += [
            f"| {r.what} | {r.ours} | {r.baseline} | {r.ratio} | {r.note} |"
            for r in module.measure()
        ]
    print("\n".join(lines))
    if not wanted:
        DOCUMENT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
