"""Draw findings about an instrument from its runs, and keep them on the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument
from counterproof.kit.to_tube import tube_model
from counterproof.progress import Report, silent
from counterproof.records import Finding
from counterproof.records.findings import FindingListing
from counterproof.texts import text
from counterproof.workshop.counters import counter_of
from counterproof.workshop.evidence import gather
from counterproof.workshop.predicted import tube_in_use

if TYPE_CHECKING:
    from counterproof.forensics import ReadoutFit
    from counterproof.forensics.sensorfindings import Described
    from counterproof.physics.tube.geometry import Tube as Layers
    from counterproof.trials.shape import Evidence


def draw_findings(bench: Bench, instrument: str, report: Report = silent) -> FindingListing:
    """Return what the runs on the bench say about an instrument; stored if it can be written to.

    Raises:
        UserError: if the instrument is not on the bench.
        Cancelled: if ``report`` answers ``False``.
    """
    from counterproof.forensics.findings import findings_of

    counter = counter_of(bench.get(Instrument, instrument))
    evidence = gather(bench, instrument)
    own = [e for e in evidence if e.counter.name == instrument]
    fit, runs = firmware_of(own, report)
    found = findings_of(counter, evidence, fit, runs, described_of(bench, instrument, own))
    missing = [] if fit is None else list(fit.missing)
    if fit is None:
        missing.append(text("forensics.no_pairs", instrument=instrument))
    return FindingListing(instrument=instrument, findings=tuple(found), missing=tuple(missing))


def described_of(bench: Bench, instrument: str, own: list[Evidence]) -> Described | None:
    """Return what the bench says stands before the gas of the tube in use, thinnest place.

    A sleeve with openings does not count: betas come in beside it. ``None`` where no tube is named
    or its description cannot be a tube.
    """
    from counterproof.forensics.sensorfindings import Described

    try:
        tube = tube_in_use(bench, instrument, own)
        model = None if tube is None else tube_model(tube)
    except UserError:
        return None
    if model is None:
        return None
    each = [_thinnest(layers) for layers in (model.nominal, *model.variants)]
    return Described(each[0][1], min(a for a, _ in each), max(a for a, _ in each))


def _thinnest(tube: Layers) -> tuple[float, str]:
    """Mass per area in mg/cm² at a tube's thinnest place, and what stands there."""
    side = [tube.wall, *(f for f in tube.filters if f.coverage >= 1.0)]
    areal = sum(layer.mass_thickness_mg_cm2 for layer in side)
    what = " + ".join(layer.material.name for layer in side)
    if tube.window is None:
        return areal, what
    window = tube.window.thickness_cm * tube.window.material.density_g_cm3 * 1e3
    closed = [f for f in tube.filters if f.ends and f.coverage >= 1.0]
    front = window + sum(f.mass_thickness_mg_cm2 for f in closed)
    names = " + ".join(m.name for m in (tube.window.material, *(f.material for f in closed)))
    return min((areal, what), (front, names))


def keep_findings(bench: Bench, listing: FindingListing) -> None:
    """Store findings; what was found before and is not found any more goes into history.

    A comparison of twins is a question of its own: it neither removes the other findings nor is
    removed with them.

    Args:
        bench: opened for writing.
        listing: what :func:`draw_findings` or :func:`compare_twins` returned.
    """
    known = bench.list(Finding, listing.instrument)
    twins = text("findings.twins_subject")
    fresh = {f.id for f in listing.findings}
    stale = [f for f in known if f.id not in fresh and f.subject != twins]
    with bench.transaction():
        for finding in listing.findings:
            bench.put(finding)
        if any(f.subject != twins for f in listing.findings):
            for finding in stale:
                bench.delete(Finding, finding.id)


def firmware_of(
    own: list[Evidence], report: Report = silent
) -> tuple[ReadoutFit | None, list[str]]:
    """Return the firmware behind an instrument's runs and the runs that it rests on."""
    from counterproof.forensics import fit_readout
    from counterproof.forensics.readout_trial import paired_runs

    pairs = paired_runs(own[0].counter.name, own) if own else []
    if not pairs:
        return None, []
    return fit_readout([p for _, p in pairs], report=report), [name for name, _ in pairs]


def compare_twins(bench: Bench, first: str, second: str, report: Report = silent) -> FindingListing:
    """Decide whether two instruments on the bench are one design.

    Raises:
        UserError: if either is not on the bench.
        Cancelled: if ``report`` answers ``False``.
    """
    from counterproof.forensics.responsefindings import quotients
    from counterproof.forensics.twins import twins

    both = {
        name: [e for e in gather(bench, name) if e.counter.name == name] for name in (first, second)
    }
    fits = tuple(firmware_of(own, report)[0] for own in both.values())
    every = [e for own in both.values() for e in own]
    counters = [counter_of(bench.get(Instrument, name)) for name in (first, second)]
    # a source that one of the two hardly sees can only be divided by the other
    ways = [quotients(c, every, (o.name,)) for c, o in (counters, counters[::-1])]
    divided = [q.value for q in max(ways, key=len)]
    runs = tuple(e.run.id for e in every)
    found = twins((first, second), (fits[0], fits[1]), divided, runs)
    return FindingListing(instrument=first, findings=(found,), missing=found.missing)
