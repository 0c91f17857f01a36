"""The first page of a dossier in plain words: the verdict, how sure it is, and what to do."""

from __future__ import annotations

from collections import Counter

from counterproof.calibration import says
from counterproof.quantities.format import format_estimate, format_number
from counterproof.records import Judgement, Publication
from counterproof.records.publication import Brief
from counterproof.texts import text

MOST_POINTS = 5
MOST_FINDINGS = 3
STRONG = 1.0  # log₁₀ of a Bayes factor from which evidence is called strong


def brief_of(p: Publication) -> Brief:
    """Return the summary of a publication for somebody who reads one page."""
    judgements = [j for o in p.outcomes for j in o.judgements if j.criterion is not None]
    tally = Counter(j.verdict for j in judgements)
    key = p.verdict.replace(" ", "_")
    verdict = text(
        f"brief.{key}",
        instrument=p.instrument,
        met=tally["met"],
        missed=tally["not met"],
        open=tally["cannot tell yet"],
        judged=len(judgements),
        profile=p.profile or text("brief.no_profile"),
    )
    open_ones = tally["cannot tell yet"]
    sure = text("brief.sure_all") if judgements and not open_ones else ""
    if open_ones:
        minutes = [j.more_minutes for j in judgements if j.more_minutes]
        sure = text("brief.sure_open", n=open_ones, judged=len(judgements))
        if minutes:
            sure += " " + text("brief.sure_minutes", minutes=_time(max(minutes)))
    if not judgements:
        sure = text("brief.sure_none")
    return Brief(
        verdict=verdict,
        sure=sure,
        points=_points(p),
        advice=_advice(p),
        basis=_basis(p),
    )


def _time(minutes: float) -> str:
    if minutes < 120:
        return text("brief.minutes", n=f"{max(1.0, minutes):.0f}")
    return text("brief.hours", n=f"{minutes / 60.0:.0f}")


def _points(p: Publication) -> tuple[str, ...]:
    """What was found: strong findings, calibration, retest; statements where there are none."""
    strong = [f for f in p.findings if (f.log10_bayes_factor or 0.0) >= STRONG]
    strong.sort(key=lambda f: -(f.log10_bayes_factor or 0.0))
    points = [_failed(j) for o in p.outcomes for j in o.judgements if j.verdict == "not met"]
    points = points[:MOST_POINTS] + [_sentence(f.statement) for f in strong[:MOST_FINDINGS]]
    points += [" ".join(says(c)[:3]) for c in p.calibrations[:2]]
    points += [r.statement for r in p.retests[:1]]
    if not points:
        points = [_sentence(o.headline) for o in p.outcomes[:MOST_POINTS]]
    return tuple(dict.fromkeys(points))


def _failed(j: Judgement) -> str:
    """A failed judgement with what it should have been."""
    value = format_estimate(j.measured.estimate())
    low, high = (j.criterion.low, j.criterion.high) if j.criterion else (None, None)
    if low is not None and high is not None:
        return _sentence(text("brief.outside", what=j.quantity, value=value, low=low, high=high))
    bound = high if low is None else low
    key = "brief.above" if low is None else "brief.below"
    return _sentence(text(key, what=j.quantity, value=value, bound=bound))


def _sentence(words: str) -> str:
    words = words[:1].upper() + words[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."


def _advice(p: Publication) -> tuple[str, ...]:
    said = []
    for c in p.calibrations:
        said += [
            text(
                "brief.set",
                setting=a.setting,
                best=f"{a.best:g}",
                unit=a.unit,
                probe=c.probe or text("calibration.built_in"),
                worst=format_number(a.worst_percent, 2),
                u=format_number(max(b.expanded_percent or 0.0 for b in c.bands), 2),
            )
            for a in c.advice
        ]
        if c.standing != "relative only":
            said += [
                text(
                    "brief.multiply",
                    probe=c.probe or text("calibration.built_in"),
                    where=b.where,
                    factor=format_number(b.factor.value),
                )
                for b in c.bands
                if b.factor is not None
                and b.factor.value is not None
                and not any(a.covers(b) for a in c.advice)
            ]
    for r in p.retests:
        said += [text("brief.watch", what=w) for w in r.regressions[:2]]
    return (*dict.fromkeys(said), text("brief.not_for_protection"))


def _basis(p: Publication) -> str:
    counts = sum(t.counts or 0.0 for t in p.tallies)
    hours = sum(r.duration_s for r in p.runs) / 3600.0
    return text(
        "brief.basis",
        runs=len(p.runs),
        hours=format_number(hours, 2),
        counts=f"{counts:,.0f}".replace(",", "\u2009"),
        instruments=len({r.instrument for r in p.runs}),
    )
