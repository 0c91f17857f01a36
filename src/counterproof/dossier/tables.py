"""Tables of a dossier: records in, rows of printed cells out."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.dossier.shown import Grid, moment, value
from counterproof.quantities.format import format_number, format_value
from counterproof.records import Outlook, Publication
from counterproof.records.calibration import Band, Calibration
from counterproof.records.comparison import Comparison
from counterproof.records.outlook import CandidateOutlook
from counterproof.records.retest import Pair, Pull
from counterproof.texts import text


def _head(room: str, *names: str) -> tuple[str, ...]:
    return tuple(text(f"{room}.column_{n}") if n else "" for n in names)


def percent(x: float | None) -> str:
    """Print a percentage with two significant digits."""
    return "–" if x is None else f"{format_number(x, 2)}\u00a0%"


def outcomes(p: Publication) -> Grid:
    """Every judged quantity with its verdict."""
    rows = []
    for o in p.outcomes:
        rows += [(o.trial, j.quantity, value(j.measured), j.verdict) for j in o.judgements]
        if not o.judgements:
            rows.append((o.trial, o.headline, "", o.verdict))
    names = ("trial", "judged", "measured", "outcome")
    return Grid(tuple(text(f"dossier.{n}") for n in names), tuple(rows))


def levels(c: Calibration) -> Grid:
    """What was true and what was shown, level by level."""
    rows = [
        (
            level.label,
            value(level.true),
            value(level.shown),
            value(level.response),
            value(level.factor),
            percent(level.remaining_percent),
        )
        for level in c.levels
    ]
    columns = _head("dossier", "level", "true", "shown", "response", "factor", "left")
    return Grid(columns, tuple(rows))


def budget(band: Band) -> Grid:
    """The GUM budget of a factor."""
    rows: list[tuple[str, ...]] = []
    for r in band.budget:
        per = (
            "–"
            if r.sensitivity is None
            else text("dossier.per", value=format_number(r.sensitivity), unit=r.unit)
        )
        rows.append(
            (
                r.name,
                r.evaluation,
                r.distribution,
                "–" if r.u is None else f"{format_number(r.u, 2)} {r.unit}",
                per,
                percent(r.contribution_percent),
                _dof(r.dof),
                r.source,
            )
        )
    k = text("calibration.expanded", k=f"{band.coverage_factor or 0.0:.2f}")
    rows.append((k, "", "", "", "", percent(band.expanded_percent), _dof(band.dof), ""))
    names = ("component", "type", "distribution", "u", "sensitivity", "contribution", "dof")
    return Grid(_head("calibration", *names, "source"), tuple(rows))


def _dof(x: float | None) -> str:
    return "∞" if x is None or x > 1e6 else f"{x:.0f}"


def nuisances(c: Calibration) -> Grid:
    """What was assumed and what the data made of it."""
    rows = []
    for q in c.nuisances:
        scale, unit = (1e6, "µs") if q.unit == "s" else (1.0, q.unit)
        assumed = text("dossier.free")
        if q.assumed_u is not None:
            assumed = format_value(q.assumed * scale, q.assumed_u * scale)
        found = format_value(q.found * scale, q.found_u * scale)
        rows.append((q.name, unit, assumed, found))
    return Grid(_head("dossier", "quantity", "unit", "assumed", "found"), tuple(rows))


def links(c: Calibration) -> Grid:
    """What ties a calibration to µSv/h."""
    rows = [
        (
            link.name,
            link.role,
            link.nuclide or "–",
            percent(None if link.relative_u is None else 100.0 * link.relative_u),
            link.certificate or "–",
            str(link.dated or "–"),
            text("dossier.traceable") if link.traceable else link.why_not,
        )
        for link in c.links
    ]
    names = ("link", "role", "nuclide", "standard_u", "certificate", "dated", "traceable")
    return Grid(_head("dossier", *names), tuple(rows))


def pairs(found: Sequence[Pair], judged: bool) -> Grid:
    """Before and after: the judged quantities, or the others."""
    rows = []
    for p in found:
        if (p.verdict_before == p.verdict_after == "no criterion") == judged:
            continue
        sides = [
            value(m) + (f" ({v})" if judged else "")
            for m, v in ((p.before, p.verdict_before), (p.after, p.verdict_after))
        ]
        rows.append((f"{p.trial}: {p.quantity}", *sides, value(p.gain), value(p.change), p.turn))
    names = ("quantity", "before", "after", "gain", "change", "turn")
    return Grid(_head("retest", *names), tuple(rows))


def pulls(found: Sequence[Pull]) -> Grid:
    """Predicted against measured."""
    rows = [
        (
            p.statement,
            value(p.expected),
            value(p.measured),
            "–" if p.pull is None else f"{p.pull:+.1f}".replace("-", "−"),
            text("dossier.inside") if p.inside else text("dossier.outside"),
        )
        for p in found
    ]
    names = ("prediction", "expected", "measured", "pull", "turn")
    return Grid(_head("retest", *names), tuple(rows))


def candidates(o: Outlook) -> Grid:
    """The candidates of a retrofit, side by side."""
    ranks = {r.candidate: (r.score, i) for i, r in enumerate(o.ranking, start=1)}
    rows = []
    for c in o.candidates:
        place = ranks.get(c.name)
        rows.append(
            (
                c.name + (f" ({text('dossier.today')})" if c.today else ""),
                c.verdict,
                value(c.sensitivity),
                value(c.background),
                _duration(c),
                value(c.worst_error),
                "–" if place is None else str(place[1]),
            )
        )
    names = ("candidate", "verdict", "sensitivity", "background", "time", "worst", "rank")
    return Grid(_head("dossier", *names), tuple(rows))


def _duration(c: CandidateOutlook) -> str:
    seconds = c.time_to_10_percent.value
    return "–" if seconds is None else f"{format_number(seconds / 60.0, 2)}\u00a0min"


def gains(o: Outlook) -> Grid:
    """What each candidate makes of each source."""
    rows = [
        (
            c.name,
            s.source + ("" if s.distance_mm is None else f", {value(s.distance_mm)} mm"),
            value(s.counts_per_s),
            value(s.gain),
            value(s.beta_efficiency),
        )
        for c in o.candidates
        for s in c.sources
    ]
    names = ("candidate", "source", "counts", "gain", "beta")
    return Grid(_head("dossier", *names), tuple(rows))


def predictions(o: Outlook) -> Grid:
    """What was predicted, before anything was cut."""
    rows = [
        (p.statement, f"{value(p.minutes)} min", value(p.expected), value(p.retest))
        for p in o.predictions
    ]
    names = ("prediction", "minutes", "expected", "retest")
    return Grid(_head("dossier", *names), tuple(rows))


def ranking(c: Comparison) -> Grid:
    """Counters from the least to the largest deviation."""
    rows = [
        (
            p.instrument,
            f"{percent(p.deviation_percent)} ({format_number(p.deviation_low or 0.0, 2)} … "
            f"{format_number(p.deviation_high or 0.0, 2)})",
            p.grade,
            p.at_best,
            p.worst_source,
            "–" if p.before_next is None else f"{100 * p.before_next:.0f} %",
        )
        for p in c.ranking
    ]
    names = ("counter", "deviation", "grade", "possible", "worst", "sure")
    return Grid(_head("cli_compare", *names), tuple(rows))


def ratios(c: Comparison) -> Grid:
    """Indicated over true, counter by source."""
    rows = []
    for name in c.instruments:
        own = {r.source: r for r in c.ratios if r.instrument == name}
        cells = (
            f"{value(own[s].ratio)} ({own[s].minutes:g} min)" if s in own else "–" for s in c.truth
        )
        rows.append((name, *cells))
    return Grid(("", *c.truth), tuple(rows))


def runs(p: Publication) -> Grid:
    """Every run with its raw counts and times."""
    tallies = {t.run: t for t in p.tallies}
    rows = []
    for r in p.runs:
        t = tallies.get(r.id)
        where = " + ".join(r.sources) or text("dossier.background")
        if r.position.distance_mm:
            where += f", {value(r.position.distance_mm)} mm"
        if r.interrupted:
            where += f" ({text('dossier.interrupted')})"
        counts = "–" if t is None or t.counts is None else f"{t.counts:,.0f}".replace(",", "\u2009")
        who = r.instrument + (f" + {r.probe}" if r.probe else "")
        rows.append(
            (
                r.id,
                moment(r.started_utc).removesuffix(" UTC"),
                who,
                where,
                f"{r.duration_s:.0f} s",
                counts,
                value(t.rate) if t else "–",
                value(t.shown) if t else "–",
            )
        )
    names = ("run", "started", "counter", "with", "length", "raw", "rate", "shown")
    return Grid(_head("dossier", *names), tuple(rows))


def checksums(p: Publication) -> Grid:
    """Every stored signal with its checksum."""
    rows = [
        (
            r.id,
            s.form.replace("_", " ") + ("" if s.count is None else f", {s.count}"),
            s.sha256,
        )
        for r in p.runs
        for s in r.signals
    ]
    return Grid(_head("dossier", "run", "signal", "sha"), tuple(rows))
