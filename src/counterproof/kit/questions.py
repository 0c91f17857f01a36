"""The questions that ``kit add`` asks, as data that a terminal and a page can share.

A face walks through ``questions("tube")``, asks those whose ``when`` holds for the answers so
far, checks each answer with :func:`check` (asking again on a sentence), and hands the lot to
:func:`build`. Optional questions may be answered with nothing.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from counterproof.errors import UserError
from counterproof.kit.base import KitItem
from counterproof.kit.fields import nuclide_name, nuclide_or_material, uncertainty_of
from counterproof.kit.kinds import KINDS
from counterproof.quantities import (
    conversion_factor,
    parse_number,
    parse_quantity,
    parse_range,
    parse_sensitivity,
)
from counterproof.texts import text

Form = Literal[
    "text", "quantity", "span", "number", "choice", "date", "nuclide", "material",
    "sensitivity", "share", "unit",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Args:
        key: dotted place of the answer in the item, such as ``"gas.radius_mm"``.
        form: what kind of answer is wanted.
        required: whether it may be left unanswered.
        unit: unit of a quantity or span.
        choices: of a choice.
        default: taken when nothing is answered.
        when: ``(key, answers)``: asked only if ``key`` was given one of ``answers``; with no
            answers listed, only if it was answered at all.
    """

    key: str
    form: Form = "text"
    required: bool = False
    unit: str = ""
    choices: tuple[str, ...] = ()
    default: str = ""
    when: tuple[str, tuple[str, ...]] | None = None

    def prompt(self, kind: str) -> str:
        """Return the sentence to ask."""
        return text(f"kit.ask.{kind}.{self.key.replace('.', '_')}")

    def applies(self, answers: Mapping[str, Any]) -> bool:
        """Whether to ask it after ``answers``."""
        if self.when is None:
            return True
        key, wanted = self.when
        given = answers.get(key)
        return given not in (None, "") and (not wanted or given in wanted)


Q = Question
_QUESTIONS: dict[str, tuple[Question, ...]] = {
    "instrument": (
        Q("name", required=True),
        Q("description"),
        Q("role", "choice", choices=("under test", "reference", "other"), default="other"),
        Q("tube"),
        Q("supply.voltage", "quantity", unit="V"),
        Q(
            "display.quantity",
            "choice",
            choices=("dose_rate", "count_rate", "dose", "counts"),
            default="dose_rate",
        ),
        Q("display.unit", "unit", default="µSv/h", when=("display.quantity", ())),
        Q("display.quantum", "number", when=("display.quantity", ())),
        Q("readout.refresh_s", "span", unit="s"),
        Q("readout.clicks", "choice", choices=("loudspeaker", "piezo", "lamp", "none")),
        Q("setting.unit", "unit"),
        Q("setting.low", "number", when=("setting.unit", ())),
        Q("setting.high", "number", when=("setting.unit", ())),
        Q("setting.step", "number", when=("setting.unit", ())),
        Q("setting.value", "number", when=("setting.unit", ())),
        Q("battery.capacity", "quantity", unit="mAh"),
    ),
    "tube": (
        Q("name", required=True),
        Q("form", "choice", choices=("slim", "pancake"), default="slim"),
        Q("construction", "choice", choices=("thin metal", "thick metal", "glass", "mica window")),
        Q("outer_diameter_mm", "span", required=True, unit="mm"),
        Q("length_mm", "span", required=True, unit="mm"),
        Q("wall.material", "material"),
        Q("wall.thickness_mm", "span", unit="mm", when=("wall.material", ())),
        Q("gas.fill"),
        Q("gas.pressure_kpa", "span", unit="kPa", when=("gas.fill", ())),
        Q("window.material", "material", when=("construction", ("mica window",))),
        Q(
            "window.areal_density_mg_cm2",
            "span",
            required=True,
            unit="mg/cm²",
            when=("window.material", ()),
        ),
        Q("window.radius_mm", "span", unit="mm", when=("window.material", ())),
        Q("datasheet.sensitivity", "sensitivity"),
        Q("datasheet.nuclide", "nuclide", when=("datasheet.sensitivity", ())),
        Q("datasheet.dead_time_us", "span", unit="µs"),
        Q("datasheet.recommended_v", "span", unit="V"),
        Q("datasheet.source", when=("datasheet.sensitivity", ())),
    ),
    "probe": (
        Q("name", required=True),
        Q("description"),
        Q("tube", required=True),
        Q("anode_resistor", "quantity", unit="MΩ"),
        Q("resistor_at", "choice", choices=("tube", "box"), default="tube"),
        Q("cable.length", "quantity", unit="cm"),
        Q("cable.kind", when=("cable.length", ())),
        Q("cable.capacitance_pf_per_m", "span", unit="pF/m", when=("cable.length", ())),
    ),
    "source": (
        Q("name", required=True),
        Q("nuclide", "nuclide", required=True),
        Q("activity", "quantity", unit="kBq"),
        Q("activity_uncertainty", "share", when=("activity", ())),
        Q("reference_date", "date", required=True, when=("activity", ())),
        Q("form", "choice", choices=("point", "disc", "line", "cylinder"), default="point"),
        Q("diameter_mm", "span", required=True, unit="mm", when=("form", ("disc", "cylinder"))),
        Q("length_mm", "span", required=True, unit="mm", when=("form", ("line", "cylinder"))),
        Q("cover.material", "material"),
        Q("cover.thickness_mm", "span", required=True, unit="mm", when=("cover.material", ())),
        Q("composition.equilibrium", "choice", choices=("none", "short-lived", "full")),
        Q("composition.radon_retention", "share"),
    ),
    "position": (
        Q("name", required=True),
        Q("description"),
        Q("distance", "quantity", unit="cm"),
        Q("distance_uncertainty", "quantity", unit="mm", when=("distance", ())),
        Q("angle_deg", "span", unit="°"),
        Q("absorber.material", "material"),
        Q("absorber.thickness_mm", "span", True, "mm", when=("absorber.material", ())),
    ),
    "inspection": (
        Q("name", required=True),
        Q("of", required=True),
        Q("date", "date", required=True),
        Q("by"),
        Q("note"),
        Q("handling.legibility"),
        Q("handling.loudness"),
        Q("handling.keys"),
        Q("change.what"),
        Q("change.undo", required=True, when=("change.what", ())),
    ),
}

# Tables of which an item may have several; the questions fill the first.
LISTED = {"display", "setting", "cover", "absorber", "change"}
_FIXED = {"setting": {"kind": "factor"}}


def questions(kind: str) -> tuple[Question, ...]:
    """Return the questions of a kind (a key of ``KINDS``), in order."""
    return _QUESTIONS[kind]


def check(question: Question, answer: str) -> Any:
    """Return the answer as it goes into the item; ``None`` for an optional one left empty.

    A span or a quantity typed without its unit is taken in the question's unit.

    Raises:
        UserError: one sentence, to be shown before asking again.
    """
    given = answer.strip() or question.default
    if not given:
        if question.required:
            raise UserError(text("kit.answer_needed"))
        return None
    return _READERS.get(question.form, _text)(question, given)


def build(kind: str, answers: Mapping[str, Any]) -> KitItem:
    """Make the item from checked answers by key; ``None`` is left out.

    Raises:
        UserError: if the answers contradict each other.
    """
    body: dict[str, Any] = {}
    for question in questions(kind):
        value = answers.get(question.key)
        if value is None or not question.applies(answers):
            continue
        table, _, key = question.key.rpartition(".")
        if not table:
            body[key] = value
        elif table in LISTED:
            first = body.setdefault(table, [dict(_FIXED.get(table, {}))])[0]
            first[key] = value
        else:
            body.setdefault(table, {})[key] = value
    return KINDS[kind].from_dict(body)


def _text(question: Question, given: str) -> str:
    return given


def _quantity(question: Question, given: str) -> str:
    given = _with_unit(question, given)
    if not parse_quantity(given, question.unit) > 0:
        raise UserError(text("kit.must_exceed", given=given, bound=0) + ".")
    return given


def _span(question: Question, given: str) -> str | float:
    given = _with_unit(question, given)
    low, high = parse_range(given, question.unit)
    return low if low == high else given


def _with_unit(question: Question, given: str) -> str:
    return f"{given} {question.unit}" if given[-1:].isdigit() else given


def _number(question: Question, given: str) -> float:
    return parse_number(given)


def _choice(question: Question, given: str) -> str:
    starts = [c for c in question.choices if c.lower().startswith(given.lower())]
    if given in question.choices:
        return given
    if len(starts) == 1:
        return starts[0]
    near = difflib.get_close_matches(given, question.choices, n=1, cutoff=0.5)
    hint = text("kit.hint", nearest=near[0]).rstrip("?") + "?" if near else ""
    listed = ", ".join(question.choices)
    raise UserError(text("kit.answer_choice", given=given, choices=listed, hint=hint).rstrip("."))


def _date(question: Question, given: str) -> dt.date:
    try:
        return dt.date.fromisoformat(given)
    except ValueError:
        raise UserError(text("kit.answer_date", given=given)) from None


def _nuclide(question: Question, given: str) -> str:
    return nuclide_or_material(given) if question.key == "nuclide" else nuclide_name(given)


def _material(question: Question, given: str) -> str:
    from counterproof.physics.materials import material

    material(given)
    return given


def _sensitivity(question: Question, given: str) -> str:
    parse_sensitivity(given, "")
    return given


def _share(question: Question, given: str) -> str:
    if question.key == "activity_uncertainty":
        given = f"{given} %" if given[-1:].isdigit() else given
        uncertainty_of(given, 1.0, "Bq")
        return given
    value = parse_number(given) if given[-1:].isdigit() else parse_quantity(given, "")
    if not 0.0 <= value <= 1.0:
        raise UserError(text("kit.not_share", given=given) + ".")
    return given


def _unit(question: Question, given: str) -> str:
    conversion_factor(given, given)
    if question.key == "setting.unit":
        conversion_factor(given, "cpm/(µSv/h)")
    return given


_READERS = {
    "quantity": _quantity,
    "span": _span,
    "number": _number,
    "choice": _choice,
    "date": _date,
    "nuclide": _nuclide,
    "material": _material,
    "sensitivity": _sensitivity,
    "share": _share,
    "unit": _unit,
}
