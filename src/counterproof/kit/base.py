"""What every kit file shares: strict keys, hand-writable TOML, one sentence for what is wrong.

A kit file holds one table named after what it describes (``[tube]``, ``[source]``, …).
Values that people type with a unit stay as they were written, so that a file read and written
again means, and says, the same.
"""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, ValidationError

from counterproof.errors import UserError
from counterproof.kit.lines import line_of
from counterproof.safefile import atomic_write
from counterproof.texts import text


class KitPart(BaseModel):
    """A table inside a kit file: strict and frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)


class KitItem(KitPart):
    """A thing that lies on the bench, described by one TOML file.

    Subclasses set ``table`` to the name of their top-level table and have a ``name``.
    """

    table: ClassVar[str] = ""

    name: str

    @classmethod
    def loads(cls, content: str, origin: str = "") -> Self:
        """Read an item from TOML text; ``origin`` names it in error sentences.

        Raises:
            UserError: one sentence naming place, key and line, for the first things wrong.
        """
        origin = origin or text("kit.typed")
        data = parse_toml(content, origin)
        if cls.table not in data or len(data) != 1:
            found = ", ".join(f"[{k}]" for k in data) or text("kit.nothing")
            raise UserError(text("kit.wrong_table", origin=origin, table=cls.table, found=found))
        return cls.from_dict(data[cls.table], origin, content)

    @classmethod
    def from_dict(cls, data: dict[str, Any], origin: str = "", content: str = "") -> Self:
        """Build an item from the contents of its table.

        Raises:
            UserError: as :meth:`loads`.
        """
        try:
            return cls.model_validate(data)
        except ValidationError as error:
            origin = origin or text("kit.typed")
            raise UserError(explain(error, cls, origin, content)) from None

    @classmethod
    def load(cls, path: Path) -> Self:
        """Read an item from a TOML file.

        Raises:
            UserError: if the file cannot be read or something in it is wrong.
        """
        return cls.loads(read_text(path), str(path))

    def to_dict(self) -> dict[str, Any]:
        """Return the table's contents, without what was left out."""
        return self.model_dump(mode="python", exclude_defaults=True, by_alias=True) | {
            "name": self.name
        }

    def dumps(self) -> str:
        """Return the item as TOML text."""
        import tomli_w  # late: only writers need it

        body = self.to_dict()
        ordered = {k: body[k] for k in type(self).model_fields if k in body}
        return tomli_w.dumps({self.table: ordered})

    def save(self, path: Path) -> None:
        """Write the item to a file: all of it or nothing.

        Raises:
            UserError: if the place cannot be written.
        """
        with atomic_write(path, make_folder=True) as stream:
            stream.write(self.dumps().encode())


def read_text(path: Path) -> str:
    """Return the text of a file.

    Raises:
        UserError: if it is missing, a folder, not permitted or not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise UserError(text("kit.no_file", path=path)) from None
    except UnicodeDecodeError:
        raise UserError(text("kit.not_text", path=path)) from None
    except OSError as error:
        raise UserError(text("kit.unreadable", path=path, reason=error.strerror)) from None


def parse_toml(content: str, origin: str) -> dict[str, Any]:
    """Return TOML as a dictionary.

    Raises:
        UserError: with the parser's line, if it is no TOML.
    """
    try:
        return tomllib.loads(content)
    except tomllib.TOMLDecodeError as error:
        raise UserError(text("kit.not_toml", origin=origin, reason=error)) from None


def explain(error: ValidationError, model: type[KitItem], origin: str, content: str = "") -> str:
    """Turn pydantic's findings into one sentence about the first of them.

    A second problem is added when both are short; more are counted.
    """
    problems = error.errors(include_url=False)
    said = [_problem(p, model, content) for p in problems]
    sentence = f"{origin}: {said[0]}"
    rest = len(said) - 1
    if rest == 1 and len(said[0]) + len(said[1]) < 160:
        sentence += f"; {said[1]}"
    elif rest:
        sentence += text("kit.more", n=rest)
    return sentence if sentence.endswith("?") else f"{sentence}."


def _problem(problem: Any, model: type[KitItem], content: str) -> str:
    location = tuple(x for x in problem["loc"] if isinstance(x, int) or "[" not in x)
    key = str(location[-1]) if location else model.table
    where = _where(location, model, content)
    context = problem.get("ctx", {})
    kind = problem["type"]
    if kind == "extra_forbidden":
        known = _keys_at(model, location[:-1])
        near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
        if near:
            return text("kit.unknown_key", where=where, key=key, nearest=near[0])
        return text("kit.unknown_key_list", where=where, key=key, known=", ".join(known))
    if kind == "missing":
        return text("kit.missing", where=where, key=key)
    if kind == "value_error" and isinstance(problem["input"], (dict, BaseModel)):
        where = _where((*location, ""), model, content)  # it concerns the table as a whole
        return text("kit.table_problem", where=where, reason=str(context["error"]).rstrip("."))
    if kind == "value_error":
        return text("kit.problem", where=where, key=key, reason=str(context["error"]).rstrip("."))
    if kind == "literal_error":
        expected = context["expected"]
        near = difflib.get_close_matches(
            str(problem["input"]),
            [e.strip("' ") for e in expected.replace(" or ", ", ").split(",")],
        )
        hint = text("kit.hint", nearest=near[0]) if near else ""
        reason = text("kit.one_of", given=problem["input"], expected=expected, hint=hint)
        return text("kit.problem", where=where, key=key, reason=reason)
    bounds = {
        "greater_than": "gt",
        "greater_than_equal": "ge",
        "less_than": "lt",
        "less_than_equal": "le",
    }
    if kind in bounds:
        reason = text(f"kit.{kind}", given=problem["input"], bound=context[bounds[kind]])
    else:
        wanted = kind.split("_")[0]
        named = text(f"kit.type.{wanted}") if wanted in _TYPES else problem["msg"]
        reason = text("kit.wrong_type", given=problem["input"], wanted=named)
    return text("kit.problem", where=where, key=key, reason=reason)


_TYPES = {"string", "float", "int", "bool", "date", "list", "tuple", "dict", "model"}


def _where(location: tuple[int | str, ...], model: type[KitItem], content: str) -> str:
    """Name the table, the element and the line: ``[source.cover] 2 (line 9)``."""
    tables = [model.table]
    element = ""
    for part in location[:-1]:
        if isinstance(part, int):
            element = f" {part + 1}"
        else:
            tables.append(part)
            element = ""
    where = f"[{'.'.join(tables)}]{element}"
    line = line_of(content, (model.table, *location)) if content else None
    return f"{where} ({text('kit.line', n=line)})" if line else where


def _keys_at(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    """Return the keys that the table at ``location`` may have."""
    here: type[BaseModel] = model
    for part in location:
        if isinstance(part, int):
            continue
        field = here.model_fields.get(part)
        inner = _model_in(field.annotation) if field else None
        if inner is None:
            break
        here = inner
    return [f.alias or n for n, f in here.model_fields.items()]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Find the model inside ``X | None`` or ``tuple[X, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        found = _model_in(argument)
        if found is not None:
            return found
    return None
