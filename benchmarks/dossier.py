"""Building dossiers: one of everything, and a bench of fifty counters with a thousand runs."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks import Row
from counterproof.bench import Bench
from counterproof.dossier import build_html
from counterproof.dossier.pdf import build_pdf
from counterproof.kit import Instrument, Source
from counterproof.records import Run
from counterproof.records.run import Position
from counterproof.signals.trains import PulseTrain
from counterproof.workshop.comparing import compare_instruments
from counterproof.workshop.judging import judge_trial
from counterproof.workshop.publishing import publication_of

TITLE = "Building the dossier"
COUNTERS, RUNS_EACH = 50, 20
BUILT = datetime(2026, 3, 15, tzinfo=UTC)


def _spent(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.process_time()
    made = work()
    return time.process_time() - start, made


def fill(folder: Path) -> None:
    """Make a bench of invented counters: background and source runs of a minute or two each."""
    rng = np.random.default_rng(1)
    start = datetime(2026, 3, 1, tzinfo=UTC)
    with Bench.create(folder, "many counters (invented)") as bench, bench.transaction():
        bench.add(Source(name="disc", nuclide="Cs-137"))
        for number in range(COUNTERS):
            name = f"counter {number:02d}"
            calibration = ()
            if number == 0:
                stated = {"sensitivity": "150 cpm/(µSv/h)", "uncertainty": "3 %", "source": "ours"}
                calibration = (stated,)
            setting = {"kind": "factor", "unit": "cpm/(µSv/h)", "value": 150.0}
            given = {"name": name, "setting": (setting,), "calibration": calibration}
            bench.add(Instrument.from_dict(given))
            for k in range(RUNS_EACH):
                with_source = k % 2 == 1
                seconds = 120.0
                count = rng.poisson((4.0 if with_source else 0.4) * seconds)
                train = PulseTrain(np.sort(rng.uniform(0.0, seconds, count)), seconds)
                run = Run(
                    id=f"run-{number:02d}-{k:02d}",
                    instrument=name,
                    position=Position(distance_mm=50.0 if with_source else None),
                    sources=("disc",) if with_source else (),
                    started_utc=start + timedelta(minutes=3 * (number * RUNS_EACH + k)),
                    duration_s=seconds,
                    simulated=True,
                )
                bench.add_run(run, [train])


def measure() -> list[Row]:
    """Processor time of gathering and building, beside that of reading the bench."""
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "bench"
        fill(folder)
        with Bench.open(folder) as bench:
            listed, runs = _spent(lambda: bench.list(Run))
            judged, _ = _spent(
                lambda: [
                    judge_trial(bench, t, "counter 01") for t in ("background", "source response")
                ]
            )
            compared, found = _spent(lambda: compare_instruments(bench))
            bench.add(found)
            gathered, p = _spent(lambda: publication_of(bench, "counter 01", built=BUILT))
        page, made = _spent(lambda: build_html(p))
        pdf, printed = _spent(lambda: build_pdf(p))
        total = gathered + page + pdf
        baseline = f"{listed:.2f} s (list {len(runs)} runs)"
        note = f"{COUNTERS} counters, {COUNTERS * RUNS_EACH} runs; bar: under 60 s in all"
        for what, spent, extra in (
            ("two trials judged", judged, ""),
            ("all counters compared", compared, ""),
            ("dossier gathered", gathered, f"{len(p.runs)} runs in it"),
            ("page", page, f"{len(made) / 1e6:.1f} MB"),
            ("PDF", pdf, f"{len(printed) / 1e6:.1f} MB"),
            ("all of it", judged + compared + total, note),
        ):
            ratio = f"{spent / max(listed, 1e-6):.1f}"
            rows.append(Row(what, f"{spent:.2f} s", baseline, ratio, extra))
    return rows
