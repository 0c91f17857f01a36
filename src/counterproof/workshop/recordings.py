"""Copy recordings out of a bench, for those who chose to give them away."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from counterproof.bench import Bench


def copy_recordings(bench: Bench, runs: Sequence[str], folder: Path) -> list[Path]:
    """Copy the recordings of runs into a folder; those left out of an import are not there.

    Raises:
        UserError: if a run is not on the bench.
    """
    copied = []
    for run in runs:
        for path in bench.recording_paths(run):
            folder.mkdir(parents=True, exist_ok=True)
            copied.append(Path(shutil.copy2(path, folder / path.name)))
    return copied
