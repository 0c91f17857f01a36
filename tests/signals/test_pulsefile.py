"""Pulse files: round trips, damage, crashes, size and speed."""

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from counterproof.errors import Cancelled, UserError
from counterproof.signals.pulsefile import (
    PulseWriter,
    compact,
    read_pulses,
    summary,
    write_pulses,
)
from counterproof.signals.trains import PulseTrain

EASY = settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def poisson(rate: float, count: int, seed: int = 1) -> PulseTrain:
    times = np.cumsum(np.random.default_rng(seed).exponential(1 / rate, count))
    return PulseTrain(times, float(times[-1] + 1.0) if count else 1.0)


@EASY
@given(
    ticks=st.lists(st.integers(0, 10**13), max_size=200),
    extra=st.integers(0, 10**9),
    per_s=st.sampled_from([1000, 48_000, 1_000_000, 1_000_000_000]),
)
def test_whole_ticks_come_back_exactly(tmp_path, ticks, extra, per_s):
    times = np.sort(np.array(ticks, dtype=np.float64)) / per_s
    duration = (times[-1] if times.size else 0.0) + extra / per_s
    path = tmp_path / "a.pulses"
    write_pulses(path, PulseTrain(times, float(duration)), ticks_per_s=per_s)
    again = read_pulses(path)
    np.testing.assert_array_equal(again.times_s, times)
    assert again.duration_s == pytest.approx(duration, abs=0.51 / per_s)
    assert again.warnings == ()
    assert summary(path).count == len(ticks)
    # a second round changes nothing at all
    first = path.read_bytes()
    write_pulses(path, again, ticks_per_s=per_s)
    assert path.read_bytes() == first


@EASY
@given(st.lists(st.floats(0, 1e6), max_size=100))
def test_any_time_comes_back_within_half_a_tick(tmp_path, times):
    times_s = np.sort(np.array(times, dtype=np.float64))
    duration = float(times_s[-1]) if times else 0.0
    path = tmp_path / "a.pulses"
    write_pulses(path, PulseTrain(times_s, duration))
    np.testing.assert_allclose(read_pulses(path).times_s, times_s, atol=0.5001e-6, rtol=0)


def test_everything_else_comes_back(tmp_path):
    path = tmp_path / "a.pulses"
    train = PulseTrain(
        np.array([0.5, 1.0, 7.25]), 10.0, 0.004, 0.98, 0.01, 0.002,
        np.array([[2.0, 3.0], [5.0, 5.5]]), ("A sentence – with µ.",),
    )  # fmt: skip
    write_pulses(path, train, notes={"source": "test"})
    again = read_pulses(path)
    assert again.warnings == train.warnings
    for name in ("duration_s", "resolving_time_s", "efficiency", "efficiency_u"):
        assert getattr(again, name) == getattr(train, name)
    assert again.false_rate_per_s == train.false_rate_per_s
    np.testing.assert_array_equal(again.gaps_s, train.gaps_s)
    assert again.live_s == 8.5
    found = summary(path)
    assert found.notes["source"] == "test"
    assert found.complete
    assert (found.count, found.duration_s, found.ticks_per_s) == (3, 10.0, 1_000_000)


@pytest.mark.parametrize("rate, most", [(1.0, 3.6), (100.0, 2.5), (1000.0, 2.0)])
def test_size(tmp_path, rate, most):
    """Within a byte of the entropy log2(e/(rate·tick)) bits of an exponential interval."""
    path = tmp_path / "a.pulses"
    count = 300_000
    write_pulses(path, poisson(rate, count))
    each = path.stat().st_size / count
    entropy = np.log2(np.e / (rate * 1e-6)) / 8
    assert entropy < each < min(most, entropy + 1)


def test_ten_million_pulses(tmp_path):
    path = tmp_path / "a.pulses"
    train = poisson(100.0, 10_000_000)
    begin = time.process_time()
    write_pulses(path, train)
    written = time.process_time()
    again = read_pulses(path)
    done = time.process_time()
    assert again.count == 10_000_000
    assert path.stat().st_size < 4 * 10_000_000
    # three to ten times what was measured, so that a busy machine does not fail the suite
    assert written - begin < 3.0
    assert done - written < 2.0


def live_file(path: Path, blocks: int = 20) -> PulseTrain:
    train = poisson(20.0, 20 * blocks)
    edges = np.arange(1, blocks + 1) * 1.0
    with PulseWriter(path, notes={"run": "live"}) as writer:
        for until in edges:
            inside = (train.times_s > until - 1) & (train.times_s <= until)
            writer.append(train.times_s[inside], until)
    kept = train.times_s[train.times_s <= blocks]
    return PulseTrain(np.rint(kept * 1e6) / 1e6, float(blocks))


def test_live_blocks_and_compact(tmp_path):
    path = tmp_path / "live.pulses"
    train = live_file(path)
    again = read_pulses(path)
    np.testing.assert_array_equal(again.times_s, train.times_s)
    assert again.duration_s == 20.0
    assert again.gaps_s.size == 0
    before = path.stat().st_size
    compact(path)
    assert path.stat().st_size < before
    np.testing.assert_array_equal(read_pulses(path).times_s, train.times_s)
    assert summary(path).notes["run"] == "live"


@EASY
@given(share=st.floats(0, 1))
def test_cut_anywhere_keeps_all_complete_blocks(tmp_path, share):
    path = tmp_path / "live.pulses"
    if not path.exists():
        live_file(path)
        (tmp_path / "whole").write_bytes(path.read_bytes())
    whole = (tmp_path / "whole").read_bytes()
    train = read_pulses(tmp_path / "whole")
    cut = int(share * len(whole))
    path.write_bytes(whole[:cut])
    try:
        again = read_pulses(path)
    except UserError:
        assert cut < 80  # only the head may be unreadable
        return
    assert again.duration_s == int(again.duration_s)
    np.testing.assert_array_equal(again.times_s, train.times_s[train.times_s <= again.duration_s])
    expected = int(20 * (cut - 80) / len(whole)) - 3  # block sizes differ a little
    assert again.duration_s >= expected


@EASY
@given(at=st.floats(0, 0.999), junk=st.binary(min_size=1, max_size=30))
def test_damage_costs_its_own_stretch(tmp_path, at, junk):
    path = tmp_path / "live.pulses"
    if not (tmp_path / "whole").exists():
        live_file(tmp_path / "whole")
    data = bytearray((tmp_path / "whole").read_bytes())
    train = read_pulses(tmp_path / "whole")
    head = 60
    start = head + int(at * (len(data) - head))
    junk = junk[: len(data) - start]
    changed = bytes(data[start : start + len(junk)]) != junk
    data[start : start + len(junk)] = junk
    path.write_bytes(data)
    again = read_pulses(path)
    if changed:
        assert again.warnings
    # whatever is kept is true, and what is lost lies in the gaps or after the end
    assert np.isin(again.times_s, train.times_s).all()
    assert again.count >= train.count - 80
    for time_s in np.setdiff1d(train.times_s, again.times_s):
        inside = ((again.gaps_s[:, 0] <= time_s) & (time_s <= again.gaps_s[:, 1])).any()
        assert inside or time_s > again.duration_s


def test_resume_after_a_torn_block(tmp_path):
    path = tmp_path / "live.pulses"
    train = live_file(path)
    data = path.read_bytes()
    path.write_bytes(data[:-7])
    with PulseWriter(path, resume=True) as writer:
        assert writer.reached_s == 19.0
        writer.gap(19.0, 30.0)
        writer.append(np.array([30.5]), 31.0)
        writer.note({"resolving_time_s": 0.003})
    again = read_pulses(path)
    np.testing.assert_array_equal(again.times_s[:-1], train.times_s[train.times_s <= 19.0])
    np.testing.assert_array_equal(again.gaps_s, [[19.0, 30.0]])
    assert again.resolving_time_s == 0.003
    assert again.warnings == ()


CHILD = """
import itertools, sys, numpy as np
from counterproof.signals.pulsefile import PulseWriter
writer = PulseWriter(sys.argv[1])
for second in itertools.count():
    writer.append(second + np.linspace(0.1, 0.9, 5), second + 1.0)
    print(second + 1, flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="needs SIGKILL")
def test_kill_loses_nothing_that_was_acknowledged(tmp_path):
    path = tmp_path / "live.pulses"
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    for _ in range(20):
        child.stdout.readline()
    child.send_signal(signal.SIGKILL)
    rest = child.stdout.read().split()
    child.stdout.close()
    child.wait()
    told = int(rest[-1]) if rest else 20
    again = read_pulses(path)
    assert again.count in (5 * told, 5 * (told + 1))
    assert again.duration_s in (told, told + 1)


def test_order_is_held(tmp_path):
    with PulseWriter(tmp_path / "a.pulses") as writer:
        writer.append(np.array([1.0, 2.0]), 3.0)
        with pytest.raises(ValueError, match="ascend"):
            writer.append(np.array([1.5]), 4.0)
        with pytest.raises(ValueError, match="finite"):
            writer.append(np.array([np.nan]), 4.0)
        with pytest.raises(ValueError, match="gap"):
            writer.gap(5.0, 4.0)
        writer.append(np.array([2.5]), 4.0)  # late by a second but after the last pulse
    np.testing.assert_array_equal(read_pulses(tmp_path / "a.pulses").times_s, [1.0, 2.0, 2.5])


def refused(path: Path, word: str) -> None:
    for reader in (read_pulses, summary):
        with pytest.raises(UserError) as caught:
            reader(path)
        assert word in caught.value.message
        assert "\n" not in caught.value.message


def test_bad_files_get_one_sentence(tmp_path):
    path = tmp_path / "a.pulses"
    refused(path, "no file")
    refused(tmp_path, "folder")
    path.write_bytes(b"")
    refused(path, "empty")
    path.write_bytes(b"0.1\n0.2\n" * 10)
    refused(path, "no pulse file")
    write_pulses(path, poisson(1.0, 10))
    data = bytearray(path.read_bytes())
    path.write_bytes(data[:8] + b"\x09\x00" + data[10:])
    refused(path, "newer version")
    data[20] ^= 1
    path.write_bytes(data)
    refused(path, "head")
    with pytest.raises(UserError, match="already"):
        PulseWriter(path)
    with pytest.raises(UserError, match="cannot be written"):
        PulseWriter(tmp_path / "none" / "a.pulses")
    with pytest.raises(UserError, match="cannot be written"):
        write_pulses(tmp_path / "none" / "a.pulses", poisson(1.0, 10))


def test_a_huge_append_is_cut_into_blocks(tmp_path):
    train = poisson(1000.0, 300_000)
    with PulseWriter(tmp_path / "a.pulses") as writer:
        writer.append(train.times_s, train.duration_s)
        assert writer.reached_s == pytest.approx(train.duration_s, abs=1e-6)
    again = read_pulses(tmp_path / "a.pulses")
    np.testing.assert_allclose(again.times_s, train.times_s, atol=0.5001e-6, rtol=0)
    assert again.gaps_s.size == 0
    assert again.warnings == ()


def test_cancel_and_failure_leave_the_old_file(tmp_path):
    path = tmp_path / "a.pulses"
    write_pulses(path, poisson(1.0, 10))
    old = path.read_bytes()
    with pytest.raises(Cancelled):
        write_pulses(path, poisson(1.0, 400_000), report=lambda done, total: done < 200_000)
    with pytest.raises(Cancelled):
        read_pulses(path, report=lambda done, total: False)
    assert path.read_bytes() == old
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.pulses"]


@EASY
@given(st.binary(max_size=400))
def test_random_bytes_never_crash(tmp_path, body):
    path = tmp_path / "a.pulses"
    write_pulses(path, PulseTrain(np.array([0.5]), 1.0))
    head = path.read_bytes()[:8]
    path.write_bytes(head + body)
    with suppress(UserError):
        read_pulses(path)


@EASY
@given(data=st.data())
def test_forged_blocks_never_crash(tmp_path, data):
    """Heads with a right checksum but a body that does not keep its promise."""
    from counterproof.signals import pulseblocks as pb

    body = data.draw(st.binary(max_size=60))
    block = pb.pack_block(
        data.draw(st.integers(0, 5)),
        data.draw(st.integers(0, 100)),
        data.draw(st.integers(100, 2**53)),
        data.draw(st.sampled_from([0, 1, 2, 3, 4, 8])),
        data.draw(st.integers(0, 2**32 - 1)),
        body,
    )
    path = tmp_path / "a.pulses"
    path.write_bytes(pb.file_head(1000, {"efficiency": "high", "warnings": 3}) + block)
    with suppress(UserError):
        read_pulses(path)
        summary(path)
