"""The chapters of a dossier, from a publication: what stands where, and what is missing there."""

from __future__ import annotations

from collections.abc import Iterator

from counterproof.calibration import says
from counterproof.dossier import methods, tables
from counterproof.dossier.blocks import (
    Block,
    Bullets,
    Chapter,
    Drawings,
    Facts,
    Figure,
    Heading,
    Picture,
    Table,
    Words,
)
from counterproof.dossier.cards import cards_of
from counterproof.dossier.shown import grids, interval, sentence
from counterproof.records import Finding, Outcome, Outlook, Publication
from counterproof.records.calibration import Calibration
from counterproof.texts import text


def chapters_of(p: Publication) -> list[Chapter]:
    """Return the chapters in their order; one without content says what is missing instead."""
    made = [
        _summary(p),
        Chapter("outcomes", _t("outcomes"), tuple(_outcomes(p)), new_page=True),
        Chapter("identity", _t("identity"), tuple(_identity(p))),
        Chapter("geometry", _t("geometry"), tuple(_geometry(p))),
        *(_trial(p, o) for o in p.outcomes),
        Chapter("findings", _t("findings"), tuple(_findings(p))),
        Chapter("retrofit", _t("retrofit"), tuple(_retrofit(p))),
        Chapter("calibration", _t("calibration"), tuple(_calibration(p))),
        Chapter("retest", _t("retest"), tuple(_retest(p))),
        Chapter("comparison", _t("comparison"), tuple(_comparison(p))),
        Chapter("inspection", _t("inspection"), tuple(_inspection(p))),
        Chapter("methods", _t("methods"), tuple(methods.blocks_of(p))),
        Chapter("things", _t("things"), tuple(_things(p))),
        Chapter("runs", _t("runs"), tuple(_runs(p))),
        Chapter("limits", _t("limitations"), tuple(_limits(p))),
    ]
    return [c for c in made if c.blocks]


def _t(key: str, **names: object) -> str:
    return text(f"dossier.{key}", **names)


def _gaps(p: Publication, *keys: str) -> Iterator[Block]:
    for key in keys:
        for words in p.gaps.get(key, ()):
            yield Words(words, "gap")


def _summary(p: Publication) -> Chapter:
    blocks: list[Block] = []
    brief = p.brief
    if brief is None:
        blocks.append(Words(_t("verdict", instrument=p.instrument), "verdict", p.verdict))
        blocks += [Words(sentence(s)) for s in p.summary]
        return Chapter("summary", "", tuple(blocks))
    blocks.append(Words(brief.verdict, "verdict"))
    blocks.append(Heading(_t("how_sure")))
    blocks.append(Words(brief.sure))
    if brief.basis:
        blocks.append(Words(brief.basis))
    if brief.points:
        blocks += [Heading(_t("was_found")), Bullets(brief.points)]
    if brief.advice:
        blocks += [Heading(_t("to_do")), Bullets(brief.advice)]
    return Chapter("summary", "", tuple(blocks))


def _outcomes(p: Publication) -> Iterator[Block]:
    if p.outcomes:
        yield Table(tables.outcomes(p), _t("outcomes"))
    if p.missing:
        yield Heading(_t("missing"))
        yield Bullets(p.missing)


def _identity(p: Publication) -> Iterator[Block]:
    subject = next((i for i in p.items if i.name == p.instrument), None)
    if subject is not None:
        # what the maker says stands below, as a quotation
        stated = {k: v for k, v in subject.facts.items() if not k.startswith("claim")}
        yield Facts(tuple(stated.items()))
        for words in subject.missing:
            yield Words(words, "gap")
    if p.claims:
        yield Heading(_t("claims"))
        yield Bullets(
            tuple(_t("claim", what=c.what, value=c.value, source=c.source) for c in p.claims)
        )
    for photo in p.photos:
        if photo.of == p.instrument and photo.caption == photo.of:
            yield Picture(photo)
    yield from _gaps(p, "photos")


def _geometry(p: Publication) -> Iterator[Block]:
    if p.sketches:
        yield Words(_t("geometry_about"))
        yield Drawings(p.sketches)


def _trial(p: Publication, o: Outcome) -> Chapter:
    blocks: list[Block] = []
    if o.trial in p.questions:
        blocks.append(Words(p.questions[o.trial], "question"))
    blocks.append(Words(sentence(o.statement)))
    blocks += _gaps(p, o.trial)
    for j in o.judgements:
        if j.criterion:
            told = f"{sentence(j.statement)} {interval(j.measured)}. "
            told += _t("criterion", name=j.criterion.name, source=j.criterion.source)
            blocks.append(Words(told, "note"))
    blocks += [Figure(chart) for chart in o.charts]
    for number, grid in enumerate(grids(o.table), start=1):
        if len(grid.rows) == 1 and len(grid.columns) > 6:
            blocks.append(Heading(sentence(grid.rows[0][0])))
            blocks.append(Facts(tuple(zip(grid.columns[1:], grid.rows[0][1:], strict=True))))
        else:
            blocks.append(Table(grid, f"{_t('table_of', trial=o.trial)} {number}"))
    blocks += [Words(w, "note") for w in o.warnings]
    if o.method:
        blocks.append(Words(o.method, "method"))
    return Chapter(o.trial.replace(" ", "-"), o.trial.capitalize(), tuple(blocks), o.verdict)


def _findings(p: Publication) -> Iterator[Block]:
    for f in p.findings:
        yield from _finding(f)
    yield from _gaps(p, "findings")


def _finding(f: Finding) -> Iterator[Block]:
    yield Heading(f.subject)
    yield Words(sentence(f.statement))
    told = _t("strength", strength=f.strength_words)
    if f.runs:
        told += " " + _t("rests_on", runs=", ".join(f.runs))
    yield Words(told, "note")
    items = []
    for r in f.rivals:
        key = "rival" if r.set_aside_because else "rival_open"
        items.append(_t(key, statement=sentence(r.statement), because=r.set_aside_because))
    items.append(_t("refuted", how=f.refuted_by))
    if f.next_measurement:
        n = f.next_measurement
        minutes = f"{n.minutes:.0f}"
        items.append(_t("next", what=n.what, minutes=minutes, separates=n.separates))
    items += [_t("still_missing", what=m) for m in f.missing]
    yield Bullets(tuple(items))


def _retrofit(p: Publication) -> Iterator[Block]:
    for o in p.outlooks:
        yield from outlook_blocks(o)
    yield from _gaps(p, "retrofit")


def outlook_blocks(o: Outlook) -> Iterator[Block]:
    """What an outlook says, for the dossier and for a page."""
    yield Words(o.statement)
    if o.candidates:
        yield Table(tables.candidates(o), _t("candidates"))
    with_gains = tables.gains(o)
    if with_gains.rows:
        yield Table(with_gains, _t("gains"))
    for c in o.candidates:
        for check in c.checks:
            if check.verdict != "fits":
                yield Words(f"{c.name}: {check.statement}", "note")
        for u in c.uncorrectable:
            yield Words(f"{c.name}: {u.statement}", "note")
    for chart in o.charts:
        yield Figure(chart)
    if o.binding:
        yield Bullets(tuple(b.statement for b in o.binding))
    if o.predictions:
        yield Heading(_t("predictions"))
        yield Table(tables.predictions(o), _t("predictions"))
    for words in (*o.warnings, *o.cautions):
        yield Words(words, "note")
    if o.assumptions:
        yield Bullets(o.assumptions)
    if o.method:
        yield Words(o.method, "method")


def _calibration(p: Publication) -> Iterator[Block]:
    yield from _gaps(p, "calibration")
    for c in p.calibrations:
        yield from calibration_blocks(c)
    if p.calibrations:
        yield Heading(_t("cards"))
        yield from cards_of(p.calibrations)


def calibration_blocks(c: Calibration) -> Iterator[Block]:
    """What a calibration says, for the dossier and for a page."""
    first, *rest = says(c)
    yield Heading(first.rstrip("."))
    for words in rest:
        yield Words(words)
    v = c.validity
    held = _t("validity", nuclides=", ".join(v.nuclides), geometry=v.geometry, dated=v.dated or "–")
    if v.low_usv_h is not None and v.high_usv_h is not None:
        held += " " + _t("validity_range", low=f"{v.low_usv_h:.2g}", high=f"{v.high_usv_h:.2g}")
    yield Words(held)
    yield Table(tables.levels(c), _t("levels_of", instrument=c.instrument))
    for chart in c.charts:
        yield Figure(chart)
    for band in c.bands:
        title = text("calibration.budget_of", where=band.where)
        yield Heading(title)
        yield Table(tables.budget(band), title, small=True)
    if c.links:
        yield Heading(_t("ties"))
        yield Table(tables.links(c), _t("ties"), small=True)
    yield Heading(_t("nuisances"))
    yield Table(tables.nuisances(c), _t("nuisances"))
    odds = ", ".join(f"{w.model} {w.log10_odds:+.1f}" for w in c.weighed).replace("-", "−")
    if odds:
        yield Words(_t("odds", odds=odds), "small")
    for words in c.warnings:
        yield Words(words, "note")
    if c.method:
        yield Words(c.method, "method")


def _retest(p: Publication) -> Iterator[Block]:
    for r in p.retests:
        yield Heading(
            _t("retest_of", after=r.after or "–", before=r.before or text("calibration.built_in"))
        )
        yield Words(r.statement)
        for words in r.regressions:
            yield Words(words, "gap")
        for chart in r.charts:
            yield Figure(chart)
        judged = tables.pairs(r.pairs, judged=True)
        if judged.rows:
            yield Table(judged, _t("pairs"), small=True)
        if r.pulls:
            yield Heading(_t("pulls"))
            yield Table(tables.pulls(r.pulls), _t("pulls"))
        others = tables.pairs(r.pairs, judged=False)
        if others.rows:
            yield Heading(_t("pairs_other"))
            yield Table(others, _t("pairs_other"), small=True)
        for words in (*r.missing, *r.warnings):
            yield Words(words, "note")
        yield Words(r.method, "method")
    yield from _gaps(p, "retest")


def _comparison(p: Publication) -> Iterator[Block]:
    for c in p.comparisons:
        for chart in c.charts:
            yield Figure(chart)
        yield Table(tables.ratios(c), text("cli_compare.ratios"))
        yield Table(tables.ranking(c), text("cli_compare.ranking"))
        if c.order_probability is not None:
            yield Words(text("cli_compare.order", percent=f"{100 * c.order_probability:.0f}"))
        for words in c.warnings:
            yield Words(words, "note")
        yield Words(c.method, "method")


def _inspection(p: Publication) -> Iterator[Block]:
    for i in p.inspections:
        yield Heading(f"{i.of}, {i.dated}", i.by)
        lines = [
            (
                s.part,
                " ".join(
                    x
                    for x in (s.note, s.marking, *(f"{k}: {v}" for k, v in s.measured.items()))
                    if x
                ),
            )
            for s in i.seen
        ]
        lines += list(i.handling.items())
        if lines:
            yield Facts(tuple(lines))
        if i.note:
            yield Words(i.note)
        if i.changes:
            yield Bullets(tuple(_t("change", what=what, undo=undo) for what, undo in i.changes))
    for photo in p.photos:
        if not (photo.of == p.instrument and photo.caption == photo.of):
            yield Picture(photo)
    yield from _gaps(p, "inspection")


def _things(p: Publication) -> Iterator[Block]:
    yield from _gaps(p, "things")
    for item in p.items:
        if item.name == p.instrument and item.kind == "instrument":
            continue
        yield Heading(item.name, item.kind)
        yield Facts(tuple(item.facts.items()))
        for words in item.missing:
            yield Words(words, "gap")


def _runs(p: Publication) -> Iterator[Block]:
    yield from _gaps(p, "runs")
    if not p.runs:
        return
    yield Words(_t("runs_about"))
    yield Table(tables.runs(p), _t("runs"), small=True)
    unread = [
        t for t in p.tallies if t.counts is None and t.rate is None and t.shown is None and t.how
    ]
    for t in unread:
        yield Words(f"{t.run}: {t.how}", "gap")
    sums = tables.checksums(p)
    if sums.rows:
        yield Heading(_t("checksums"))
        yield Words(_t("checksums_about"))
        yield Table(sums, _t("checksums"), small=True)


def _limits(p: Publication) -> Iterator[Block]:
    yield Bullets(p.limitations)
    yield Heading(_t("cautions"))
    yield Bullets(p.cautions)
