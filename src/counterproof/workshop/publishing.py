"""Gather what a dossier shows from the bench."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from counterproof import __version__
from counterproof.bench import Bench
from counterproof.kit import Instrument, KitItem, Probe, Source, Tube
from counterproof.records import Finding, Item, Outcome, Publication, Run
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.workshop.registry import TRIALS


def publication_of(
    bench: Bench, instrument: str, *, built: datetime, profile_title: str = ""
) -> Publication:
    """Return everything that a dossier about one instrument shows.

    Raises:
        UserError: if the instrument is not on the bench.
    """
    subject = bench.get(Instrument, instrument)
    order = {t.name: i for i, t in enumerate(TRIALS)}
    held = sorted(bench.list(Outcome, instrument), key=lambda o: order.get(o.trial, 99))
    outcomes = [o for o in held if o.runs]
    used = {run for o in outcomes for run in o.runs}
    runs = [r for r in bench.list(Run) if r.id in used]
    judged = [o for o in outcomes if o.verdict != "no criterion"]
    missing = [
        text("dossier.no_outcome", trial=t.name, question=t.question)
        for t in TRIALS
        if t.name not in {o.trial for o in outcomes}
    ]
    missing += [w for o in outcomes for w in o.warnings if o.verdict == "cannot tell yet"]
    return Publication(
        title=text("dossier.title", instrument=instrument),
        instrument=instrument,
        built_utc=built,
        version=__version__,
        invented=any(r.simulated for r in runs),
        verdict=worst([o.verdict for o in judged]),
        summary=tuple(o.statement for o in outcomes),
        profile=profile_title,
        items=tuple(_items(bench, subject, runs)),
        outcomes=tuple(outcomes),
        questions={t.name: t.question for t in TRIALS},
        findings=bench.list(Finding, instrument),
        runs=tuple(runs),
        missing=tuple(dict.fromkeys(missing)),
        limitations=(
            text("dossier.limit_units"),
            text("dossier.limit_settings"),
            text("dossier.limit_check"),
        ),
        cautions=(
            text("dossier.caution_protection"),
            *dict.fromkeys(c for t in TRIALS for c in t.cautions),
            text("dossier.caution_law"),
        ),
    )


def _items(bench: Bench, subject: Instrument, runs: Sequence[Run]) -> list[Item]:
    names = dict.fromkeys([subject.name, *(r.instrument for r in runs)])
    items: list[KitItem] = [bench.get(Instrument, n) for n in names]
    tubes = dict.fromkeys(i.tube for i in items if isinstance(i, Instrument) and i.tube)
    known = set(bench.names(Tube))
    items += [bench.get(Tube, n) for n in tubes if n in known]
    items += [bench.get(Probe, n) for n in dict.fromkeys(r.probe for r in runs if r.probe)]
    items += [bench.get(Source, n) for n in dict.fromkeys(s for r in runs for s in r.sources)]
    return [Item(name=i.name, kind=i.table, facts=facts_of(i)) for i in items]


def facts_of(item: KitItem) -> dict[str, str]:
    """Return what is stated about an item as pairs of key and printed value."""
    found: dict[str, str] = {}

    def walk(prefix: str, value: object) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(f"{prefix} {key}".strip().replace("_", " "), inner)
        elif isinstance(value, list | tuple) and any(isinstance(v, dict) for v in value):
            for number, inner in enumerate(value, start=1):
                walk(prefix if len(value) == 1 else f"{prefix} {number}", inner)
        elif isinstance(value, list | tuple):
            found[prefix] = ", ".join(str(v) for v in value)
        elif value not in (None, ""):
            found[prefix] = str(value)

    walk("", item.to_dict())
    found.pop("name", None)
    return found
