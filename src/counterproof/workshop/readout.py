"""Infer a firmware from two plain files or from the runs of an instrument on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.progress import Report, silent
from counterproof.records import Measured
from counterproof.records.readout import ReadoutEvidence, ReadoutReport, Weighed
from counterproof.signals.pulselist import read_pulse_list
from counterproof.signals.sniff import read_head
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.bench import Bench
    from counterproof.forensics import ReadoutFit, Structure
    from counterproof.quantities import Estimate

Floats = NDArray[np.float64]


def readout_of_files(
    pulses: Path | None, readings: Path, pulses_per_click: int = 1, report: Report = silent
) -> ReadoutReport:
    """Infer the firmware behind a list of pulse times and a table of readings.

    Args:
        pulses: one time in s per line (heading ``time_s``), JSON, or a pulse file; ``None`` for
            readings alone, which tell the display's step and little more.
        readings: columns ``time_s,value_usv_h``.
        pulses_per_click: how many pulses stand behind each listed event.
        report: progress.

    Raises:
        UserError: if a file is missing or a line is no such thing.
        Cancelled: if ``report`` answers ``False``.
    """
    from counterproof.forensics import PairedRun, fit_readout

    times, values = read_readings(readings)
    end = float(times[-1]) if times.size else 0.0
    heard, length, gaps = np.empty(0), end, np.empty((0, 2))
    if pulses is not None:
        heard, length, gaps = _pulses(pulses, end)
    run = PairedRun(heard, max(length, end), times, values, gaps)
    return report_of(fit_readout([run], pulses_per_click=pulses_per_click, report=report))


def _pulses(path: Path, end_s: float) -> tuple[Floats, float, Floats]:
    """Return times, length and gaps of a pulse list; a list without a pulse is an answer too."""
    head = read_head(path)
    if b"time_s" not in head[:200]:
        train = read_pulse_list(path)
        return train.times_s, train.duration_s, train.gaps_s
    times = _columns(path, ("time_s",))[:, 0]
    return times, max(end_s, float(times[-1]) if times.size else 0.0), np.empty((0, 2))


def read_readings(path: Path) -> tuple[Floats, Floats]:
    """Read a table of ``time_s,value_usv_h``; other columns are passed over.

    Raises:
        UserError: if the file is missing, a column is, or a line holds no number.
    """
    found = _columns(path, ("time_s", "value_usv_h"))
    return found[:, 0], found[:, 1]


def _columns(path: Path, wanted: tuple[str, ...]) -> Floats:
    """Return the wanted columns of a table with a heading, shape (n, len(wanted))."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise UserError(text("forensics.read_failed", path=path, reason=fault)) from None
    rows = [(i, x) for i, x in enumerate(lines, start=1) if x.strip() and not x.startswith("#")]
    headings = ",".join(wanted)
    if not rows:
        raise UserError(text("forensics.no_columns", path=path, columns=headings))
    mark = next((m for m in (",", ";", "\t") if m in rows[0][1]), ",")
    names = [c.strip().strip('"').lower() for c in rows[0][1].split(mark)]
    if not set(wanted) <= set(names):
        raise UserError(text("forensics.no_columns", path=path, columns=headings))
    places = [names.index(name) for name in wanted]
    found = np.empty((len(rows) - 1, len(wanted)))
    for i, (line, row) in enumerate(rows[1:]):
        cells = row.split(mark)
        try:
            found[i] = [float(cells[c]) for c in places]
        except (ValueError, IndexError):
            raise UserError(text("forensics.bad_line", path=path, line=line)) from None
    return found


def readout_of_bench(
    bench: Bench, instrument: str, runs: Sequence[str] = (), report: Report = silent
) -> ReadoutReport:
    """Infer an instrument's firmware from its runs that hold both clicks and readings.

    Where no run holds both, its numbers alone say what they can: step, refresh, a change of factor.

    Raises:
        UserError: if the instrument or a run is unknown, or no run holds any reading.
        Cancelled: if ``report`` answers ``False``.
    """
    from counterproof.forensics import fit_readout
    from counterproof.forensics.readout_trial import paired_runs
    from counterproof.forensics.silentfindings import silent_answer
    from counterproof.workshop.evidence import gather

    every = gather(bench, instrument, runs)
    evidence = [e for e in every if e.counter.name == instrument]
    pairs = paired_runs(instrument, evidence)
    if not pairs:
        silent_runs = tuple(e.run.id for e in evidence if e.readings)
        if not silent_runs:
            raise UserError(text("forensics.no_pairs", instrument=instrument))
        return report_of(silent_answer(evidence[0].counter, every), instrument, silent_runs)
    fit = fit_readout([p for _, p in pairs], report=report)
    return report_of(fit, instrument, tuple(name for name, _ in pairs))


def report_of(fit: ReadoutFit, instrument: str = "", runs: tuple[str, ...] = ()) -> ReadoutReport:
    """Return a fit as a record."""

    def of(estimate: Estimate | None) -> Measured | None:
        return None if estimate is None else Measured.of(estimate)

    refresh = None
    if fit.refresh is not None:
        r = fit.refresh
        refresh = Measured(value=r.period_s, low=r.low_s, high=r.high_s, unit="s")
    seen = fit.seen_usv_h if fit.readings else (None, None)
    return ReadoutReport(
        instrument=instrument,
        runs=runs,
        model=fit.model,
        estimator=fit.kind,
        factors_cpm_per_usv_h=tuple(Measured.of(f) for f in fit.factors),
        switch_usv_h=of(fit.switch),
        factor_ratio=of(fit.factor_ratio),
        time_constant_s=of(fit.time_constant),
        window_pulses=fit.window_pulses,
        quantum_usv_h=of(fit.quantum),
        refresh_s=refresh,
        clock_offsets_s=tuple(Measured.of(o) for o in fit.clock_offsets),
        hysteresis=of(fit.hysteresis),
        dead_time_s=of(fit.dead_time),
        background_cpm=of(fit.background),
        evidence=ReadoutEvidence(
            readings=fit.readings,
            pulses=fit.pulses,
            reproduced_share=fit.exact_share,
            independent_share=fit.independent_share,
            loss_share=fit.loss_share,
            seen_low_usv_h=seen[0],
            seen_high_usv_h=seen[1],
            kind_log_likelihood_ratio=fit.kind_log_lead,
            kind_rival=fit.kind_rival,
            hypotheses=tuple(
                Weighed(
                    name=hypothesis_name(h.structure),
                    log_likelihood=h.log_likelihood,
                    score=h.score,
                )
                for h in fit.hypotheses
            ),
            statements=fit.statements,
        ),
        missing=fit.missing,
    )


def hypothesis_name(structure: Structure) -> str:
    """Return a structure in words."""
    words = ["two factors" if structure.factors == 2 else "one factor"]
    extras = {
        "hysteresis": structure.hysteresis,
        "dead time": structure.dead_time,
        "background": structure.background,
        "rounded down": structure.down,
    }
    return ", ".join(words + [name for name, there in extras.items() if there])
