"""Live sources: a serial line over a pseudo-terminal, and a microphone whose card is a stand-in."""

import os
import sys
import threading
import time
from contextlib import suppress
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from counterproof.errors import UserError
from counterproof.signals.live import Gap, PulseBatch, QueuedSource, SoundBlock, gather
from counterproof.signals.mapping import Mapping, mapping_from_words
from counterproof.signals.serialline import SerialSource, sample_line, suggest_line_mapping

posix = pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
BYTES = Mapping("byte")
LINES = Mapping("pulse")
RATES = Mapping("rate", value_column=2, unit="cpm", separator="comma")


@pytest.fixture
def terminal():
    """A pseudo-terminal: (file descriptor of the instrument's end, name of our end)."""
    import tty

    ours, theirs = os.openpty()
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for end in (ours, theirs):
        with suppress(OSError):  # a test may have pulled the plug
            os.close(end)


def listen(port, mapping, send, seconds, **options):
    """Collect events while ``send()`` runs in a thread."""
    events = []
    with SerialSource(port, mapping, tick_s=0.05, **options) as source:
        sender = threading.Thread(target=send)
        sender.start()
        end = time.monotonic() + seconds
        for event in source:
            events.append(event)
            if time.monotonic() > end:
                source.close()
        sender.join()
    return events, source


@posix
@pytest.mark.parametrize("mapping, what", [(BYTES, b"x"), (LINES, b"tick\r\n")])
def test_pulses_are_stamped_on_arrival(terminal, mapping, what):
    ours, port = terminal
    sent = []

    def send():
        for gap in (0.1, 0.15, 0.05, 0.3, 0.1):
            time.sleep(gap)
            sent.append(time.monotonic())
            os.write(ours, what)

    events, source = listen(port, mapping, send, 1.2, baud=115200)
    train = gather(events, mapping, source.warnings)
    assert train.count == 5
    assert train.warnings == ()
    # intervals hold to a scheduler's delay; the median one is far better
    late = train.times_s - (np.array(sent) - source._zero)
    # the time on the wire is taken off, and a pseudo-terminal has no wire
    assert (late > -10 * len(what) / 115200).all()
    assert np.median(late) < 0.1
    # silence is told as well: events come all the time and leave no hole
    edges = np.array([(event.start_s, event.until_s) for event in events])
    assert len(edges) >= 10
    np.testing.assert_allclose(edges[1:, 0], edges[:-1, 1])
    assert train.duration_s == edges[-1, 1]


@posix
def test_a_burst_is_spread_by_the_byte_time_only(terminal):
    ours, port = terminal
    events, _ = listen(port, BYTES, lambda: (time.sleep(0.2), os.write(ours, b"x" * 20)), 0.6)
    train = gather(events, BYTES)
    assert train.count == 20
    assert 0 <= np.ptp(train.times_s) < 0.1
    assert (np.diff(train.times_s) <= 10 / 9600 + 1e-9).sum() >= 17


@posix
def test_lines_with_numbers(terminal):
    ours, port = terminal

    def send():
        os.write(ours, b"rn\r\n")  # the tail of a line that began before we listened
        for line in (
            b"7,21.5\r\n",
            b"8,junk\r\n",
            b"9,-3\r\n",
            b"# hello\r\n",
            b"10,22.5 c",
            b"pm\r\n",
        ):
            time.sleep(0.05)
            os.write(ours, line)

    events, source = listen(port, RATES, send, 0.8)
    log = gather(events, RATES, source.warnings)
    np.testing.assert_array_equal(log.values, [21.5, 22.5])
    assert (log.quantity, log.unit) == ("count_rate", "cpm")
    assert "2 lines" in log.warnings[0]
    assert 0.15 < log.times_s[1] - log.times_s[0] < 0.5


@posix
def test_counts_per_interval(terminal):
    ours, port = terminal
    mapping = Mapping("counts", value_column=1, separator="none", interval_s=0.05)

    def send():
        for line in (b"1\n", b"4\n", b"2.5\n", b"5\n"):
            os.write(ours, line)
            time.sleep(0.05)

    events, source = listen(port, mapping, send, 0.5)
    log = gather(events, mapping, source.warnings)
    np.testing.assert_array_equal(log.counts, [4, 5])  # the first line may be torn, 2.5 is none
    assert "1 lines" in log.warnings[0]


@posix
def test_a_pulled_plug_is_a_gap(tmp_path):
    """The port is a link that can be pointed at a second pseudo-terminal, as a plug put back."""
    import tty

    link = tmp_path / "port"
    first, first_end = os.openpty()
    second, second_end = os.openpty()
    for end in (first_end, second_end):
        tty.setraw(end)
    link.symlink_to(os.ttyname(first_end))
    plug: list[float] = []

    def send():
        time.sleep(0.1)
        os.write(first, b"x")
        time.sleep(0.2)
        plug.append(time.monotonic())
        link.unlink()
        os.close(first_end)
        os.close(first)
        time.sleep(0.5)
        plug.append(time.monotonic())
        link.symlink_to(os.ttyname(second_end))
        time.sleep(0.5)
        os.write(second, b"xx")

    try:
        events, source = listen(str(link), BYTES, send, 1.8)
    finally:
        os.close(second)
        os.close(second_end)
    train = gather(events, BYTES, source.warnings)
    assert train.count == 3
    assert len(train.gaps_s) == 1
    start, end = train.gaps_s[0]
    pulled, back = np.array(plug) - source._zero
    assert abs(start - pulled) < 0.3
    assert 0 < end - back < 0.4
    assert "broke off" in train.warnings[0]
    assert train.live_s == pytest.approx(train.duration_s - (end - start))


@posix
def test_a_port_that_never_comes_back(terminal):
    ours, port = terminal

    def send():
        time.sleep(0.1)
        os.write(ours, b"x")
        time.sleep(0.2)
        os.close(ours)

    events, source = listen(port, BYTES, send, 30.0, patience_s=0.3)
    assert isinstance(events[-2], Gap) or isinstance(events[-1], Gap)
    assert any("did not come back" in warning for warning in source.warnings)
    assert gather(events, BYTES).count == 1


@posix
def test_sampling_and_suggesting(terminal):
    ours, port = terminal

    def send():
        for i in range(5):
            time.sleep(0.05)
            os.write(ours, b"%d;0,1%d uSv/h\r\n" % (i, i))

    sender = threading.Thread(target=send)
    sender.start()
    sample = sample_line(port, seconds=0.6)
    sender.join()
    mapping = suggest_line_mapping(sample)
    assert (mapping.role, mapping.unit, mapping.decimal) == ("dose_rate", "µSv/h", "comma")
    assert (mapping.separator, mapping.value_column) == ("semicolon", 2)
    mapping.check(arrival=True)
    with pytest.raises(UserError, match="Nothing came"):
        sample_line(port, seconds=0.1)


@pytest.mark.parametrize(
    "sample, role",
    [
        (b"\x00\x00\x00", "byte"),
        (b"xxxxxx", "byte"),
        (b"tick\r\ntick\r\ntick\r\n", "pulse"),
        (b"1\r\n1\r\n1\r\n1\r\n", "pulse"),
        (b"12\n13\n17\n15\n", "counts"),
        (b"CPM 5\nCPM 6\nCPM 4\n", "pulse"),
        (b"5 cpm\n6 cpm\n7 cpm\n", "rate"),
        (b"0.12\n0.13\n0.15\n0.11\n", "dose_rate"),
    ],
)
def test_line_suggestions(sample, role):
    mapping = suggest_line_mapping(sample)
    assert mapping.role == role
    assert mapping.reasons["role"]


@given(st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_bytes_get_some_suggestion(sample):
    suggest_line_mapping(sample)


@posix
@given(data=st.binary(min_size=1, max_size=200))
@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_bytes_never_crash_the_listener(terminal, data):
    ours, port = terminal
    mapping = mapping_from_words(["separator=space", "unit_column=3"], RATES)
    events, source = listen(port, mapping, lambda: os.write(ours, data), 0.1)
    gather(events, mapping, source.warnings)


def test_bad_ports_get_one_sentence(tmp_path):
    for port, word in (
        ("/dev/no-such-port", "no serial port"),
        (str(tmp_path), "cannot be opened"),
        ("strange://x", "cannot be set up"),
    ):
        with pytest.raises(UserError) as caught:
            SerialSource(port, BYTES)
        assert word in caught.value.message
        assert "\n" not in caught.value.message
    with pytest.raises(UserError, match="unit"):
        SerialSource("/dev/null", Mapping("dose_rate", value_column=1))
    with pytest.raises(UserError, match="time of arrival"):
        SerialSource("/dev/null", Mapping("spacing", value_column=1, unit="s"))


class Slow(QueuedSource):
    """A source whose reader falls behind."""

    sample_rate_hz = 100

    def _stop(self) -> None:
        pass

    def put(self, at: float) -> None:
        self._put(SoundBlock(at, at + 1.0, np.ones(100, np.float32)))


def test_overrun_becomes_a_gap_of_silence():
    source = Slow(most_waiting=3)
    for second in range(5):
        source.put(float(second))
    events = iter(source)
    heard = [next(events) for _ in range(3)]
    for second in range(5, 7):
        source.put(float(second))
    source.close()
    heard += list(events)
    gaps = [(event.start_s, event.until_s) for event in heard if isinstance(event, Gap)]
    assert gaps == [(3.0, 5.0)]
    sound = np.concatenate([event.samples for event in heard if isinstance(event, SoundBlock)])
    np.testing.assert_array_equal(sound, np.repeat([1, 1, 1, 0, 0, 1, 1], 100))
    with pytest.raises(ValueError, match="click detection"):
        gather(heard, BYTES)


class Card:
    """Stands in for the sound library: plays what a test says, with the clock it says."""

    class PortAudioError(Exception):
        pass

    def __init__(self, inputs: int = 1) -> None:
        self.inputs = inputs

    def query_devices(self, device=None, kind=None):
        entry = {"name": "a card", "max_input_channels": self.inputs, "default_samplerate": 48000.0}
        if kind == "input" and not self.inputs:
            raise self.PortAudioError("no input\nsecond line")
        return entry if kind else [entry]

    def InputStream(self, **options):  # noqa: N802 - the library's name
        self.options = options
        return SimpleNamespace(start=lambda: None, stop=lambda: None, close=lambda: None)

    def play(self, value: float, at: float, overflow: bool = False) -> None:
        block = np.full((self.options["blocksize"], self.options["channels"]), value, np.float32)
        clock = SimpleNamespace(inputBufferAdcTime=at)
        self.options["callback"](block, len(block), clock, SimpleNamespace(input_overflow=overflow))


def test_microphone_keeps_time_over_lost_samples(monkeypatch):
    from counterproof.signals.microphone import MicrophoneSource, microphones

    card = Card()
    monkeypatch.setitem(sys.modules, "sounddevice", card)
    assert microphones() == [(0, "a card", 1, 48000.0)]
    source = MicrophoneSource(block_s=0.1)
    assert source.sample_rate_hz == 48000
    card.play(1.0, 500.0)
    card.play(2.0, 500.101)  # a millisecond of jitter is none of our business
    card.play(3.0, 500.5, overflow=True)
    card.play(4.0, 500.6)
    source.close()
    events = list(source)
    assert [type(event).__name__ for event in events] == [
        "SoundBlock", "SoundBlock", "Gap", "SoundBlock", "SoundBlock", "SoundBlock",
    ]  # fmt: skip
    sound = np.concatenate([event.samples for event in events if isinstance(event, SoundBlock)])
    assert sound.size == 48000 * 0.7
    assert [sound[round(at * 48000)] for at in (0.05, 0.15, 0.25, 0.45, 0.55, 0.65)] == [
        1, 2, 0, 0, 3, 4,
    ]  # fmt: skip
    gap = events[2]
    assert (gap.start_s, gap.until_s) == pytest.approx((0.2, 0.5))


def test_no_microphone_gets_one_sentence(monkeypatch):
    from counterproof.signals.microphone import MicrophoneSource

    monkeypatch.setitem(sys.modules, "sounddevice", Card(inputs=0))
    with pytest.raises(UserError) as caught:
        MicrophoneSource()
    assert "no input" in caught.value.message
    assert "\n" not in caught.value.message
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(UserError, match="PortAudio"):
        MicrophoneSource()


def test_signals_do_not_need_the_sound_library():
    """Importing every reader leaves sounddevice, serial and av alone."""
    import subprocess

    code = (
        "import sys\n"
        "from counterproof.signals import audio, live, microphone, pulsefile, pulselist\n"
        "from counterproof.signals import serialline, suggest, tables\n"
        "sys.exit(len({'sounddevice', 'serial', 'av', 'soundfile'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_pulse_batches_reach_a_pulse_file(tmp_path):
    """How ``listen`` keeps what it hears: every batch is on the disk when the next one comes."""
    from counterproof.signals.pulsefile import PulseWriter, read_pulses

    events = [
        PulseBatch(0.0, 1.0, np.array([0.25, 0.5])),
        PulseBatch(1.0, 2.0, np.empty(0)),
        Gap(2.0, 5.0, "unplugged"),
        PulseBatch(5.0, 6.0, np.array([5.5])),
    ]
    path = tmp_path / "live.pulses"
    with PulseWriter(path) as writer:
        for event in events:
            if isinstance(event, Gap):
                writer.gap(event.start_s, event.until_s)
            else:
                writer.append(event.times_s, event.until_s)
    kept, direct = read_pulses(path), gather(events, BYTES)
    np.testing.assert_array_equal(kept.times_s, direct.times_s)
    np.testing.assert_array_equal(kept.gaps_s, direct.gaps_s)
    assert (kept.duration_s, kept.live_s) == (6.0, 3.0)
