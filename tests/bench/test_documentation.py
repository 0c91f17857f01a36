"""The example in docs/bench.md runs as it stands."""

import re
from pathlib import Path

from counterproof.bench import Bench
from counterproof.records import Run

PAGE = (Path(__file__).parents[2] / "docs" / "bench.md").read_text(encoding="utf-8")


def test_the_example_runs(tmp_path: Path) -> None:
    (example,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    exec(compile(example, "docs/bench.md", "exec"), {"folder": tmp_path})
    with Bench.open(tmp_path / "copy") as copy:
        assert copy.names(Run) == ("run-0001", "run-0002")
