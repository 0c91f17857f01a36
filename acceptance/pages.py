"""The pages: how soon they are there, how evenly a live run is drawn, what a power cut costs."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np

from acceptance import Row
from counterproof.kit import Tube

TITLE = "Pages"
SLIM = Tube.loads(
    "[tube]\nname = 'slim steel'\nconstruction = 'thin metal'\nouter_diameter_mm = 10\n"
    "length_mm = 90\n[tube.wall]\nmaterial = 'stainless steel'\nthickness_mm = 0.1\n"
)


def measure(quick: bool = False) -> list[Row]:
    """Measure without a browser when quick, else with Chromium as well."""
    with tempfile.TemporaryDirectory() as scratch:
        rows = [_up(Path(scratch)), _knob()]
        if not quick:
            rows += [_long_run(Path(scratch)), *_live(Path(scratch)), *_serial(Path(scratch))]
    return rows


def _bench(folder: Path) -> Path:
    from counterproof.bench import Bench

    Bench.create(folder, "a bench").close()
    return folder


def _up(scratch: Path) -> Row:
    from tests.tools.browser import Served

    with Served(scratch, str(_bench(scratch / "up"))) as served:
        used = served.cpu_s()
        wall = served.up_s
    return Row(
        "the server answers", "within 3 s on an idle machine", f"{used:.2f} s of CPU", used < 3.0,
        f"{wall:.1f} s by the clock while this ran",
    )  # fmt: skip


def _knob() -> Row:
    from counterproof.workshop import sliding

    sliding.response_of(sliding.slid_tube(SLIM, {"filter_mm": 0.2}, "tin"))  # loads tables
    used = []
    for mm in (0.1, 0.3, 0.5, 0.8, 1.0):
        began = time.process_time()
        sliding.response_of(sliding.slid_tube(SLIM, {"filter_mm": mm}, "tin"))
        used.append(time.process_time() - began)
    middle = float(np.median(used))
    return Row(
        "a knob turned, to the new response curve", "300 ms", f"{1000 * middle:.0f} ms of CPU",
        middle < 0.3, f"{len(sliding.ENERGIES_KEV)} energies; the median of {len(used)}",
    )  # fmt: skip


def _long_run(scratch: Path) -> Row:
    """The page of a run of ten million pulses."""
    from datetime import UTC, datetime

    from counterproof.kit import Instrument
    from counterproof.records import Run
    from counterproof.signals.trains import PulseTrain
    from counterproof.web.app import build_app
    from counterproof.web.guard import Door
    from counterproof.workshop.desk import Desk
    from tests.tools.asgi import Client

    desk = Desk()
    bench = desk.create(scratch / "long")
    bench.add(Instrument(name="Wren"))
    times = np.cumsum(np.random.default_rng(1).exponential(1e-3, 10_000_000))
    run = Run(id="", instrument="Wren", started_utc=datetime.now(UTC), duration_s=0.0)
    bench.add_run(run, [PulseTrain(times, float(times[-1]) + 1.0)])
    us = Client(build_app(desk, Door(), {"127.0.0.1"}, []))
    us.get("/runs/none")  # imports
    began, clock = time.process_time(), time.monotonic()
    found = us.get("/runs/run-0001")
    used, wall = time.process_time() - began, time.monotonic() - clock
    desk.close()
    return Row(
        "the page of a run of ten million pulses", "1 s", f"{used:.2f} s of CPU",
        found.status == 200 and used < 1.0, f"{wall:.1f} s by the clock; figures follow after it",
    )  # fmt: skip


def _live(scratch: Path) -> list[Row]:
    """A minute of clicks through a browser's microphone, then a power cut in another run."""
    from counterproof.bench import Bench
    from counterproof.records import Run
    from counterproof.trials.levels import pulse_rate
    from tests.tools.browser import Served, chromium, until, write_clicks

    folder = _bench(scratch / "live")
    wav = scratch / "mic.wav"
    truth = write_clicks(wav, 75.0, 10.0, seed=11)
    fake = (
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={wav}%noloop",
    )
    with chromium(*fake) as browser:
        served = Served(scratch, str(folder))
        page = browser.new_context(permissions=["microphone"]).new_page()
        began = time.monotonic()
        page.goto(served.at)
        first = time.monotonic() - began
        page.goto(f"{served.at}/listen?way=microphone")
        page.fill("#f-counter", "Lantern")
        page.click("main form.listen button")
        page.wait_for_url("**/live")
        paces = []
        until(page, "document.getElementById('live').dataset.pace > 0")
        for _ in range(30):
            page.wait_for_timeout(2000)
            paces.append(float(page.get_attribute("#live", "data-pace")))
        page.click("#finish")
        page.wait_for_url("**/runs/run-0001*")
        page.goto(f"{served.at}/listen?way=microphone")
        page.click("main form.listen button")
        page.wait_for_url("**/live")
        until(page, "document.getElementById('word').textContent.startsWith('Learn')")
        page.wait_for_timeout(6000)
        heard = float(page.evaluate("document.getElementById('live').dataset.seconds"))
        served.kill()
        served = Served(scratch, str(folder), port=served.port)
        page.wait_for_url("**/runs/run-0002", timeout=30000)
        served.stop()
    from counterproof.bench.livesound import pieces

    with Bench.open(folder, write=False) as bench:
        train = bench.load_train("run-0001")
        rate = pulse_rate(train)
        kept = max((p.end_s for p in pieces(folder, "run-0002")), default=0.0)
        cut = bench.get(Run, "run-0002").interrupted
    # what was played while the page listened: the same stretch of the file's clock
    start = train.times_s[0] - truth[0]
    played = int(((truth + start > 0) & (truth + start < train.duration_s)).sum())
    true = played / train.live_s
    slowest = float(np.quantile(paces, 0.1))
    return [
        Row(
            "first page of a bench", "usable 2 s after the server answers", f"{first:.2f} s",
            first < 2.0, "by the clock",
        ),
        Row(
            "10 clicks/s for 60 s through a browser's microphone",
            "the true rate inside the stated interval",
            f"{rate.low:.2f} to {rate.high:.2f} /s for {true:.2f} /s; {train.count} of {played}",
            rate.low <= true <= rate.high,
        ),
        Row(
            "the strip moves", "at 10 Hz", f"{slowest:.1f} Hz", slowest >= 9.5,
            "nine tenths of the time at least",
        ),
        Row(
            "kill -9 while the click is still being learned", "at most 1 s is lost",
            f"{heard - kept:.2f} s", cut and heard - kept <= 1.0,
            "of the sound, which the next start counts; the run is marked interrupted",
        ),
    ]  # fmt: skip


def _serial(scratch: Path) -> list[Row]:
    from tests.tools.browser import Served, chromium, until
    from tests.tools.serialfeed import SerialFeed

    feed = SerialFeed(1000.0)
    folder = _bench(scratch / "serial")
    with Served(scratch, str(folder)) as served, chromium() as browser:
        page = browser.new_page()
        page.goto(f"{served.at}/listen?way=serial")
        page.fill("#f-counter", "Wren")
        page.fill("#f-port", feed.port)
        page.fill("#f-baud", "115200")
        feed.start()
        page.click("main form.listen button")
        page.wait_for_url("**/live")
        until(page, "document.getElementById('live').dataset.pace > 0")
        used, began, paces = served.cpu_s(), time.monotonic(), []
        for _ in range(10):
            page.wait_for_timeout(2000)
            paces.append(float(page.get_attribute("#live", "data-pace")))
        share = (served.cpu_s() - used) / (time.monotonic() - began)
        feed.stop()
        page.click("#finish")
        page.wait_for_url("**/runs/*")
    slowest = float(np.quantile(paces, 0.1))
    return [
        Row(
            "1000 pulses/s by the serial path", "10 Hz", f"{slowest:.1f} Hz", slowest >= 9.5,
            "nine tenths of the time at least",
        ),
        Row(
            "CPU of the server meanwhile", "below 60 % of a core", f"{100 * share:.0f} %",
            share < 0.6,
        ),
    ]  # fmt: skip
