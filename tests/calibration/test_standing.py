"""The line between a check and a calibration: types and sentences hold it."""

import datetime as dt

import pytest
from pydantic import ValidationError

from counterproof.calibration import says
from counterproof.records import Measured
from counterproof.records.calibration import (
    Band,
    Calibration,
    CalibrationLevel,
    Link,
    Standing,
    Validity,
    standing_of,
)

TRACEABLE = Link(
    name="Wren",
    role="reference counter",
    certificate="laboratory 12, no. 345 (invented)",
    dated=dt.date(2026, 1, 10),
    relative_u=0.03,
    traceable=True,
)
SOURCE = Link(name="disc", role="check source", relative_u=0.05, why_not="no certificate")
WREN = Link(name="Wren", role="reference counter", relative_u=0.05, why_not="not traceable")


def record(standing: Standing, links: tuple[Link, ...] = (), misfit: bool = False) -> Calibration:
    one = Measured(value=1.25, low=1.1, high=1.4, u=0.07)
    return Calibration(
        instrument="Lantern",
        signal="display",
        standing=standing,
        links=links,
        misfit=misfit,
        model="one factor",
        bands=(Band(name="everywhere", factor=one, expanded_percent=12.0),),
        levels=(CalibrationLevel(label="a", shown=one),),
        validity=Validity(nuclides=("Cs-137",)),
    )


def test_what_may_be_said_follows_from_the_links() -> None:
    assert standing_of((), misfit=False) == "relative only"
    assert standing_of((SOURCE,), misfit=False) == "checked, not traceable"
    assert standing_of((TRACEABLE, SOURCE), misfit=False) == "checked, not traceable"
    assert standing_of((TRACEABLE,), misfit=False) == "calibrated, traceable"
    assert standing_of((TRACEABLE,), misfit=True) == "checked, not traceable"


@pytest.mark.parametrize(
    ("standing", "links", "misfit"),
    [
        ("calibrated, traceable", (), False),
        ("calibrated, traceable", (SOURCE,), False),
        ("calibrated, traceable", (TRACEABLE, WREN), False),
        ("calibrated, traceable", (TRACEABLE,), True),
        ("checked, not traceable", (), False),
    ],
)
def test_a_record_that_claims_more_cannot_be_made(
    standing: Standing, links: tuple[Link, ...], misfit: bool
) -> None:
    with pytest.raises(ValidationError, match="may not be called"):
        record(standing, links, misfit)


@pytest.mark.parametrize("missing", ["certificate", "dated", "relative_u"])
def test_a_link_without_proof_is_not_traceable(missing: str) -> None:
    given = TRACEABLE.model_dump()
    given[missing] = "" if missing == "certificate" else None
    with pytest.raises(ValidationError, match="traceable"):
        Link.model_validate(given)


def test_the_sentences_never_say_calibrated_of_a_check() -> None:
    for links in ((), (SOURCE,), (WREN,), (SOURCE, WREN)):
        told = " ".join(says(record(standing_of(links, misfit=False), links)))
        assert "calibrated" not in told
        assert "traceable" not in told.replace("no traceable", "").replace("not traceable", "")
    assert "checked with a check source" in says(record("checked, not traceable", (SOURCE,)))[0]
    assert "relative findings only" in says(record("relative only"))[0]
    assert "dose rate" not in " ".join(says(record("relative only"))[1:])
    assert (
        "calibrated, traceable through Wren"
        in says(record("calibrated, traceable", (TRACEABLE,)))[0]
    )


def test_a_record_comes_back_from_its_text() -> None:
    found = record("checked, not traceable", (SOURCE,))
    assert Calibration.model_validate_json(found.to_json()) == found
