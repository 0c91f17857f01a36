"""Calibrate a counter from its runs: the record of factor, budget, advice and validity.

The displayed dose rate is set against the truth where there is a display, the counts where there
are only clicks; both where both are there, for the menu asks for counts per minute per µSv/h.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from counterproof.calibration.advice import Dial, advice_on, with_remaining
from counterproof.calibration.behind import as_display, counts_behind
from counterproof.calibration.choice import Weighed, choose
from counterproof.calibration.evidence import Assumptions, Gathered, Signal, gather_levels
from counterproof.calibration.fit import Fit, fit
from counterproof.calibration.pictures import charts_of
from counterproof.calibration.rows import bands_of, levels_of, nuisances_of, validity_of
from counterproof.calibration.saying import remarks_on
from counterproof.errors import UserError
from counterproof.records.calibration import Calibration, Link, Weight, standing_of
from counterproof.texts import text
from counterproof.trials.levels import count_rate, displayed_dose_rate
from counterproof.trials.shape import Counter, Evidence

MISFIT = 0.01  # a deviance this unlikely is flagged, as the distance fit does


def calibrate(
    subject: Counter,
    evidence: Sequence[Evidence],
    standards: Mapping[str, Link],
    *,
    dials: Sequence[Dial] = (),
    assumed: Assumptions | None = None,
    nuclide: str = "",
    geometry: str = "",
) -> Calibration:
    """Return the calibration that the runs on hand support, and no more than that.

    Args:
        subject: the counter to be calibrated.
        evidence: its runs (of one probe and switch state), and the references'.
        standards: by name of a source or reference, what is known of its traceability.
        dials: factors of the menu.
        assumed: priors of what nobody measured.
        nuclide: sources of this one; the one with the most levels if empty.
        geometry: how source and counter stood, in words, for the validity.

    Raises:
        UserError: if there is nothing to calibrate from, or the fit fails.
    """
    own = [e for e in evidence if e.counter.name == subject.name]
    with_source = [e for e in own if not e.run.is_background]
    shows = any(displayed_dose_rate(e) is not None for e in with_source)
    clicks = any(count_rate(e) is not None for e in with_source)
    if not (shows or clicks):
        raise UserError(text("calibration.no_levels"))
    signals: list[Signal] = []
    if shows:
        signals.append("display")
    if clicks:
        signals.append("counts")
    gathered = [gather_levels(subject, evidence, standards, s, assumed, nuclide) for s in signals]
    main = gathered[0]
    counted = next((g for g in gathered if g.signal == "counts"), None)
    found, weighed, counts_fit = _fitted(subject, own, main, counted)
    p = found.p_value()
    misfit = p < MISFIT
    links = main.links if found.problem.has_scale else ()
    levels = levels_of(main, found)
    advice = advice_on(dials, found, levels, counts_fit) if links else ()
    levels = with_remaining(levels, advice, dials, found)
    warnings = list(dict.fromkeys(w for g in gathered for w in g.warnings))
    warnings += remarks_on(found, links, misfit, p)
    used = [e for e in evidence if e.run.id in set(main.runs)]
    last = max(e.run.started_utc for e in used).date()
    return Calibration(
        instrument=subject.name,
        probe=own[0].run.probe,
        switch_state=own[0].run.switch_state,
        signal=main.signal,
        standing=standing_of(links, misfit),
        links=links,
        misfit=misfit,
        p_value=p,
        model=found.model,
        weighed=tuple(
            Weight(model=w.model, log10_odds=w.log_odds / math.log(10.0)) for w in weighed
        ),
        bands=tuple(bands_of(main, found, counts_fit, bool(links))),
        levels=tuple(levels),
        nuisances=tuple(nuisances_of(found)),
        advice=advice,
        validity=validity_of(main, found, used, last, geometry),
        charts=tuple(charts_of(main, found, levels)),
        warnings=tuple(warnings),
        simulated=any(e.run.simulated for e in used),
        method=text("calibration.method"),
    )


def _fitted(
    subject: Counter, own: Sequence[Evidence], main: Gathered, counted: Gathered | None
) -> tuple[Fit, tuple[Weighed, ...], Fit | None]:
    """Fit the counts and read the display's factors from them; the display alone without counts.

    Counts whose own sensitivity changes over the levels (double pulses, fold-back) say nothing of
    the display's factor: then the display is fitted as it stands.
    """
    if counted is None or counted is main:
        found, weighed = choose(main.problem)
        return found, weighed, found if counted is main else None
    counts_fit, _ = choose(counted.problem)
    steps = [log.quantum for e in own for log in e.readings if log.quantum]
    behind = counts_behind(
        main.problem, counts_fit.problem, subject.window_s, max(steps, default=0.0)
    )
    if counts_fit.model == "one factor" and behind is not None:
        return *as_display(counts_fit, main.problem, behind), counts_fit
    found, weighed = choose(main.problem)
    return found, weighed, fit(counted.problem)
