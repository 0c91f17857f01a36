"""Gather what a dossier shows from the bench."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from counterproof import __version__
from counterproof.bench import Bench
from counterproof.kit import Instrument, KitItem, Probe, Source, Tube
from counterproof.records import Finding, Item, Outcome, Outlook, Publication, Run
from counterproof.records.calibration import Calibration
from counterproof.records.comparison import Comparison
from counterproof.records.finding import COUNTABLE
from counterproof.records.outcome import worst
from counterproof.records.publication import Claim
from counterproof.records.retest import Retest
from counterproof.texts import text
from counterproof.workshop.briefing import brief_of
from counterproof.workshop.gaps import gaps_of, missing_of
from counterproof.workshop.illustrating import inspections_of, photos_of, sketches_of, tallies_of
from counterproof.workshop.registry import TRIALS


def publication_of(
    bench: Bench, instrument: str, *, built: datetime, profile_title: str = ""
) -> Publication:
    """Return everything that a dossier about one instrument shows.

    What is missing (a deleted run, a photograph, a source's date, …) never stops it: it is said
    where it matters.

    Raises:
        UserError: if the instrument is not on the bench.
    """
    subject = bench.get(Instrument, instrument)
    order = {t.name: i for i, t in enumerate(TRIALS)}
    held = sorted(bench.list(Outcome, instrument), key=lambda o: order.get(o.trial, 99))
    outcomes = [o for o in held if o.runs]
    calibrations = bench.list(Calibration, instrument)
    retests = bench.list(Retest, instrument)
    # what is surest stands first; a limit without a strength last
    findings = sorted(
        bench.list(Finding, instrument),
        key=lambda f: -min(f.log10_bayes_factor or 0.0, COUNTABLE),
    )
    comparisons = [c for c in bench.list(Comparison) if instrument in c.instruments]
    wanted = _wanted(outcomes, findings, calibrations, retests)
    runs = [r for r in bench.list(Run) if r.id in wanted]
    items = _items(bench, subject, runs)
    photos, lost = photos_of(bench, items)
    judged = [o for o in outcomes if o.verdict != "no criterion"]
    missing = [
        text("dossier.no_outcome", trial=t.name, question=t.question)
        for t in TRIALS
        if t.name not in {o.trial for o in outcomes}
    ]
    missing += [w for o in outcomes for w in o.warnings if o.verdict == "cannot tell yet"]
    found = Publication(
        title=text("dossier.title", instrument=instrument),
        instrument=instrument,
        built_utc=built,
        version=__version__,
        invented=any(r.simulated for r in runs),
        verdict=worst([o.verdict for o in judged]),
        summary=tuple(o.statement for o in outcomes),
        profile=profile_title,
        claims=tuple(Claim(what=c.what, value=c.value, source=c.source) for c in subject.claim),
        items=tuple(
            Item(name=i.name, kind=i.table, facts=facts_of(i), missing=missing_of(i)) for i in items
        ),
        sketches=sketches_of(runs),
        outcomes=tuple(outcomes),
        questions={t.name: t.question for t in TRIALS},
        findings=tuple(findings),
        outlooks=bench.list(Outlook, instrument),
        calibrations=calibrations,
        retests=retests,
        comparisons=tuple(comparisons),
        inspections=inspections_of(bench, items),
        photos=photos,
        runs=tuple(runs),
        tallies=tallies_of(bench, runs),
        missing=tuple(dict.fromkeys(missing)),
        limitations=_limitations(calibrations),
        cautions=(
            text("dossier.caution_protection"),
            *dict.fromkeys(c for t in TRIALS for c in t.cautions),
            text("dossier.caution_law"),
        ),
    )
    gaps = gaps_of(found, wanted, bench, lost)
    return found.model_copy(update={"gaps": gaps, "brief": brief_of(found)})


def _wanted(
    outcomes: Sequence[Outcome],
    findings: Sequence[Finding],
    calibrations: Sequence[Calibration],
    retests: Sequence[Retest],
) -> set[str]:
    """Ids of every run that something in the dossier rests on."""
    wanted = {run for o in outcomes for run in o.runs}
    wanted |= {run for f in findings for run in f.runs}
    wanted |= {run for c in calibrations for level in c.levels for run in level.runs}
    return wanted | {run for r in retests for run in r.runs}


def _limitations(calibrations: Sequence[Calibration]) -> tuple[str, ...]:
    said = [text("dossier.limit_units"), text("dossier.limit_settings")]
    if not any(c.standing == "calibrated, traceable" for c in calibrations):
        said.append(text("dossier.limit_check"))
    return (*said, text("dossier.limit_motive"))


def _items(bench: Bench, subject: Instrument, runs: Sequence[Run]) -> list[KitItem]:
    """The subject and everything that its runs name, as far as it is still on the bench."""
    names = dict.fromkeys([subject.name, *(r.instrument for r in runs)])
    items = _known(bench, Instrument, names)
    probes = dict.fromkeys(r.probe for r in runs if r.probe)
    found_probes = _known(bench, Probe, probes)
    tubes = dict.fromkeys(i.tube for i in items if isinstance(i, Instrument) and i.tube)
    tubes |= dict.fromkeys(p.tube for p in found_probes if isinstance(p, Probe))
    items += _known(bench, Tube, tubes)
    items += found_probes
    return items + _known(bench, Source, dict.fromkeys(s for r in runs for s in r.sources))


def _known(bench: Bench, cls: type[KitItem], names: dict[str, None]) -> list[KitItem]:
    here = set(bench.names(cls))
    return [bench.get(cls, n) for n in names if n in here]


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
