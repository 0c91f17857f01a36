"""Kit items and records to and from the text that is stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from counterproof.errors import UserError
from counterproof.kit import Inspection, KitItem
from counterproof.records import Record
from counterproof.texts import text

Item = KitItem | Record
T = TypeVar("T", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Indexed:
    """What the database keeps in columns beside an item's text."""

    kind: str
    id: str
    instrument: str | None
    started_utc: str | None
    body: str


def kind_of(cls: type[BaseModel]) -> str:
    """Return the name under which a class is stored: ``"tube"``, ``"run"``, …"""
    if issubclass(cls, KitItem):
        return cls.table
    return str(cls.model_fields["kind"].default)


def id_of(item: BaseModel) -> str:
    """Return the name of a kit item or the id of a record (may be empty)."""
    return item.name if isinstance(item, KitItem) else str(getattr(item, "id", ""))


def encode(item: BaseModel) -> Indexed:
    """Return the item's text (TOML for kit items, JSON for records) with its columns."""
    if isinstance(item, KitItem):
        instrument = item.of if isinstance(item, Inspection) else None
        body = item.dumps()
    else:
        instrument = getattr(item, "instrument", None)
        body = item.model_dump_json()
    started: Any = getattr(item, "started_utc", None)
    return Indexed(
        kind_of(type(item)),
        id_of(item),
        instrument if isinstance(instrument, str) else None,
        None if started is None else started.isoformat(),
        body,
    )


def decode(cls: type[T], name: str, body: str) -> T:
    """Return the item that ``body`` holds.

    Raises:
        UserError: if it does not fit the class any more, for example because a newer version
            wrote it.
    """
    if issubclass(cls, KitItem):
        return cls.loads(body, name)
    try:
        return cls.model_validate_json(body)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(p) for p in first["loc"])
        raise UserError(
            text("bench.bad_record", kind=kind_of(cls), id=name, place=place, reason=first["msg"])
        ) from None
