"""Retest an instrument after a change: the same trials, before and after, from the bench's runs."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument
from counterproof.progress import Report, silent, step
from counterproof.records import Outlook, Run
from counterproof.records.retest import Pair, Retest
from counterproof.texts import text
from counterproof.trials.criteria import DEFAULT_PROFILE, profile
from counterproof.workshop.counters import counter_of
from counterproof.workshop.evidence import gather
from counterproof.workshop.registry import TRIALS, trial


def retest_instrument(
    bench: Bench,
    instrument: str,
    after: str,
    *,
    before: str | None = None,
    trials: Sequence[str] = (),
    profile_name: str = DEFAULT_PROFILE,
    report: Report = silent,
) -> Retest:
    """Pair every trial before and after a change, and check what was predicted of it.

    Args:
        bench: where the runs lie.
        instrument: the counter that was changed.
        after: the probe that is plugged in now.
        before: the probe before; the built-in tube if absent.
        trials: only these; all that serve if empty.
        profile_name: acceptance profile for both sides.
        report: progress by trial.

    Raises:
        UserError: if instrument, trial or profile is unknown, or either side has no runs.
        Cancelled: if ``report`` answers ``False``.
    """
    from counterproof.calibration import retest as analysis

    subject = counter_of(bench.get(Instrument, instrument))
    runs = bench.list(Run, instrument)
    for side in (before, after):
        if not any(r.probe == side for r in runs):
            shown = side or text("calibration.built_in")
            raise UserError(text("retest.no_runs", instrument=instrument, probe=shown))
    criteria = profile(profile_name)
    sides = [gather(bench, instrument, probe=side, exactly=True) for side in (before, after)]
    pairs: list[Pair] = []
    missing: list[str] = []
    chosen = [trial(name) for name in trials] or list(TRIALS)
    for done, each in enumerate(chosen):
        step(report, done, len(chosen))
        serve = [each.serves(subject, evidence) for evidence in sides]
        if not any(serve):
            continue
        first, second = (each.analyse(subject, evidence, criteria) for evidence in sides)
        if not (first.runs or first.judgements) and not (second.runs or second.judgements):
            continue
        found = analysis.pairs_of(first, second)
        pairs += found
        if not found:
            missing.append(text("retest.unpaired", trial=each.name))
    step(report, len(chosen), len(chosen))
    own = [[e for e in side if e.counter.name == instrument] for side in sides]
    outlook = _outlook(bench, instrument, after)
    pulls, unchecked = (
        analysis.pulls_of([p for p in outlook.predictions if p.probe == after], own[0], own[1])
        if outlook is not None
        else ([], [text("retest.no_outlook", probe=after)])
    )
    names = {"instrument": instrument, "after": after}
    return Retest(
        instrument=instrument,
        before=before,
        after=after,
        statement=analysis.summary(pairs, pulls, names),
        pairs=tuple(pairs),
        pulls=tuple(pulls),
        missed=sum(not p.inside for p in pulls),
        outlook="" if outlook is None else outlook.id,
        regressions=analysis.regressions_of(pairs),
        charts=analysis.charts_of(pairs, pulls),
        runs=tuple(e.run.id for side in own for e in side),
        missing=(*missing, *unchecked),
        simulated=any(e.run.simulated for side in own for e in side),
        method=text("retest.method"),
    )


def keep_retest(bench: Bench, found: Retest) -> Retest:
    """Store a retest and return it with its id; a later one of the same change takes its place."""
    parts = [found.instrument, "with", found.after or "", "after", found.before or "its own tube"]
    key = "retest of " + " ".join(p for p in parts if p)
    found = found.model_copy(update={"id": key.replace(" ", "-")})
    bench.put(found)
    return found


def _outlook(bench: Bench, instrument: str, probe: str) -> Outlook | None:
    """The outlook that predicted something of this probe."""
    held = [
        o for o in bench.list(Outlook, instrument) if any(p.probe == probe for p in o.predictions)
    ]
    return held[-1] if held else None
