"""A dossier is built whatever is missing, and says so where it matters."""

import datetime as dt
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from counterproof.bench import Bench
from counterproof.dossier.blocks import Words
from counterproof.dossier.chapters import chapters_of
from counterproof.kit import Instrument, Source
from counterproof.records import Publication, Run
from counterproof.records.calibration import Calibration
from counterproof.workshop.calibrating import calibrate_instrument, keep_calibration
from counterproof.workshop.judging import judge_trial
from counterproof.workshop.publishing import publication_of
from tests.workshop.silent_bench import make


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("gaps") / "bench"
    make(made)
    with Bench.open(made) as bench:
        judge_trial(bench, "background", "Lantern")
        judge_trial(bench, "source response", "Lantern")
        keep_calibration(bench, calibrate_instrument(bench, "Lantern"))
    return made


@pytest.fixture
def bench(folder: Path) -> Iterator[Bench]:
    with Bench.open(folder) as opened:
        yield opened


def built(bench: Bench) -> Publication:
    found = publication_of(bench, "Lantern", built=datetime(2026, 3, 15, tzinfo=UTC))
    told = {b.words for c in chapters_of(found) for b in c.blocks if isinstance(b, Words)}
    assert {words for sentences in found.gaps.values() for words in sentences} <= told
    return found


def test_chapters_without_content_say_so(bench: Bench) -> None:
    found = built(bench)
    assert found.gaps["findings"] == ("No findings were drawn from the runs.",)
    assert {"retrofit", "retest", "photos"} <= set(found.gaps)
    assert found.inspections[0].of == "Lantern"
    assert "calibration" not in found.gaps
    assert found.brief is not None
    assert found.brief.verdict.startswith("Lantern does not do what was asked of it")
    assert any("multiply a reading" in s for s in found.brief.advice)


def test_a_deleted_run_is_named(bench: Bench) -> None:
    gone = "caesium-lantern"
    bench.delete(Run, gone)
    try:
        found = built(bench)
        assert gone in found.gaps["runs"][0]
        assert gone in found.gaps["source response"][0]
        assert gone in found.gaps["calibration"][0]
    finally:
        bench.restore(Run, gone, 1)


def test_a_source_without_date_or_description_is_named(bench: Bench) -> None:
    disc = bench.get(Source, "caesium disc")
    bare = {"activity": None, "activity_uncertainty": None, "reference_date": None}
    bench.amend(disc.model_copy(update=bare))
    try:
        item = next(i for i in built(bench).items if i.name == "caesium disc")
        assert any("reference date" in m for m in item.missing)
        bench.delete(Source, "caesium disc")
        found = built(bench)
        assert "caesium disc" in found.gaps["things"][0]
        # what cannot be computed any more is said at the run, and the rest stands
        assert any("caesium disc" in t.how for t in found.tallies)
    finally:
        bench.restore(Source, "caesium disc", 1)


def test_a_missing_photograph_is_named(bench: Bench) -> None:
    lantern = bench.get(Instrument, "Lantern")
    bench.amend(lantern.model_copy(update={"photos": ("photos/front.jpg",)}))
    try:
        assert "photos/front.jpg" in built(bench).gaps["photos"][0]
    finally:
        bench.amend(lantern)


def test_contradictory_calibrations_are_named(bench: Bench) -> None:
    (first,) = bench.list(Calibration, "Lantern")
    bands = tuple(
        b.model_copy(update={"factor": b.factor.model_copy(update={"low": 9.0, "high": 9.5})})
        for b in first.bands
        if b.factor is not None
    )
    validity = first.validity.model_copy(update={"dated": dt.date(2026, 4, 1)})
    keep_calibration(bench, first.model_copy(update={"bands": bands, "validity": validity}))
    second = next(c for c in bench.list(Calibration, "Lantern") if c.id != first.id)
    try:
        gaps = built(bench).gaps["calibration"]
        assert len(gaps) == 2
        assert all("contradict each other" in g for g in gaps)
    finally:
        bench.delete(Calibration, second.id)


def test_the_same_bench_gives_the_same_dossier(bench: Bench) -> None:
    first, second = (
        publication_of(bench, "Lantern", built=datetime(2026, 3, day, tzinfo=UTC))
        for day in (15, 16)
    )
    assert first != second
    assert first.model_copy(update={"built_utc": second.built_utc}) == second
    assert chapters_of(first) == chapters_of(second)
