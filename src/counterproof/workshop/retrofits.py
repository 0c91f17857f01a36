"""Propose a retrofit from what lies on a bench: tubes, probes, runs, firmware."""

from __future__ import annotations

import datetime as dt
from collections import Counter as Tally
from collections.abc import Sequence
from dataclasses import dataclass, replace

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument, Probe, Source, Tube
from counterproof.kit.to_field import source_term
from counterproof.physics.field import field
from counterproof.progress import Report, silent, step
from counterproof.quantities import parse_quantity, parse_range
from counterproof.records import Outlook, Run
from counterproof.records.readout import ReadoutReport
from counterproof.retrofit.box import box_of
from counterproof.retrofit.compatibility import Envelope, behind_switch, compatibility
from counterproof.retrofit.outlook import Ask, Candidate, Seen, SourceAt
from counterproof.retrofit.propose import propose
from counterproof.retrofit.wishes import parse_wish
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Evidence
from counterproof.workshop.evidence import evidence_of
from counterproof.workshop.expected import expected_background_usv_h
from counterproof.workshop.yields import SHOWN_KEV, Place, Yields, in_probe, yields_of

UNKNOWN_ACTIVITY_U = 10.0
"""Relative uncertainty (of the logarithm) of an activity that nobody states: runs must give it."""
USUAL_DISTANCE_MM, DISTANCE_U_MM = 50.0, 1.0
LEAST_SURE = 0.5
"""Rates less sure than this are no evidence: on a logarithm they would mislead."""


@dataclass(frozen=True)
class Asked:
    """What a person asks of a retrofit, as typed.

    Args:
        instrument: the counter to improve.
        candidates: names of tubes (in the box) or probes on the bench.
        sources: such as ``"caesium disc"`` or ``"caesium disc@10 cm"``; empty for those of the
            counter's runs.
        wishes: such as ``"beta*2"`` or ``"display<=20%"``.
        range_usv_h: where the display should be right, such as ``"0.1..20"``.
        room: length and diameter inside the box, such as ``"90 mm x 12 mm"``; may be empty.
        aim: ``"worst"`` or ``"weighted"``.
        use_runs: let measured rates of today's tube correct the prediction.
    """

    instrument: str
    candidates: tuple[str, ...]
    sources: tuple[str, ...] = ()
    wishes: tuple[str, ...] = ()
    range_usv_h: str = "0.1..20"
    room: str = ""
    aim: str = "worst"
    use_runs: bool = True


def propose_retrofit(
    bench: Bench,
    asked: Asked,
    readout: ReadoutReport | None = None,
    report: Report = silent,
) -> Outlook:
    """Return the outlook of a retrofit; nothing is stored.

    Args:
        bench: where the kit and the runs lie.
        asked: what is wanted.
        readout: the firmware as inferred; the instrument's file speaks where there is none.
        report: progress over the tubes.

    Raises:
        UserError: for what is not on the bench or cannot be read.
        Cancelled: if ``report`` says so.
    """
    instrument = bench.get(Instrument, asked.instrument)
    wishes = [parse_wish(w) for w in asked.wishes]
    over = asked.range_usv_h.strip()
    low, high = parse_range(f"{over} µSv/h" if over[-1:].isdigit() else over, "µSv/h")
    if asked.aim not in ("worst", "weighted"):
        raise UserError(text("retrofit.bad_aim", given=asked.aim))
    room = _room(asked.room)
    named = [_named(bench, name) for name in asked.candidates]
    box = box_of(instrument, readout)
    if instrument.tube is not None:
        named.insert(0, (instrument.tube, bench.get(Tube, instrument.tube), None))
    own = [evidence_of(bench, r) for r in bench.list(Run, instrument.name) if r.probe is None]
    places, sources, dropped = _places(bench, asked, own)
    found = []
    for number, (name, tube, probe) in enumerate(named):
        step(report, number, len(named))
        made = yields_of(in_probe(tube, probe), places)
        today = instrument.tube == name and probe is None
        candidate = _candidate(name, tube, probe, instrument, made, room, today)
        if probe is not None and instrument.tube is not None:
            # both positions of the switch count: it loads the tube that stays in the box too
            check = behind_switch(instrument, named[0][1])
            loaded = candidate.compatible
            loaded = replace(loaded, checks=(*loaded.checks, check))
            candidate = replace(candidate, compatible=loaded)
        found.append(candidate)
    step(report, len(named), len(named))
    seen = _seen(instrument.tube, own, sources) if asked.use_runs and instrument.tube else []
    unknown = {s.name for s in sources if s.activity_u >= UNKNOWN_ACTIVITY_U}
    measured = {s.name for s in sources if any(x.key == s.key for x in seen)}
    kept = [s for s in sources if s.name not in unknown - measured]
    dropped += [text("retrofit.no_activity", source=name) for name in sorted(unknown - measured)]
    natural = expected_background_usv_h()
    ask = Ask(
        range_usv_h=(low, high),
        background_usv_h=natural.value,
        background_u=natural.relative_u,
        aim="worst" if asked.aim == "worst" else "weighted",
    )
    outlook = propose(instrument, box, found, kept, seen, wishes, ask)
    return outlook.model_copy(
        update={
            "id": f"retrofit of {instrument.name}".replace(" ", "-"),
            "warnings": (*outlook.warnings, *dropped),
        }
    )


def keep_outlook(bench: Bench, outlook: Outlook) -> None:
    """Store an outlook: the latest of an instrument stands, earlier ones are its history."""
    bench.put(outlook)


def _named(bench: Bench, name: str) -> tuple[str, Tube, Probe | None]:
    if name in bench.names(Probe):
        probe = bench.get(Probe, name)
        return name, bench.get(Tube, probe.tube), probe
    if name in bench.names(Tube):
        return name, bench.get(Tube, name), None
    known = ", ".join((*bench.names(Probe), *bench.names(Tube))) or text("bench.none")
    raise UserError(text("retrofit.unknown_candidate", name=name, known=known))


def _room(written: str) -> Envelope | None:
    if not written:
        return None
    parts = [p.strip() for p in written.replace("×", "x").split("x")]
    if len(parts) != 2:
        raise UserError(text("retrofit.bad_room", given=written))
    return Envelope(parse_quantity(parts[0], "mm"), parse_quantity(parts[1], "mm"))


def _places(
    bench: Bench, asked: Asked, own: Sequence[Evidence]
) -> tuple[list[Place], list[SourceAt], list[str]]:
    """Sources where they stand: as asked, else where most of the counter's runs had them."""
    wanted: list[tuple[str, float]] = []
    for each in asked.sources:
        name, sign, written = each.partition("@")
        wanted.append((name.strip(), parse_quantity(written, "mm") if sign else USUAL_DISTANCE_MM))
    if not wanted:
        stood = [
            (e.run.sources[0], e.run.position.distance_mm)
            for e in own
            if len(e.run.sources) == 1 and e.run.position.distance_mm and not _aside(e)
        ]
        tally = Tally(d for _, d in dict.fromkeys(stood))
        for name in dict.fromkeys(n for n, _ in stood):
            distances = [d for n, d in stood if n == name and d]
            wanted.append((name, max(distances, key=lambda d: (tally[d], -d))))
    places, sources, dropped = [], [], []
    for name, distance in wanted:
        source = bench.get(Source, name)
        day = next((e.run.started_utc.date() for e in own if name in e.run.sources), None)
        term = source_term(source)
        try:
            at = field(term, [distance / 10.0], date=day or source.reference_date or _today())
        except UserError as error:
            dropped.append(text("retrofit.source_dropped", source=name, reason=error.message))
            continue
        key = f"{name}@{distance:g}mm"
        known = at.activity_known and term.activity_relative_u is not None
        places.append(Place(key, at))
        sources.append(
            SourceAt(
                key, name, distance, DISTANCE_U_MM, float(at.h10_usv_h[0]),
                term.activity_relative_u or 0.01 if known else UNKNOWN_ACTIVITY_U,
            )
        )  # fmt: skip
    return places, sources, dropped


def _today() -> dt.date:
    return dt.datetime.now(dt.UTC).date()


def _aside(e: Evidence) -> bool:
    """Whether a run was made behind an absorber, at an angle or under special conditions."""
    return bool(e.run.position.absorbers or e.run.position.angle_deg or e.run.conditions)


def _seen(tube: str, own: Sequence[Evidence], sources: Sequence[SourceAt]) -> list[Seen]:
    """Rates that today's tube was measured to have: background, and net at each place."""
    plain = [e for e in own if not _aside(e)]
    background = [e for e in plain if e.run.is_background]
    found = []
    level = lv.pool(background, lv.count_rate)
    if level is not None:
        found.append((tube, "", level))
    for s in sources:
        here = [
            e
            for e in plain
            if e.run.sources == (s.name,) and e.run.position.distance_mm == s.distance_mm
        ]
        net = lv.net(here, background, lv.count_rate)
        if net is not None:
            found.append((tube, s.key, net))
    return [
        Seen(name, key, level.estimate.value, level.estimate.relative_u)
        for name, key, level in found
        if level.estimate.value > 0.0 and level.estimate.relative_u < LEAST_SURE
    ]


def _candidate(
    name: str,
    tube: Tube,
    probe: Probe | None,
    instrument: Instrument,
    made: Yields,
    room: Envelope | None,
    today: bool,
) -> Candidate:
    inside = None if probe else room
    return Candidate(
        name=name,
        tube=tube,
        probe=probe,
        compatible=compatibility(instrument, tube, probe, inside),
        effects=made.effects,
        inner_cm2=made.inner_cm2,
        energies_kev=SHOWN_KEV,
        electrons_per_s=made.electrons_per_s,
        sheet_per_s=made.sheet_per_s,
        unknown=made.unknown,
        today=today,
    )
