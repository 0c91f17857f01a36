"""Describe and change what lies on the bench through the kit's questions, as a page does."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import KINDS, KitItem
from counterproof.kit.questions import LISTED, build, check, questions
from counterproof.texts import text


def kind_named(name: str) -> type[KitItem]:
    """Return the class of a kind such as ``"tube"``.

    Raises:
        UserError: if there is no such kind.
    """
    if name not in KINDS:
        raise UserError(text("workshop.no_such_kind", given=name, known=", ".join(KINDS)))
    return KINDS[name]


def answers_of(item: KitItem) -> dict[str, str]:
    """Return what an item would answer to the questions of its kind, as one types it."""
    found = {}
    body = item.to_dict()
    for question in questions(item.table):
        value = _at(body, question.key)
        if value is not None:
            found[question.key] = str(value)
        elif question.default and question.key in type(item).model_fields:
            found[question.key] = str(getattr(item, question.key))
    return found


def described(
    kind: str, typed: Mapping[str, str], before: KitItem | None = None
) -> tuple[KitItem | None, dict[str, str]]:
    """Return the item that answers describe, or what is wrong with which answer.

    Args:
        kind: a key of ``KINDS``.
        typed: answers by the question's key; missing ones count as empty.
        before: the item as it was; what no question asks for is kept of it.

    Returns:
        The item and no problems, or ``None`` and a sentence by question (``""``: the whole).
    """
    answers: dict[str, Any] = {}
    problems: dict[str, str] = {}
    for question in questions(kind):
        if not question.applies(answers):
            continue
        try:
            answers[question.key] = check(question, typed.get(question.key, ""))
        except UserError as error:
            problems[question.key] = error.message
    if problems:
        return None, problems
    try:
        item = build(kind, answers)
        return (item if before is None else _merged(kind, item, before)), {}
    except UserError as error:
        return None, {"": error.message}


def _merged(kind: str, item: KitItem, before: KitItem) -> KitItem:
    """Put the answers over what was there, so that nothing unasked gets lost."""
    old, new = before.to_dict(), item.to_dict()
    for question in questions(kind):
        table, _, key = question.key.rpartition(".")
        value = _at(new, question.key)
        if not table:
            _put(old, key, value)
            continue
        inner = old.get(table)
        if table in LISTED:
            entries = [dict(e) for e in inner or ()]
            if not entries and value is not None:
                entries = [dict(new[table][0])]
            if entries:
                _put(entries[0], key, value)
                old[table] = entries if _asked(entries[0]) else entries[1:]
        else:
            part = dict(inner or {})
            _put(part, key, value)
            old[table] = part
    old = {k: v for k, v in old.items() if v not in ({}, [], ())}
    return KINDS[kind].from_dict(old)


def _asked(entry: Mapping[str, Any]) -> bool:
    """Whether the first entry of a list still says anything."""
    return any(value not in (None, "") for key, value in entry.items() if key != "kind")


def _put(body: dict[str, Any], key: str, value: Any) -> None:
    if value is None:
        body.pop(key, None)
    else:
        body[key] = value


def _at(body: Mapping[str, Any], key: str) -> Any:
    here: Any = body
    for part in key.split("."):
        if isinstance(here, list | tuple):
            here = here[0] if here else None
        if not isinstance(here, Mapping):
            return None
        here = here.get(part)
    return here


def store(bench: Bench, item: KitItem, before: KitItem | None = None) -> None:
    """Put an item on the bench, or its changed description.

    Raises:
        UserError: if the name is taken, or the disk refuses.
    """
    if before is None:
        bench.add(item)
        return
    if item.name != before.name:
        raise UserError(text("workshop.no_renaming", name=before.name))
    bench.amend(item)
