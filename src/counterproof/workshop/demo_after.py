"""The second half of the invented story: proposed, built, calibrated, retested, compared."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from tempfile import TemporaryDirectory

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Probe
from counterproof.progress import Report, step
from counterproof.records import Outlook, Run
from counterproof.records.run import Position
from counterproof.signals.mapping import Mapping
from counterproof.simulate import hollow_lane, hollow_lane_after
from counterproof.texts import text
from counterproof.workshop.calibrating import calibrate_instrument, keep_calibration
from counterproof.workshop.capture import add_run
from counterproof.workshop.comparing import compare_instruments, keep_comparison
from counterproof.workshop.retesting import keep_retest, retest_instrument
from counterproof.workshop.retrofits import Asked, keep_outlook, propose_retrofit

SUBJECT, PROBE = "Lantern", hollow_lane_after.PROBE
TRIALS = ("background", "source response", "dose-rate ladder")
PRESENT_FACTOR = 190.0
"""What the menu stands at before."""

READINGS = Mapping(
    role="dose_rate",
    separator="comma",
    skip_lines=1,
    time_columns=(1,),
    time_unit="s",
    value_column=2,
    unit="µSv/h",
)
"""What the columns mean of a table of readings."""
PAUSE = timedelta(minutes=2)


def propose(bench: Bench, report: Report) -> Outlook:
    """Predict what the probe will bring, before it is built, and keep that on the bench.

    Raises:
        UserError: as :func:`counterproof.workshop.retrofits.propose_retrofit`.
    """
    from counterproof.workshop.readout import readout_of_bench

    readout = readout_of_bench(bench, SUBJECT)
    asked = Asked(SUBJECT, (PROBE,), range_usv_h="0.1..10")
    outlook = propose_retrofit(bench, asked, readout, report)
    keep_outlook(bench, outlook)
    return outlook


def rebuilt(bench: Bench, outlook: Outlook, start: datetime, seed: int, report: Report) -> None:
    """Record the runs with the probe plugged in and the menu set as the outlook advised."""
    advised = next((c for c in outlook.candidates if c.probe == PROBE), None)
    factor = PRESENT_FACTOR
    if advised is not None and advised.settings and advised.settings[0].best.value:
        factor = advised.settings[0].best.value
    with TemporaryDirectory() as scratch:
        for each in hollow_lane_after.write_runs(scratch, factor, seed=seed, report=report):
            pulses = replace(
                READINGS, role="pulse", value_column=0, unit="", length_s=each.run.duration_s
            )
            add_run(
                bench,
                run_of(each.run, start, PROBE),
                tables=[(each.pulses, pulses), (each.readings, READINGS)],
            )
            start += timedelta(seconds=each.run.duration_s) + PAUSE


def prove(bench: Bench, report: Report) -> None:
    """Calibrate Lantern with its own tube and with the probe, retest it, and compare it."""
    probes: tuple[str | None, ...] = (None, PROBE)
    for done, probe in enumerate(probes):
        step(report, done, 4)
        keep_calibration(bench, calibrate_instrument(bench, SUBJECT, probe=probe))
    step(report, 2, 4)
    keep_retest(bench, retest_instrument(bench, SUBJECT, PROBE, trials=TRIALS))
    step(report, 3, 4)
    keep_comparison(bench, compare_instruments(bench))
    step(report, 4, 4)


def finish(
    bench: Bench, stage: Callable[[str], Report], start: datetime, seed: int
) -> tuple[str, ...]:
    """Tell the second half; return what of it could not be told, in sentences."""
    if PROBE not in bench.names(Probe):
        return ()
    try:
        outlook = propose(bench, stage(text("demo.proposing")))
        rebuilt(bench, outlook, start, seed, stage(text("demo.rebuilding")))
        prove(bench, stage(text("demo.proving")))
    except UserError as error:
        # a shortened story (other runs, a few seconds of each) may hold too little for this half
        return (error.message,)
    return ()


def run_of(planned: hollow_lane.PlannedRun, start: datetime, probe: str | None = None) -> Run:
    """Return the record of a planned run."""
    source = planned.source
    return Run(
        id=planned.key,
        instrument=planned.counter,
        probe=probe,
        position=Position(
            place=hollow_lane.PLACE,
            distance_mm=None if source is None else 1000.0 * planned.distance_m,
            distance_u_mm=None if source is None else 1.0,
        ),
        sources=() if source is None else (hollow_lane.SOURCES[source].label,),
        started_utc=start,
        duration_s=planned.duration_s,
        note=planned.purpose,
        simulated=True,
    )
