"""The whole outlook of one instrument: each candidate, a ranking, what binds, what to test."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.circuits.safety import cautions
from counterproof.errors import UserError
from counterproof.kit.instrument import Instrument
from counterproof.progress import Report, silent, step
from counterproof.quantities.format import format_number
from counterproof.records import CandidateOutlook, Outlook, Predicted
from counterproof.records.outlook import Binding, Ranked, Wish
from counterproof.retrofit.box import Box
from counterproof.retrofit.display import BestSettings, levels_of
from counterproof.retrofit.menus import wider_menu
from counterproof.retrofit.outlook import (
    Ask,
    Candidate,
    Seen,
    SourceAt,
    candidate_outlook,
    counted_of,
    joint_sample,
)
from counterproof.retrofit.pictures import charts_of
from counterproof.retrofit.retest import predictions, retest_plan
from counterproof.retrofit.wishes import binding, by_name, default_wishes, rank
from counterproof.texts import text


def propose(
    instrument: Instrument,
    box: Box,
    candidates: Sequence[Candidate],
    sources: Sequence[SourceAt] = (),
    seen: Sequence[Seen] = (),
    wishes: Sequence[Wish] = (),
    ask: Ask | None = None,
    report: Report = silent,
) -> Outlook:
    """Return the outlook of a retrofit.

    Args:
        instrument: as described.
        box: its firmware and menu.
        candidates: today's tube (at most one, ``today``) and the others, names all different.
        sources: at the places where runs were or will be made.
        seen: rates measured with today's tube.
        wishes: what matters; gain, beta, time, energy and display alike if none is given.
        ask: range, background, times.
        report: progress, one step for each candidate.

    Raises:
        UserError: for no candidate, names used twice or a range upside down.
        Cancelled: if ``report`` says so.
    """
    ask = ask or Ask()
    names = [c.name for c in candidates]
    if not any(not c.today for c in candidates):
        raise UserError(text("retrofit.no_candidate"))
    if len(set(names)) < len(names):
        raise UserError(text("retrofit.same_name", names=", ".join(names)))
    if not 0.0 < ask.range_usv_h[0] < ask.range_usv_h[1]:
        raise UserError(text("retrofit.bad_range"))
    today = next((c for c in candidates if c.today), None)
    sample, warnings = joint_sample(candidates, sources, seen, ask)
    found: list[CandidateOutlook] = []
    best: dict[str, BestSettings] = {}
    for number, c in enumerate(candidates):
        step(report, number, len(candidates))
        each, settings = candidate_outlook(c, today, sample, instrument, box, sources, ask)
        found.append(each)
        best[c.name] = settings
    step(report, len(candidates), len(candidates))
    wanted = tuple(wishes) or default_wishes()
    ranking = rank(found, wanted)
    binds = list(binding(found, wanted))
    chosen = next((r for r in ranking if not by_name(found, r.candidate).today), None)
    plan, made = None, list[Predicted]()
    if today is not None:
        made += predictions(sample, today, None, box.firmware, _present(box), sources, ask)
    if chosen is not None:
        c = next(c for c in candidates if c.name == chosen.candidate)
        plan, minutes = retest_plan(sample, c, today, sources, instrument.name)
        entered = {item.name: value for item, value in best[c.name].values}
        made += predictions(sample, c, today, best[c.name].firmware, entered, sources, ask, minutes)
        levels = levels_of(*ask.range_usv_h)
        binds += wider_menu(box, best[c.name], counted_of(sample, c.name, ask), levels, c.name)
    firmware = box.firmware
    return Outlook(
        instrument=instrument.name,
        present=today.name if today else "",
        statement=_statement(chosen, found, binds),
        candidates=tuple(found),
        wishes=wanted,
        ranking=ranking,
        binding=tuple(binds),
        range_usv_h=ask.range_usv_h,
        background_usv_h=ask.background_usv_h,
        firmware={
            "factors_cpm_per_usv_h": tuple(map(float, firmware.factors_cpm_per_usv_h)),
            "switches_cpm": tuple(map(float, firmware.switches_cpm)),
            "estimator": type(firmware.estimator).__name__.lower(),
            "dead_time_s": firmware.dead_time_s,
            "background_cpm": firmware.background_cpm,
        },
        predictions=tuple(made),
        plan=plan,
        charts=charts_of(found, ranking, wanted, ask.range_usv_h),
        assumptions=(*box.assumed, *_assumptions(candidates)),
        warnings=warnings,
        cautions=cautions(),
        method=text("retrofit.method"),
    )


def _present(box: Box) -> dict[str, float]:
    return {item.name: item.present for item in box.menu}


def _assumptions(candidates: Sequence[Candidate]) -> list[str]:
    said = [text("retrofit.assumed_own"), text("retrofit.assumed_sheet")]
    if any(c.tube.datasheet.dead_time_us is None for c in candidates):
        said.append(text("retrofit.assumed_dead"))
    return said


def _statement(
    chosen: Ranked | None,
    found: Sequence[CandidateOutlook],
    binds: Sequence[Binding],
) -> str:
    if chosen is None:
        return text("retrofit.nothing")
    c = by_name(found, chosen.candidate)
    if chosen.breaks:
        return " ".join((text("retrofit.none_suits"), *(b.statement for b in binds)))
    parts = [text("retrofit.first", name=c.name)]
    gains = [(s.source, s.gain) for s in c.sources if s.gain and s.gain.value]
    if gains:
        listed = "; ".join(
            text("retrofit.gain_of", source=n, value=_two(g.value), low=_two(g.low),
                 high=_two(g.high)) for n, g in gains
        )  # fmt: skip
        parts.append(text("retrofit.gains", listed=listed))
    parts += [text("retrofit.set", name=s.name, value=f"{s.best.value:.4g}", unit=s.unit)
              for s in c.settings if s.best.value is not None]  # fmt: skip
    parts += [u.statement for u in c.uncorrectable]
    return " ".join(parts)


def _two(x: float | None) -> str:
    """Print a gain with two significant digits, large ones without a power of ten."""
    return "–" if x is None else format_number(float(f"{x:.2g}"), 2)
