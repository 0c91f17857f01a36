"""Load what a trial needs from the bench: runs with their signals and their instruments."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.bench import Bench
from counterproof.kit import Instrument, Source
from counterproof.records import Run
from counterproof.trials.shape import Evidence
from counterproof.workshop.counters import counter_of, cover_of, nuclides_of
from counterproof.workshop.expected import expected_background_usv_h, expected_usv_h


def evidence_of(bench: Bench, run: Run) -> Evidence:
    """Return one run with its signals loaded.

    Raises:
        UserError: if a signal's file is missing or unreadable.
    """
    forms = {s.form for s in run.signals}
    logs = bench.load_count_logs(run)
    sources = [bench.get(Source, name) for name in run.sources]
    return Evidence(
        run=run,
        counter=counter_of(bench.get(Instrument, run.instrument)),
        pulses=bench.load_train(run) if "pulse_train" in forms else None,
        counts=logs[0] if logs else None,
        readings=bench.load_reading_logs(run),
        nuclides=nuclides_of(sources),
        expected_usv_h=expected_usv_h(run, sources) if sources else expected_background_usv_h(),
        cover_mg_cm2=cover_of(sources),
    )


def gather(
    bench: Bench,
    instrument: str,
    runs: Sequence[str] = (),
    probe: str | None = None,
    exactly: bool = False,
) -> list[Evidence]:
    """Return the evidence about an instrument: its own runs and those of the references.

    Runs with different probes are different counters, so only those of one probe are gathered.

    Args:
        bench: where they lie.
        instrument: the counter under test.
        runs: only these runs, by id, whatever their probe; all when empty.
        probe: with which probe; its built-in tube if absent.
        exactly: without a probe, insist on the built-in tube; otherwise an instrument that was
            recorded with one probe only is taken with that.

    Raises:
        UserError: if the instrument or a run is not on the bench.
    """
    bench.get(Instrument, instrument)
    if runs:
        return [evidence_of(bench, bench.get(Run, name)) for name in runs]
    references = {i.name for i in bench.list(Instrument) if i.calibration or i.role == "reference"}
    wanted = {instrument, *references}
    with_probes = dict.fromkeys(r.probe for r in bench.list(Run, instrument))
    if not exactly and probe is None and len(with_probes) == 1:
        probe = next(iter(with_probes))
    return [
        evidence_of(bench, r)
        for r in bench.list(Run)
        if r.instrument in wanted and (r.instrument != instrument or r.probe == probe)
    ]
