"""Calibrate an instrument from what the bench holds, and keep the result there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument, Source
from counterproof.quantities import convert
from counterproof.records import Run
from counterproof.records.calibration import Calibration, Link
from counterproof.texts import text
from counterproof.workshop.counters import counter_of, nuclides_of
from counterproof.workshop.evidence import gather

if TYPE_CHECKING:
    from counterproof.calibration import Assumptions, Dial
    from counterproof.trials.shape import Evidence

OLDEST = dt.timedelta(days=2 * 365)
"""A certificate older than this carries no traceability; common practice, no source."""


def calibrate_instrument(
    bench: Bench,
    instrument: str,
    *,
    probe: str | None = None,
    switch_state: str | None = None,
    nuclide: str = "",
    runs: Sequence[str] = (),
    assumed: Assumptions | None = None,
) -> Calibration:
    """Calibrate one instrument, with one probe, from its runs on the bench; nothing is stored.

    Args:
        bench: where the runs lie.
        instrument: the counter to be calibrated.
        probe: which of its probes; its built-in tube if absent.
        switch_state: which state of its switch, if it has one.
        nuclide: use sources of this one; the one with the most levels if empty.
        runs: only these of its runs; all that serve if empty.
        assumed: priors of what nobody measured.

    Raises:
        UserError: if instrument, probe or a run is unknown, or there is nothing to go by.
    """
    from counterproof.calibration import calibrate

    subject = bench.get(Instrument, instrument)
    evidence = [
        e
        for e in gather(bench, instrument, probe=probe)
        if e.counter.name != instrument or _same(e.run, switch_state, runs)
    ]
    own = [e for e in evidence if e.counter.name == instrument]
    if not own:
        raise UserError(_nothing(bench, instrument, probe))
    return calibrate(
        counter_of(subject),
        evidence,
        standards(bench, evidence),
        dials=dials_of(subject),
        assumed=assumed,
        nuclide=nuclide,
    )


def keep_calibration(bench: Bench, found: Calibration) -> Calibration:
    """Store a calibration and return it with its id.

    One from the same probe, nuclides and day takes the earlier one's place; others stay beside it.
    """
    parts = [found.instrument, found.probe or "", found.switch_state or ""]
    parts += [*found.validity.nuclides, str(found.validity.dated or "")]
    key = "calibration of " + " ".join(p for p in parts if p)
    found = found.model_copy(update={"id": key.replace(" ", "-")})
    bench.put(found)
    return found


def _same(run: Run, switch: str | None, runs: Sequence[str]) -> bool:
    return (not runs or run.id in runs) and (switch is None or run.switch_state == switch)


def _nothing(bench: Bench, instrument: str, probe: str | None) -> str:
    """Say that there are no runs, naming the probes that there are runs with."""
    with_runs = dict.fromkeys(
        r.probe or text("calibration.built_in") for r in bench.list(Run, instrument)
    )
    if not with_runs:
        return text("calibration.no_runs", instrument=instrument)
    return text(
        "calibration.no_runs_with",
        instrument=instrument,
        probe=probe or text("calibration.built_in"),
        known=", ".join(with_runs),
    )


def standards(bench: Bench, evidence: Sequence[Evidence]) -> dict[str, Link]:
    """Return what is known of the traceability of every source and reference in use."""
    nuclides = {n for e in evidence for n in e.nuclides}
    names = dict.fromkeys(s for e in evidence for s in e.run.sources)
    last = max((e.run.started_utc.date() for e in evidence), default=dt.date.min)
    links = {name: _source_link(bench.get(Source, name)) for name in names}
    known = {i.name: i for i in bench.list(Instrument) if i.calibration}
    for name in dict.fromkeys(e.counter.name for e in evidence):
        if name in known:
            links[name] = _counter_link(known[name], nuclides, last)
    return links


def _source_link(source: Source) -> Link:
    u = source.activity_u_bq / source.activity_bq if source.activity else None
    reasons = [
        ("calibration.no_activity", source.activity is None),
        ("calibration.no_uncertainty", source.activity_uncertainty is None),
        ("calibration.no_certificate", not source.traceable),
    ]
    why = next((text(key) for key, holds in reasons if holds), "")
    return Link(
        name=source.name,
        role="check source",
        certificate=source.certificate,
        dated=source.reference_date,
        nuclide=", ".join(nuclides_of([source])),
        relative_u=u,
        traceable=not why,
        why_not=why,
    )


def _counter_link(instrument: Instrument, nuclides: set[str], last: dt.date) -> Link:
    stated = [c for c in instrument.calibration if c.nuclide in nuclides or c.nuclide is None]
    chosen = (stated or list(instrument.calibration))[0]
    reasons = [
        ("calibration.not_traceable", not chosen.traceable),
        ("calibration.no_date", chosen.date is None),
        ("calibration.too_old", chosen.date is not None and last - chosen.date > OLDEST),
        ("calibration.nuclide_unlike", not stated),
    ]
    why = next((text(key, date=chosen.date) for key, holds in reasons if holds), "")
    return Link(
        name=instrument.name,
        role="reference counter",
        certificate=chosen.source,
        dated=chosen.date,
        nuclide=chosen.nuclide or "",
        relative_u=chosen.per_s_per_usv_h().relative_u,
        traceable=not why,
        why_not=why,
    )


def dials_of(instrument: Instrument) -> tuple[Dial, ...]:
    """Return the factors that an instrument's menu can set, with bounds and step known."""
    from counterproof.calibration import Dial

    found = []
    for number, s in enumerate(instrument.factors, start=1):
        if s.low is None or s.high is None or s.step is None:
            continue
        scale = convert(1.0, s.unit or "cpm/(µSv/h)", "cpm/(µSv/h)")
        found.append(
            Dial(
                s.name or text("calibration.dial", number=number),
                s.low * scale,
                s.high * scale,
                s.step * scale,
                None if s.value is None else s.value * scale,
                s.applies,
            )
        )
    return tuple(found)
