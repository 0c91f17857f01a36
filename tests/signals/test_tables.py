"""Tables of many shapes through explicit mappings. All are invented; none is a product's export."""

import json
import time
import tracemalloc
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from counterproof.errors import Cancelled, UserError
from counterproof.signals.mapping import (
    SEPARATORS,
    Mapping,
    load_mapping,
    mapping_from_words,
    save_mapping,
)
from counterproof.signals.pulselist import read_pulse_list
from counterproof.signals.suggest import suggest_mapping
from counterproof.signals.tables import read_start, read_table
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog

EASY = settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
COUNTS = Mapping("counts", value_column=2, time_columns=(1,), interval_s=60.0)
START = datetime.fromisoformat("2026-02-27T23:50:00")
READINGS = Mapping("dose_rate", value_column=2, time_columns=(1,), unit="µSv/h")


def table(tmp_path, content: str, encoding: str = "utf-8"):
    path = tmp_path / "table.csv"
    path.write_bytes(content.encode(encoding))
    return path


def refused(path, mapping, *words: str) -> None:
    with pytest.raises(UserError) as caught:
        read_table(path, mapping)
    assert "\n" not in caught.value.message
    for word in words:
        assert word in caught.value.message


@EASY
@given(
    rows=st.lists(st.tuples(st.integers(0, 10**9), st.integers(0, 10**6)), min_size=1, max_size=40),
    separator=st.sampled_from(sorted(SEPARATORS.keys() - {"none"})),
    decimal=st.sampled_from(["point", "comma"]),
    header=st.integers(0, 3),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-32", "cp1252"]),
    quoted=st.booleans(),
    padded=st.booleans(),
    comments=st.booleans(),
)
def test_counts_round_trip(
    tmp_path, rows, separator, decimal, header, ending, encoding, quoted, padded, comments
):
    if separator == "comma" and decimal == "comma":
        decimal = "point"
    mark = SEPARATORS[separator]
    millis = np.unique([row[0] for row in rows])
    counts = np.array([row[1] for row in rows][: millis.size])
    lines = ["name" + mark + "värde"] * header
    for index, (at, count) in enumerate(zip(millis, counts, strict=True)):
        cells = [f"{at // 1000}.{at % 1000:03d}", str(count), "remark"]
        if decimal == "comma":
            cells[0] = cells[0].replace(".", ",")
        if quoted and index % 2:
            cells = [f'"{cell}"' for cell in cells] if separator != "space" else cells
        lines.append((mark + " " if padded else mark).join(cells))
        if comments and index % 3 == 0:
            lines += ["# a comment", ""]
    path = table(tmp_path, ending.join(lines) + ending, encoding)
    mapping = Mapping(
        "counts",
        value_column=2,
        time_columns=(1,),
        interval_s=0.001,
        separator=separator,
        decimal=decimal,
        encoding=encoding.removesuffix("-sig"),
        skip_lines=header,
    )
    log = read_table(path, mapping)
    assert isinstance(log, CountLog)
    np.testing.assert_array_equal(log.counts, counts)
    np.testing.assert_array_equal(log.starts_s, millis / 1000)
    assert log.warnings == ()


@EASY
@given(st.lists(st.floats(0, 1e9), min_size=1, max_size=50), st.booleans())
def test_any_float_is_read_as_python_reads_it(tmp_path, values, comma):
    cells = [repr(value) for value in sorted(values)]
    if comma:
        cells = [cell.replace(".", ",") for cell in cells]
    path = table(tmp_path, "\n".join(cells) + "\n")
    decimal = "comma" if comma else "point"
    train = read_table(
        path, Mapping("pulse", time_columns=(1,), separator="none", decimal=decimal, length_s=2e9)
    )
    np.testing.assert_array_equal(train.times_s, sorted(values))


def moments(form: str, count: int = 40, fraction: bool = True) -> tuple[list[str], np.ndarray]:
    start = START.replace(microsecond=250000 if fraction else 0)
    steps = [timedelta(seconds=97.5 * i if fraction else 97 * i) for i in range(count)]
    written = {
        "iso": "%Y-%m-%d %H:%M:%S",
        "dmy": "%d.%m.%Y %H:%M:%S",
        "mdy": "%m/%d/%Y %H:%M:%S",
        "clock": "%H:%M:%S",
    }[form]
    shown = [(start + step).strftime(written + (".%f" if fraction else "")) for step in steps]
    return shown, np.array([step.total_seconds() for step in steps])


@pytest.mark.parametrize("form", ["iso", "dmy", "mdy", "clock"])
@pytest.mark.parametrize("fraction", [True, False])
@pytest.mark.parametrize("odd", [True, False])
def test_calendar_and_clock(tmp_path, form, fraction, odd):
    """Over midnight and into March; an odd line sends the piece down the slow way."""
    shown, seconds = moments(form, fraction=fraction)
    lines = [f"{moment};{index}" for index, moment in enumerate(shown)]
    if odd:
        lines.insert(3, "# remark")
        lines[5] = '"' + lines[5].replace(";", '";')
    path = table(tmp_path, "\n".join(lines) + "\n")
    mapping = Mapping(
        "dose_rate",
        value_column=2,
        unit="uSv/h",
        time_columns=(1,),
        time_format=form,
        separator="semicolon",
    )
    log = read_table(path, mapping)
    assert isinstance(log, ReadingLog)
    np.testing.assert_allclose(log.times_s, seconds, atol=1e-9)
    np.testing.assert_array_equal(log.values, np.arange(40))
    assert (log.quantity, log.unit) == ("dose_rate", "µSv/h")
    start = read_start(path, mapping)
    expected = START.replace(microsecond=250000 if fraction else 0)
    assert start == (None if form == "clock" else expected)


@pytest.mark.parametrize(
    "cells, start",
    [
        ("10:00:00Z 10:00:10Z", "10:00"),
        ("10:00:00+02:00 08:00:10Z", "08:00"),
        ("10:00:00-05:30 10:00:10-05:30", "15:30"),
    ],
)
def test_iso_with_zone(tmp_path, cells, start):
    path = table(tmp_path, "".join(f"2026-03-01T{cell},1\n" for cell in cells.split()))
    mapping = mapping_from_words(["time_format=iso"], READINGS)
    np.testing.assert_array_equal(read_table(path, mapping).times_s, [0, 10])
    assert read_start(path, mapping) == datetime.fromisoformat(f"2026-03-01T{start}+00:00")


def test_date_and_time_in_two_columns_and_afternoon(tmp_path):
    path = table(tmp_path, "1/2/2026,11:59:59 AM,3\n1/2/2026,12:00:30 PM,4\n1/2/26,1:01 pm,5\n")
    mapping = Mapping(
        "counts", value_column=3, time_columns=(1, 2), time_format="mdy", interval_s=10.0
    )
    np.testing.assert_array_equal(read_table(path, mapping).starts_s, [0, 31, 3661])
    assert read_start(path, mapping) == datetime.fromisoformat("2026-01-02T11:59:59")


@pytest.mark.parametrize("unit, scale", [("s", 1), ("ms", 1000), ("us", 1_000_000)])
def test_epoch(tmp_path, unit, scale):
    start = 1_772_359_200
    path = table(tmp_path, "".join(f"{(start + 10 * i) * scale},{i}\n" for i in range(5)))
    mapping = mapping_from_words(["time_format=epoch", f"time_unit={unit}"], READINGS)
    np.testing.assert_array_equal(read_table(path, mapping).times_s, np.arange(5) * 10)
    assert read_start(path, mapping) == datetime.fromtimestamp(start, UTC)


def test_spacings(tmp_path):
    path = table(tmp_path, "500\n250\n1000\n")
    mapping = Mapping("spacing", value_column=1, unit="ms", separator="none", length_s=5.0)
    train = read_table(path, mapping)
    assert isinstance(train, PulseTrain)
    np.testing.assert_allclose(train.times_s, [0.5, 0.75, 1.75])
    assert (train.duration_s, train.warnings) == (5.0, ())


def test_count_log_by_durations_and_without_times(tmp_path):
    path = table(tmp_path, "60,12\n30,7\n60,11\n")
    mapping = Mapping("counts", value_column=2, duration_column=1)
    log = read_table(path, mapping)
    np.testing.assert_array_equal(log.starts_s, [0, 60, 90])
    assert (log.live_s, log.count) == (150, 30)
    ends = mapping_from_words(["stamp=end"], COUNTS)
    log = read_table(table(tmp_path, "60,3\n120,4\n"), ends)
    np.testing.assert_array_equal(log.starts_s, [0, 60])


@pytest.mark.parametrize(
    "role, unit, quantity, field",
    [
        ("rate", "cpm", "count_rate", "momentary"),
        ("dose_rate", "nSv/h", "dose_rate", "momentary"),
        ("dose", "µSv", "dose", "accumulated"),
        ("total", "", "counts", "accumulated"),
    ],
)
def test_reading_kinds(tmp_path, role, unit, quantity, field):
    path = table(tmp_path, "0,1.5\n1,2\n")
    log = read_table(path, Mapping(role, value_column=2, time_columns=(1,), unit=unit, quantum=0.5))
    assert (log.quantity, log.field, log.unit, log.quantum) == (quantity, field, unit, 0.5)


def test_errors_name_the_line(tmp_path):
    refused(table(tmp_path, "0,1\n60,-3\n"), COUNTS, "line 2", "negative")
    refused(table(tmp_path, "0,1\n60,2.5\n"), COUNTS, "line 2", "2.5", "whole")
    refused(table(tmp_path, "0,1\n60,2\n30,4\n"), COUNTS, "line 3", "back")
    refused(table(tmp_path, "0,1\n60,2\n60,2\n"), COUNTS, "line 3", "repeats")
    refused(table(tmp_path, "0,1\n1,2\n2,4\n"), COUNTS, "every 1 s", "60")
    refused(table(tmp_path, "0,1\n60,\n"), COUNTS, "line 2", "no value")
    refused(table(tmp_path, "0,1\n60,NaN\n"), COUNTS, "line 2", "no value")
    refused(table(tmp_path, "0,1\nnan,2\n"), COUNTS, "line 2", "no value")
    refused(table(tmp_path, "0,1\n60,inf\n"), COUNTS, "line 2", "no number")
    refused(table(tmp_path, "0,1\n60,1e999\n"), COUNTS, "line 2", "no number")
    refused(table(tmp_path, "0,1\n60,two\n"), COUNTS, "line 2", "'two'", "no number")
    refused(table(tmp_path, "0,1\n60\n120,3\n"), COUNTS, "line 2", "1 columns")
    refused(table(tmp_path, "-5,1\n60,3\n"), COUNTS, "line 1", "negative")
    refused(table(tmp_path, '0,1\n60,"3\n'), COUNTS, "line 2", "quotes")
    refused(table(tmp_path, "0,0.1\n1,-0.1\n"), READINGS, "line 2", "negative")
    refused(table(tmp_path, "# only\n\n"), COUNTS, "no line of data")
    semicolon = mapping_from_words(["separator=semicolon"], COUNTS)
    refused(table(tmp_path, "0;1\n60;1,5\n"), semicolon, "decimal=comma")
    iso = mapping_from_words(["time_format=iso"], COUNTS)
    refused(table(tmp_path, "2026-03-01 10:00,1\n2026-02-30 10:00,2\n"), iso, "line 2", "02-30")
    refused(table(tmp_path, "2026-03-01 10:00,1\n2026-03-01 10:01Z,2\n"), iso, "line 2")
    pulse = Mapping("pulse", time_columns=(1,), separator="none", length_s=2.0)
    refused(table(tmp_path, "0.5\n1.0\n2.5\n"), pulse, "line 3", "after the recording's end")
    spacing = Mapping("spacing", value_column=1, separator="none", unit="s")
    refused(table(tmp_path, "0.5\n-1.0\n"), spacing, "line 2", "negative")


def test_error_lines_hold_far_down_and_after_comments(tmp_path):
    """Across several pieces, quick and slow."""
    lines = [f"{60 * i},{i % 7}" for i in range(700_000)]
    lines[100] += "\n# a comment\n"
    lines[650_000] = f"{60 * 650_000},-1"
    path = table(tmp_path, "\n".join(lines) + "\n")
    refused(path, COUNTS, "line 650003", "negative")


def test_mixed_units(tmp_path):
    path = table(tmp_path, "0,0.12 µSv/h\n1,0.13 uSv/h\n2,0.1 mSv/h\n")
    refused(path, READINGS, "line 3", "mSv/h", "µSv/h")
    path = table(tmp_path, "0,0.12,µSv/h\n1,0.13,µSv/h\n2,120,nSv/h\n")
    refused(path, mapping_from_words(["unit_column=3"], READINGS), "line 3", "nSv/h")
    path = table(tmp_path, "0,12 cpm\n1,13\n")
    refused(path, COUNTS, "line 1", "cpm")


def test_missing_lines_may_be_skipped_but_are_counted(tmp_path):
    path = table(tmp_path, "0,0.1\n1,---\n2,0.3\n3,\n")
    log = read_table(path, mapping_from_words(["missing=skip"], READINGS))
    np.testing.assert_array_equal(log.times_s, [0, 2])
    assert "2 lines" in log.warnings[0]


def test_repeated_times_and_falling_register_are_told(tmp_path):
    path = table(tmp_path, "0,5\n1,7\n1,7\n2,1\n")
    mapping = Mapping("total", value_column=2, time_columns=(1,))
    log = read_table(path, mapping)
    assert "line 3" in log.warnings[0]
    assert "line 4" in log.warnings[1]
    assert "reset" in log.warnings[1]


def test_last_line_cut_off(tmp_path):
    path = table(tmp_path, "0,1\n60,2\n12")
    log = read_table(path, COUNTS)
    np.testing.assert_array_equal(log.counts, [1, 2])
    assert "incomplete" in log.warnings[0]


def local_hours(zone: str, start: datetime, minutes: int, count: int) -> list[str]:
    there = [
        (start + timedelta(minutes=minutes * i)).astimezone(ZoneInfo(zone)) for i in range(count)
    ]
    return [moment.strftime("%Y-%m-%d %H:%M:%S") for moment in there]


@pytest.mark.parametrize("minutes", [1, 10, 30, 60])
def test_end_of_daylight_saving(tmp_path, minutes):
    """Central European clocks fell back on 2026-10-25 at 01:00 UTC (IANA time zone data)."""
    start = datetime(2026, 10, 24, 22, tzinfo=UTC)
    count = 6 * 60 // minutes
    shown = local_hours("Europe/Vienna", start, minutes, count)
    path = table(tmp_path, "".join(f"{moment},1\n" for moment in shown))
    naive = mapping_from_words(["time_format=iso"], READINGS)
    if minutes < 60:
        refused(path, naive, "daylight saving ends", f"line {3 * 60 // minutes + 1}")
    zoned = mapping_from_words(["zone=Europe/Vienna"], naive)
    np.testing.assert_array_equal(read_table(path, zoned).times_s, np.arange(count) * minutes * 60)
    assert read_start(path, zoned) == start


def test_start_of_daylight_saving(tmp_path):
    start = datetime(2026, 3, 28, 23, tzinfo=UTC)
    shown = local_hours("Europe/Vienna", start, 1, 180)
    path = table(tmp_path, "".join(f"{moment},1\n" for moment in shown))
    naive = mapping_from_words(["time_format=iso"], READINGS)
    assert "daylight saving begins" in read_table(path, naive).warnings[0]
    zoned = mapping_from_words(["zone=Europe/Vienna"], naive)
    log = read_table(path, zoned)
    assert log.warnings == ()
    np.testing.assert_array_equal(log.times_s, np.arange(180) * 60)
    with pytest.raises(UserError, match="no time zone"):
        read_table(path, mapping_from_words(["zone=Nowhere/Land"], naive))


def test_bad_files_get_one_sentence(tmp_path):
    path = tmp_path / "table.csv"
    refused(path, COUNTS, "no file")
    refused(tmp_path, COUNTS, "folder")
    path.write_bytes(b"")
    refused(path, COUNTS, "empty")
    path.write_bytes(b"\x00\x01\x02" * 100)
    refused(path, COUNTS, "binary")
    path.write_bytes(b"RIFF\x00\x00\x00\x00WAVEfmt ")
    refused(path, COUNTS, "recording")
    path.write_bytes(b"1" * 6_000_000)
    refused(path, COUNTS, "no line ends")
    path.write_bytes(("0,1\n" * 9).encode("utf-16") + b"0")
    refused(path, mapping_from_words(["encoding=utf-16"], COUNTS), "utf-16")


def test_mapping_asks_for_what_is_open(tmp_path):
    path = table(tmp_path, "0,1\n")
    refused(path, Mapping("counts", value_column=2), "interval_s")
    refused(path, Mapping("counts", interval_s=1.0), "value_column")
    refused(path, Mapping("dose_rate", value_column=2, time_columns=(1,)), "unit")
    refused(path, Mapping("rate", value_column=2, unit="cpm"), "time_columns")
    refused(path, Mapping("pulse"), "time_columns")


@pytest.mark.parametrize(
    "words, said",
    [
        (["role=colour"], "one of"),
        (["separator=,"], "semicolon"),
        (["value_column=two"], "value_column"),
        (["value_column=-1"], "counted from 1"),
        (["value_column=1.5"], "value_column"),
        (["time_columns=1+2+3"], "at most two"),
        (["interval_s=0"], "above 0"),
        (["interval_s=nan"], "above 0"),
        (["decimal=comma"], "comma"),
        (["encoding=klingon"], "encoding"),
        (["unit=banana"], "µSv/h"),
        (["preset=x"], "no entry"),
        (["reasons=x"], "no entry"),
        (["value"], "name=value"),
    ],
)
def test_bad_words_get_one_sentence(words, said):
    with pytest.raises(UserError) as caught:
        mapping_from_words(words, READINGS)
    assert said in caught.value.message


def test_mapping_is_kept_as_toml(tmp_path):
    mapping = mapping_from_words(
        [
            "time_columns=1+2",
            "quantum=0.01",
            "separator=semicolon",
            "decimal=comma",
            "missing=skip",
        ],
        READINGS,
    )
    path = tmp_path / "mapping.toml"
    save_mapping(path, mapping)
    assert load_mapping(path) == mapping
    words = [f"{k}={'+'.join(map(str, v)) if isinstance(v, list) else v}"
             for k, v in mapping.as_table().items()]  # fmt: skip
    assert mapping_from_words(words) == mapping
    path.write_text("role = 'counts'\nvalue_column = true\n")
    with pytest.raises(UserError, match="value_column"):
        load_mapping(path)
    path.write_text("role = ")
    with pytest.raises(UserError, match="cannot be read"):
        load_mapping(path)
    path.write_text("value_column = 2")
    with pytest.raises(UserError, match="role"):
        load_mapping(path)
    with pytest.raises(UserError, match="no file"):
        load_mapping(tmp_path / "none.toml")


@pytest.mark.parametrize(
    "content, expected",
    [
        ("0.5\n1.25\n3.0\n", {"role": "pulse", "separator": "none"}),
        ("0.5\n0.25\n3.0\n", {"role": "spacing", "separator": "none", "unit": "s"}),
        ("0,51\n1,25\n3,01\n", {"role": "pulse", "decimal": "comma", "separator": "none"}),
        (
            "Time [min];Counts\n0;12\n1;15\n2;9\n",
            {"role": "counts", "value_column": 2, "interval_s": 60.0, "time_unit": "min"},
        ),
        (
            "when\tdose rate (µSv/h)\n2026-03-01 10:00:00\t0,12\n2026-03-01 10:00:10\t0,15\n",
            {"role": "dose_rate", "unit": "µSv/h", "decimal": "comma", "time_format": "iso"},
        ),
        (
            "13.03.2026\t10:00:00\t0,12 uSv/h\n13.03.2026\t10:00:10\t0,15 uSv/h\n",
            {"unit": "µSv/h", "time_columns": [1, 2], "time_format": "dmy"},
        ),
        (
            "1772359200,15\n1772359260,20\n1772359320,18\n",
            {"role": "counts", "time_format": "epoch", "interval_s": 60.0},
        ),
        (
            "1772359200000 3.5 cpm\n1772359260000 4.5 cpm\n",
            {"role": "rate", "unit": "cpm", "unit_column": 3, "time_unit": "ms"},
        ),
        (
            "% made up\nstart,duration,counts\n0,60,3\n60,60,4\n120,30,2\n",
            {"role": "counts", "duration_column": 2, "value_column": 3, "comment": "%"},
        ),
        ("03/14/2026 1:00:00 PM,12\n03/14/2026 1:01:00 PM,13\n", {"time_format": "mdy"}),
    ],
)
def test_suggestions(tmp_path, content, expected):
    path = table(tmp_path, content)
    mapping = suggest_mapping(path)
    found = mapping.as_table()
    assert {name: found.get(name) for name in expected} == expected
    assert mapping.preview
    assert mapping.reasons["role"]
    assert {name for name, _, _ in mapping.describe()} == set(found)
    read_table(path, mapping)


def test_suggestion_never_invents_a_unit(tmp_path):
    mapping = suggest_mapping(table(tmp_path, "time,dose rate\n0,0.12\n1,0.13\n"))
    assert (mapping.role, mapping.unit) == ("dose_rate", "")
    with pytest.raises(UserError, match="unit"):
        mapping.check()
    with pytest.raises(UserError, match="by hand"):
        suggest_mapping(table(tmp_path, "words and\nmore words\n"))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_suggestion_sees_the_encoding(tmp_path, encoding):
    path = table(tmp_path, "time;dose rate µSv/h\n0;0,12\n1;0,13\n", encoding)
    mapping = suggest_mapping(path)
    assert mapping.unit == "µSv/h"
    np.testing.assert_array_equal(read_table(path, mapping).values, [0.12, 0.13])


def test_plain_lists(tmp_path):
    path = table(tmp_path, "# onsets\n0.5\n1.5\n\n2.5\n")
    train = read_pulse_list(path, length_s=10.0)
    np.testing.assert_array_equal(train.times_s, [0.5, 1.5, 2.5])
    assert (train.duration_s, train.warnings) == (10.0, ())
    assert "how long" in read_pulse_list(path).warnings[0]
    for heading in ("time_s", '"times_s"', "\ufeff# onsets\n\nTime_s"):
        path.write_text(f"{heading}\n0.5\n1.5\n2.5\n", encoding="utf-8")
        np.testing.assert_array_equal(read_pulse_list(path, 10.0).times_s, [0.5, 1.5, 2.5])
    path.write_text("time_ms\n500\n")  # another unit is no heading of this list
    with pytest.raises(UserError, match="line 1"):
        read_pulse_list(path)
    path.write_text(json.dumps([0.5, 1, 2.5]))
    np.testing.assert_array_equal(read_pulse_list(path).times_s, [0.5, 1, 2.5])
    content = {"times_s": [1.0], "duration_s": 9.0, "efficiency": 0.9, "gaps_s": [[2, 3]]}
    path.write_text(json.dumps(content))
    train = read_pulse_list(path)
    assert (train.duration_s, train.efficiency, train.live_s) == (9.0, 0.9, 8.0)


@pytest.mark.parametrize(
    "content, said",
    [
        ("[1, 2", "JSON"),
        ('{"a": 1}', "times_s"),
        ("[1, true]", "entry 2"),
        ('[1, "2"]', "entry 2"),
        ("[NaN]", "entry 1"),
        ("[-1]", "entry 1"),
        ("[2, 1]", "entry 2"),
        ("[]", "duration_s"),
        ('{"times_s": [5], "duration_s": 2}', "after the end"),
        ('{"times_s": [5], "duration_s": "long"}', "after the end"),
        ("[" * 100_000, "JSON"),
        ("1\n2\n1.5\n", "line 3"),
    ],
)
def test_bad_lists_get_one_sentence(tmp_path, content, said):
    with pytest.raises(UserError) as caught:
        read_pulse_list(table(tmp_path, content))
    assert said in caught.value.message
    assert "\n" not in caught.value.message


def test_a_million_lines_quickly_and_in_bounded_memory(tmp_path):
    path = tmp_path / "big.csv"
    path.write_bytes(b"".join(b"%d.500;%d\n" % (i, i % 9) for i in range(1_000_000)))
    mapping = mapping_from_words(["separator=semicolon", "interval_s=1"], COUNTS)
    begin = time.process_time()
    log = read_table(path, mapping)
    spent = time.process_time() - begin
    assert log.counts.size == 1_000_000
    assert spent < 4.0  # measured: 0.7 s
    tracemalloc.start()
    read_table(path, mapping)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 150e6  # the result itself takes 24 MB
    with pytest.raises(Cancelled):
        read_table(path, mapping, report=lambda done, total: False)


ROWS = st.one_of(
    st.binary(max_size=400),
    st.lists(
        st.text("0123456789.,;:-+eE \t\"#nNaA/TZµSvh\r\n", max_size=30), max_size=12
    ).map(lambda lines: "\n".join(lines).encode()),
)  # fmt: skip


@EASY
@given(content=ROWS, data=st.data())
def test_random_bytes_never_crash(tmp_path, content, data):
    path = tmp_path / "junk.csv"
    path.write_bytes(content)
    with suppress(UserError):
        read_table(path, suggest_mapping(path))
    with suppress(UserError):
        read_pulse_list(path)
    with suppress(UserError):
        mapping = Mapping(
            data.draw(st.sampled_from(["pulse", "spacing", "counts", "rate", "total"])),
            value_column=data.draw(st.integers(1, 3)),
            time_columns=tuple(data.draw(st.lists(st.integers(1, 3), max_size=2))),
            time_format=data.draw(st.sampled_from(["elapsed", "epoch", "clock", "iso", "dmy"])),
            separator=data.draw(st.sampled_from(sorted(SEPARATORS))),
            decimal=data.draw(st.sampled_from(["point", "comma"])),
            encoding=data.draw(st.sampled_from(["utf-8", "utf-16", "cp1252", "ascii"])),
            missing=data.draw(st.sampled_from(["refuse", "skip"])),
            interval_s=1.0,
            unit=data.draw(st.sampled_from(["", "s", "cpm"])),
        )
        read_table(path, mapping)
        read_start(path, mapping)
