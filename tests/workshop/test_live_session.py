"""A run while it is recorded: what is drawn, what a crash leaves, how it goes on and ends."""

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from counterproof.bench import Bench
from counterproof.bench.livesound import LiveSound, discard, pieces, stretches
from counterproof.counting.poisson import rate_limits
from counterproof.errors import UserError
from counterproof.kit import Instrument
from counterproof.records import Run
from counterproof.signals.fed import FedSource
from counterproof.signals.live import Gap, SoundBlock
from counterproof.workshop.desk import Desk, LiveWish
from counterproof.workshop.livekeep import close_interrupted, keep_sound, recover
from counterproof.workshop.strip import Heard
from tests.tools.browser import write_clicks


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with Bench.create(tmp_path / "bench") as bench:
        bench.add(Instrument(name="Lantern"))
        yield bench


def run() -> Run:
    return Run(id="", instrument="Lantern", started_utc=datetime.now(UTC), duration_s=0.0)


def test_a_sender_that_loses_samples_or_pauses_leaves_gaps() -> None:
    source = FedSource(8000)
    assert source.begin("page", 100)
    assert not source.begin("another page", 7)
    source.hear(100, np.ones(800, np.float32))
    source.hear(1700, np.ones(800, np.float32))  # 800 samples are missing
    source.leave("page")
    assert source.begin("another page", 7)
    source.hear(7, np.ones(800, np.float32))
    source.close()
    events = list(source)
    (gap,) = [e for e in events if isinstance(e, Gap)]
    assert (gap.start_s, gap.until_s) == (0.1, 0.2)
    blocks = [e for e in events if isinstance(e, SoundBlock)]
    assert blocks[-1].until_s == pytest.approx(0.4)
    # samples count the time: what was missing is silence of its length
    assert sum(b.samples.size for b in blocks) == 3200


def test_the_strip_has_exact_limits_and_leaves_out_what_was_not_heard() -> None:
    heard = Heard()
    rng = np.random.default_rng(4)
    times = np.sort(rng.uniform(0.0, 100.0, 700))
    times = times[(times < 40.0) | (times > 60.0)]
    for part in np.array_split(times, 7):
        heard.add(part)
    width, rows = heard.strip(100.0, [(40.0, 60.0)])
    assert width in (2.0, 5.0)
    inside = (rows[:, 0] > 40.0) & (rows[:, 0] < 60.0)
    assert np.isnan(rows[inside, 1]).all()
    edges = np.arange(0.0, 40.0 + width, width)
    counts = np.histogram(times, edges)[0]
    low, high = rate_limits(counts, width)
    assert rows[: counts.size, 1] == pytest.approx(counts / width)
    assert rows[: counts.size, 2] == pytest.approx(low)
    assert rows[: counts.size, 3] == pytest.approx(high)
    corrected = heard.strip(100.0, [(40.0, 60.0)], resolving_s=0.01)[1]
    # non-paralysable: m / (1 - m tau) (Knoll, Radiation Detection and Measurement, chapter 4)
    assert corrected[0, 1] == pytest.approx(rows[0, 1] / (1.0 - 0.01 * rows[0, 1]))


@pytest.mark.parametrize("seconds,rate", [(0.1, 5.0), (3.0, 0.0), (5.0, 1000.0), (40000.0, 0.3)])
def test_the_strip_is_of_a_size_to_be_drawn(seconds: float, rate: float) -> None:
    heard = Heard(np.sort(np.random.default_rng(1).uniform(0, seconds, int(rate * seconds))))
    assert heard.strip(seconds)[1].shape[0] <= 121


def test_intervals_beside_chance_account_for_all_of_them() -> None:
    times = np.cumsum(np.random.default_rng(8).exponential(0.1, 5000))
    found = Heard(times).intervals()
    # chi-square of measured against expected: 24 cells (seed fixed; 99.9 % point of 24 is 51.2)
    got, want = np.array(found["count"]), np.array(found["expected"])
    assert ((got - want) ** 2 / want).sum() < 51.2
    assert Heard(times[:10]).intervals()["x"] == []


def test_sound_lies_in_pieces_that_join(bench: Bench) -> None:
    x = np.linspace(-1.0, 0.99, 24000, dtype=np.float32)
    first = LiveSound(bench.folder, "run-0001", 8000, 0.0, keep=True)
    first.append(x)
    first.close()
    later = LiveSound(bench.folder, "run-0001", 8000, 10.0, keep=True)
    later.append(x)
    later.close()
    found = pieces(bench.folder, "run-0001")
    assert [(p.start_s, p.end_s) for p in found] == [(0.0, 3.0), (10.0, 13.0)]
    assert len(stretches(found)) == 2
    assert np.abs(found[0].read() - x).max() < 2.0**-15
    discard(bench.folder, "run-0001")
    assert pieces(bench.folder, "run-0001") == []


def test_a_run_that_died_while_learning_is_counted_from_its_sound(
    bench: Bench, tmp_path: Path
) -> None:
    import soundfile

    truth = write_clicks(tmp_path / "x.wav", 20.0, 6.0, seed=9)
    x, hz = soundfile.read(tmp_path / "x.wav", dtype="float32")
    live = bench.start_live(run())
    sound = LiveSound(bench.folder, live.run.id, hz, 0.0, keep=True)
    for part in np.array_split(x, 100):
        sound.append(part)
    sound.close()
    live.abandon()  # as the next opening would do
    mended = recover(bench, live.run.id)
    assert mended.interrupted
    train = bench.load_train(mended)
    assert abs(train.count - truth.size) <= 0.03 * truth.size
    assert train.duration_s == pytest.approx(20.0, abs=0.01)
    # once more finds nothing new
    assert bench.load_train(recover(bench, live.run.id)).count == train.count
    closed = close_interrupted(bench, live.run.id)
    assert not closed.interrupted
    (kept,) = bench.recording_paths(closed)
    again, _ = soundfile.read(kept, dtype="float32")
    assert np.abs(again - x).max() < 2.0**-14
    assert pieces(bench.folder, live.run.id) == []
    assert keep_sound(bench, closed) == closed


def test_carrying_on_counts_from_where_it_begins_again(bench: Bench) -> None:
    live = bench.start_live(run())
    live.append(np.array([0.5]), 1.0)
    live.abandon()
    again = bench.resume_live(live.run.id)
    again.carry_on(60.0)
    again.append(np.array([0.25]), 1.0)
    again.reading(0.5, 0.2, "dose_rate", "µSv/h")
    again.reading(0.7, 9.9, "dose_rate", "µSv/h")
    again.strike_reading()
    done = again.finish()
    train = bench.load_train(done)
    assert train.times_s.tolist() == [0.5, 60.25]
    assert train.gaps_s.tolist() == [[1.0, 60.0]]
    (log,) = bench.load_reading_logs(done)
    assert (log.times_s.tolist(), log.values.tolist()) == ([60.5], [0.2])


def test_a_planned_run_ends_by_itself(tmp_path: Path) -> None:
    desk = Desk()
    bench = desk.create(tmp_path / "bench")
    session = desk.begin(LiveWish("Lantern", "microphone", planned_s=1.0, keep_sound=False))
    with pytest.raises(UserError, match="finish it first"):
        desk.begin(LiveWish("Wren", "pad"))
    source = session.attach(8000)
    with pytest.raises(UserError, match="samples per second"):
        session.attach(48000)
    source.begin("page")
    for i in range(30):
        source.hear(800 * i, np.zeros(800, np.float32))
    end = time.monotonic() + 10.0
    while desk.live is not None and time.monotonic() < end:
        time.sleep(0.02)
    assert desk.live is None
    found = bench.get(Run, session.live.run.id)
    assert not found.interrupted
    assert bench.recording_paths(found) == ()
    desk.close()


def test_a_reading_typed_a_while_ago_gets_its_time(tmp_path: Path) -> None:
    desk = Desk()
    bench = desk.create(tmp_path / "bench")
    session = desk.begin(LiveWish("Lantern", "pad"))
    object.__setattr__(
        session.live.run, "started_utc", session.live.run.started_utc - timedelta(seconds=100)
    )
    session.read("0,15", age_s=40.0)
    done = desk.finish()
    (log,) = bench.load_reading_logs(done)
    assert log.times_s[0] == pytest.approx(60.0, abs=2.0)
    desk.close()
