"""The JSON schemas in docs/schema are those of the records, and the records obey them."""

import json
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest
from pydantic import ValidationError

from counterproof.quantities import Estimate
from counterproof.records import Criterion, Measured, PulsesReport, Record, Run, Series
from counterproof.records.outcome import worst
from counterproof.records.schema import schemas, write

FOLDER = Path(__file__).parents[2] / "docs" / "schema"


def test_written_schemas_are_current() -> None:
    wanted = schemas()
    assert {p.stem for p in FOLDER.glob("*.json")} == set(wanted)
    for kind, schema in wanted.items():
        assert json.loads((FOLDER / f"{kind}.json").read_text(encoding="utf-8")) == schema, (
            f"{kind}.json is out of date: run 'make schema' and raise schema_version if a field "
            "changed its meaning"
        )


def test_write_removes_schemas_of_records_that_are_gone(tmp_path: Path) -> None:
    (tmp_path / "gone.json").write_text("{}")
    write(tmp_path)
    assert not (tmp_path / "gone.json").exists()
    assert (tmp_path / "run.json").exists()


def test_every_kind_carries_its_name_and_version() -> None:
    for kind, record in Record.registry.items():
        assert record.model_fields["kind"].default == kind
        assert record.model_fields["schema_version"].default >= 1


def test_a_report_obeys_its_schema_and_comes_back() -> None:
    report = PulsesReport(
        file="a.wav",
        count=0,
        duration_s=10.0,
        live_s=10.0,
        rate_per_s=Measured.of(Estimate(0.0, float("inf"), 0.0, float("inf"), unit="1/s")),
        resolving_time_s=0.002,
        efficiency=1.0,
        efficiency_u=0.0,
        false_rate_per_s=0.0,
        times_s=[],
        warnings=["nothing"],
    )
    data = json.loads(report.to_json())
    jsonschema.validate(data, schemas()["pulses"])
    assert data["rate_per_s"]["high"] is None  # JSON has no infinity
    assert PulsesReport.model_validate(data) == report


def test_measured_gives_back_its_estimate() -> None:
    e = Estimate(1.0, 0.1, 0.8, 1.2, 0.9, "µSv/h", 100, "by hand")
    assert Measured.of(e).estimate() == e


def test_a_run_needs_a_zone_and_is_kept_in_utc() -> None:
    from datetime import timedelta, timezone

    with pytest.raises(ValidationError, match="time zone"):
        Run(id="a", instrument="Wren", started_utc=datetime(2026, 3, 1), duration_s=1)  # noqa: DTZ001
    east = datetime(2026, 3, 1, 12, tzinfo=timezone(timedelta(hours=2)))
    run = Run(id="a", instrument="Wren", started_utc=east, duration_s=1)
    assert run.started_utc == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert run.is_background


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValidationError, match="lower or an upper"):
        Criterion(name="n", statement="s", source="x")
    with pytest.raises(ValidationError, match="exceeds"):
        Criterion(name="n", statement="s", source="x", low=2, high=1)
    with pytest.raises(ValidationError, match="different lengths"):
        Series(name="a", x=(1.0,), y=(1.0, 2.0))


@pytest.mark.parametrize(
    "verdicts,expected",
    [
        (["met", "not met", "cannot tell yet"], "not met"),
        (["met", "cannot tell yet"], "cannot tell yet"),
        (["met", "no criterion"], "met"),
        ([], "no criterion"),
    ],
)
def test_the_worst_verdict_decides(verdicts: list[str], expected: str) -> None:
    assert worst(verdicts) == expected  # type: ignore[arg-type]
