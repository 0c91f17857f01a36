"""The questions of kit add."""

import datetime as dt
from typing import Any

import pytest

from counterproof.errors import UserError
from counterproof.kit import KINDS, Instrument, Source, Tube, loads_item
from counterproof.kit.questions import Question, build, check, questions


def _walk(kind: str, replies: dict[str, str]) -> dict[str, Any]:
    answers: dict[str, Any] = {}
    for question in questions(kind):
        if question.applies(answers):
            assert question.prompt(kind).endswith("?")
            answers[question.key] = check(question, replies.get(question.key, ""))
    return answers


def test_a_source_is_asked_for() -> None:
    replies = {"name": "caesium disc", "nuclide": "cs137", "activity": "9.2 kBq"}
    replies |= {"reference_date": "2021-03-01", "form": "disc", "diameter_mm": "5"}
    replies |= {"activity_uncertainty": "10", "cover.material": "PMMA"}
    replies |= {"cover.thickness_mm": "0.5 mm"}
    source = build("source", _walk("source", replies))
    assert isinstance(source, Source)
    assert source.nuclide == "Cs-137"
    assert source.reference_date == dt.date(2021, 3, 1)
    assert source.activity_u_bq == pytest.approx(920.0)
    assert source.cover[0].thickness_mm is not None
    assert loads_item(source.dumps()) == source


def test_a_tube_needs_only_diameter_and_length() -> None:
    replies = {"name": "x", "outer_diameter_mm": "9.5..10.5 mm", "length_mm": "9 cm"}
    tube = build("tube", _walk("tube", replies))
    assert isinstance(tube, Tube)
    assert tube.outer_diameter_mm is not None
    assert tube.outer_diameter_mm.low == 9.5
    assert tube.length_mm is not None
    assert tube.length_mm.middle == 90.0
    assert tube.wall is None


def test_an_instrument_with_display_and_factor() -> None:
    replies = {"name": "Wren", "role": "ref", "display.quantum": "0,01"}
    replies |= {"setting.unit": "cpm/(uSv/h)", "setting.low": "60", "setting.high": "300"}
    wren = build("instrument", _walk("instrument", replies))
    assert isinstance(wren, Instrument)
    assert wren.role == "reference"
    assert wren.display[0].quantum == 0.01
    assert wren.factors[0].high == 300


@pytest.mark.parametrize("kind", KINDS)
def test_every_question_has_its_prompt_and_a_place(kind: str) -> None:
    fields = KINDS[kind].model_fields
    for question in questions(kind):
        assert question.prompt(kind)
        assert question.key.split(".")[0] in fields
        if question.default:
            check(question, "")


def test_dependent_questions_wait_for_their_cause() -> None:
    asked = _walk("source", {"name": "x", "nuclide": "K-40"})
    assert "reference_date" not in asked
    assert "diameter_mm" not in asked


@pytest.mark.parametrize(
    ("question", "reply", "said"),
    [
        (Question("name", required=True), "  ", "needed"),
        (
            Question("form", "choice", choices=("slim", "pancake")),
            "pancke",
            "did you mean 'pancake'",
        ),
        (Question("date", "date"), "31.1.2026", "not a date"),
        (Question("d", "span", unit="mm"), "5 V", "a voltage"),
        (Question("v", "quantity", unit="V"), "-5 V", "greater than 0"),
        (Question("s", "sensitivity"), "20 cps", "not a sensitivity"),
        (Question("m", "material"), "Tim", "no material"),
        (Question("n", "nuclide"), "caesium", "no nuclide"),
        (Question("q", "share"), "120 %", "between 0 and 1"),
        (Question("setting.unit", "unit"), "cpm", "a sensitivity"),
    ],
)
def test_wrong_answers_get_a_sentence(question: Question, reply: str, said: str) -> None:
    with pytest.raises(UserError, match=said):
        check(question, reply)
