"""The dossier page: whole, self-contained, the same each time, and honest about gaps."""

import re
from datetime import UTC, datetime
from html.parser import HTMLParser

from counterproof.dossier import build_html
from counterproof.dossier.shown import grids, value
from counterproof.records import (
    Chart,
    Criterion,
    Finding,
    Judgement,
    Measured,
    NextMeasurement,
    Outcome,
    Publication,
    Rival,
    Row,
    Run,
    Series,
    Signal,
)

RATIO = Measured(value=0.6, low=0.5, high=0.7, u=0.05, counts=400)


def publication() -> Publication:
    criterion = Criterion(name="grade", statement="within a fifth", source="ours", high=1.2)
    outcome = Outcome(
        trial="source response",
        instrument="Lantern",
        verdict="not met",
        statement="it shows 0.6 <of> what it should",
        runs=("r1",),
        judgements=(
            Judgement(
                quantity="ratio",
                measured=RATIO,
                criterion=criterion,
                verdict="not met",
                statement="ratio does not meet it",
            ),
        ),
        table=(Row(label="caesium disc", instrument="Lantern", values={"rate": RATIO}),),
        charts=(
            Chart(
                question="Does it & show?",
                x_title="x",
                y_title="y",
                series=(Series(name="a", x=(0.0, 1.0), y=(1.0, 2.0)),),
            ),
        ),
        warnings=("a background run is missing",),
        method="net rates",
    )
    finding = Finding(
        instrument="Lantern",
        subject="factor",
        statement="two factors",
        runs=("r1",),
        strength="strong",
        log10_bayes_factor=1.7,
        refuted_by="A ladder with one factor.",
        measured=RATIO,
        rivals=(
            Rival(statement="one factor", set_aside_because="It explains less."),
            Rival(statement="the source was moved"),
        ),
        next_measurement=NextMeasurement(
            what="A level in between.", minutes=12.0, separates="One factor from two."
        ),
        missing=("the switch is wide",),
    )
    run = Run(
        id="r1",
        instrument="Lantern",
        started_utc=datetime(2026, 3, 14, tzinfo=UTC),
        duration_s=60,
        signals=(Signal(form="pulse_train", file="pulses/r1", sha256="ab" * 32, count=12),),
    )
    return Publication(
        title="Lantern on the bench",
        instrument="Lantern",
        built_utc=datetime(2026, 3, 15, tzinfo=UTC),
        version="0",
        invented=True,
        verdict="not met",
        summary=("it shows too little",),
        profile="grade_b",
        outcomes=(outcome,),
        questions={"source response": "Does it?"},
        findings=(finding,),
        runs=(run,),
        missing=("no photo",),
        limitations=("one unit",),
        cautions=("no protection instrument",),
    )


class Balance(HTMLParser):
    """Checks that every element is closed."""

    VOID = frozenset({"meta", "br", "link", "img"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [v for k, v in attrs if k == "id" and v]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag


def test_the_page_is_whole_and_self_contained() -> None:
    page = build_html(publication())
    check = Balance()
    check.feed(page)
    assert check.open == []
    assert len(check.ids) == len(set(check.ids))
    outside = re.findall(r"(?:src|href)\s*=\s*\"(?!#|data:)[^\"]+\"|url\((?!data:)", page)
    assert outside == []
    assert "<script" not in page


def test_everything_that_was_found_stands_in_it() -> None:
    page = build_html(publication())
    for words in (
        "Lantern on the bench",
        "An invented example",
        "not met",
        "It shows 0.6 &lt;of&gt; what it should",
        "a background run is missing",
        "Two factors",
        "ab" * 32,
        "no photo",
        "no protection instrument",
        "Does it &amp; show?",
    ):
        assert words in page, words


def test_the_same_content_gives_the_same_bytes() -> None:
    assert build_html(publication()) == build_html(publication())


def test_cells_are_printed_by_their_uncertainty() -> None:
    assert value(RATIO) == "0.600 ± 0.050"
    assert value(None) == "–"
    assert value(12345) == "12\u2009345"
    assert value(0.25) == "0.250"
    assert value(Measured(value=2.0, u=0.1, low=1.8, high=2.2, unit="1/s")) == "2.00 ± 0.10 s⁻¹"


def test_rows_that_share_a_column_stand_in_one_table() -> None:
    rows = [
        Row(label="Lantern", instrument="Lantern", values={"rate": 1, "rate, from": "clicks"}),
        Row(label="Wren", instrument="Wren", values={"rate": 2, "dose": 3}),
        Row(label="limits", instrument="Lantern", values={"threshold": 4}),
    ]
    first, second = grids(rows)
    assert first.columns == ("", "rate", "dose")
    assert first.rows[0] == ("Lantern", "1 (clicks)", "–")
    assert second.columns[2] == "threshold"
