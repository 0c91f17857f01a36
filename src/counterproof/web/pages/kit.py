"""What lies on the bench: list, describe, change, delete, and every state it was in."""

from __future__ import annotations

from starlette.responses import Response

from counterproof.errors import UserError
from counterproof.kit import KINDS, KitItem, Probe, Source, Tube
from counterproof.kit.questions import questions
from counterproof.texts import text
from counterproof.web.asking import Ask, link
from counterproof.workshop import kitwork
from counterproof.workshop.publishing import facts_of


def listing(ask: Ask) -> Response:
    """Everything, by kind."""
    groups = [
        (kind, [(i.name, _short(i)) for i in ask.bench.list(cls)]) for kind, cls in KINDS.items()
    ]
    return ask.page("kit.html.j2", groups=groups)


def _short(item: KitItem) -> str:
    facts = [f"{k} {v}" for k, v in facts_of(item).items() if k != "description"]
    described = getattr(item, "description", "")
    return described or ", ".join(facts[:3])


def item(ask: Ask) -> Response:
    """One thing: what is stated about it, and its history."""
    cls = kitwork.kind_named(ask.path("kind"))
    found = ask.bench.get(cls, ask.path("name"))
    return _shown(ask, found, found.dumps(), "")


def _shown(ask: Ask, found: KitItem, written: str, problem: str) -> Response:
    return ask.page(
        "item.html.j2",
        400 if problem else 200,
        item=found,
        kind=ask.path("kind"),
        facts=facts_of(found),
        written=written,
        history=ask.bench.history(type(found), found.name)[::-1],
        problem=problem,
    )


def _form(
    ask: Ask, answers: dict[str, str], problems: dict[str, str], before: KitItem | None
) -> Response:
    kind = ask.path("kind")
    kitwork.kind_named(kind)
    bench = ask.bench
    return ask.page(
        "kitform.html.j2",
        400 if problems else 200,
        kind=kind,
        questions=questions(kind),
        answers=answers,
        problems=problems,
        before=before,
        offers={"tube": bench.names(Tube), "source": bench.names(Source)}
        | {"of": [*bench.names(KINDS["instrument"]), *bench.names(Probe)]},
    )


def new(ask: Ask) -> Response:
    """Describe a thing."""
    return _form(ask, {}, {}, None)


def edit(ask: Ask) -> Response:
    """Change a description."""
    cls = kitwork.kind_named(ask.path("kind"))
    before = ask.bench.get(cls, ask.path("name"))
    return _form(ask, kitwork.answers_of(before), {}, before)


def add(ask: Ask) -> Response:
    """Put a thing on the bench."""
    return _store(ask, None)


def amend(ask: Ask) -> Response:
    """Store a changed description."""
    cls = kitwork.kind_named(ask.path("kind"))
    return _store(ask, ask.bench.get(cls, ask.path("name")))


def _store(ask: Ask, before: KitItem | None) -> Response:
    kind = ask.path("kind")
    kitwork.kind_named(kind)
    typed = {q.key: ask.typed(q.key) for q in questions(kind)}
    if before is not None:
        typed["name"] = before.name
    made, problems = kitwork.described(kind, typed, before)
    if made is not None:
        try:
            return _stored(ask, made, before)
        except UserError as error:
            problems = {"": error.message}
    return _form(ask, typed, problems, before)


def _stored(ask: Ask, made: KitItem, before: KitItem | None) -> Response:
    bench, cls = ask.bench, type(made)
    if before is None:
        sentence = text("web.kit.added", name=made.name)

        def back() -> None:
            bench.delete(cls, made.name)
    else:
        sentence = text("web.kit.changed", name=made.name)
        back = ask.desk.way_back(cls, before.name)
    kitwork.store(bench, made, before)
    told = ask.desk.remark(sentence, back)
    return ask.go(link("kit", ask.path("kind"), "item", made.name), told)


def amend_text(ask: Ask) -> Response:
    """Store a description as it was written by hand, in TOML."""
    cls = kitwork.kind_named(ask.path("kind"))
    before = ask.bench.get(cls, ask.path("name"))
    written = ask.typed("written")
    try:
        return _stored(ask, cls.loads(written), before)
    except UserError as error:
        return _shown(ask, before, written, error.message)


def delete(ask: Ask) -> Response:
    """Take a thing off the bench; its history stays."""
    cls, name = kitwork.kind_named(ask.path("kind")), ask.path("name")
    back = ask.desk.way_back(cls, name)
    ask.bench.delete(cls, name)
    return ask.go("/kit", ask.desk.remark(text("web.kit.deleted", name=name), back))


def restore(ask: Ask) -> Response:
    """Make an earlier state the present one."""
    kind, name = ask.path("kind"), ask.path("name")
    cls = kitwork.kind_named(kind)
    back = ask.desk.way_back(cls, name)
    number = ask.typed("revision")
    if not number.isdigit():
        raise UserError(text("web.not_so"))
    ask.bench.restore(cls, name, int(number))
    told = ask.desk.remark(text("web.kit.restored", name=name, number=number), back)
    return ask.go(link("kit", kind, "item", name), told)
