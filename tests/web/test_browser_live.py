"""A run recorded in a real browser: a file stands in for the microphone; the server is killed."""

import json
import time
from pathlib import Path

import numpy as np

from counterproof.bench import Bench
from counterproof.records import Run
from tests.tools.browser import Served, chromium, chromium_path, until, write_clicks
from tests.tools.serialfeed import SerialFeed

RATE = 10.0


def lined_up(found: np.ndarray, truth: np.ndarray) -> tuple[float, int]:
    """Return the offset between two clocks and how many events agree to 15 ms under it.

    A browser that plays a file as its microphone stumbles by some milliseconds on a busy machine.
    """
    best = (0.0, -1)
    for first in found[:12]:
        for shift in first - truth:
            near = truth[np.searchsorted(truth, found - shift).clip(1, truth.size - 1)]
            before = truth[np.searchsorted(truth, found - shift).clip(1, truth.size - 1) - 1]
            off = np.minimum(np.abs(found - shift - near), np.abs(found - shift - before))
            agree = int((off < 15e-3).sum())
            if agree > best[1]:
                best = (float(shift), agree)
    return best


def test_a_microphone_run_survives_a_power_cut_and_goes_on(tmp_path: Path) -> None:
    chromium_path()
    wav = tmp_path / "mic.wav"
    truth = write_clicks(wav, 60.0, RATE, seed=7)
    fake = (
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={wav}",
    )
    Bench.create(tmp_path / "bench", "a bench").close()
    served = Served(tmp_path, str(tmp_path / "bench"))
    try:
        with chromium(*fake) as browser:
            context = browser.new_context(permissions=["microphone"])
            page = context.new_page()
            outside: list[str] = []
            page.on(
                "request",
                lambda r: None if r.url.startswith((served.at, "data:")) else outside.append(r.url),
            )
            page.goto(f"{served.at}/listen?way=microphone")
            page.fill("#f-counter", "Lantern")
            page.click("main form.listen button")
            page.wait_for_url("**/live")
            # the permission is there, so the page listens by itself
            until(page, "document.getElementById('word').textContent.startsWith('Learn')")
            until(page, "Number(document.getElementById('count').textContent) > 80")
            until(page, "Number(document.getElementById('live').dataset.pace) >= 9.5")
            # a phone types what the display shows while the laptop listens
            phone = context.browser.new_context(viewport={"width": 390, "height": 844}).new_page()
            phone.goto(f"{served.at}/live")
            phone.fill("#value", "0.31")
            phone.keyboard.press("Enter")
            until(phone, "document.getElementById('stamped').textContent.includes('0.31')")
            phone.keyboard.press("/")
            phone.keyboard.type("0,30")
            phone.keyboard.press("Enter")
            until(page, "document.getElementById('last').textContent.includes('average')")
            with page.expect_event("websocket") as made:
                page.evaluate(
                    "window.probe = new WebSocket(location.href.replace('http', 'ws') + '/state')"
                )
            states: list[dict[str, object]] = []
            made.value.on("framereceived", lambda data: states.append(json.loads(data)))
            page.wait_for_timeout(1000)
            assert 9 <= len(states) <= 12  # ten pictures a second
            served.kill()
            heard = float(states[-1]["seconds"])  # type: ignore[arg-type]
            counted = int(states[-1]["count"])  # type: ignore[call-overload]

            served = Served(tmp_path, str(tmp_path / "bench"), port=served.port)
            page.wait_for_url("**/runs/run-0001", timeout=20000)  # the open page finds its way
            state = "fetch('/jobs/1/state').then((a) => a.json()).then((j) => j.state === 'done')"
            until(page, state)  # what the cut left uncounted is counted
            assert "cut off" in page.inner_text("main")
            with Bench.open(tmp_path / "bench", write=False) as bench:
                run = bench.get(Run, "run-0001")
                train = bench.load_train(run)
                assert run.interrupted
                assert train.duration_s >= heard - 1.0  # at most a second is lost
                assert train.count >= counted
                shift, agree = lined_up(train.times_s, truth)
                start, end = train.times_s[0] - 1e-3, train.duration_s
                played = int(((truth + shift >= start) & (truth + shift < end)).sum())
                assert agree >= 0.97 * train.count
                assert abs(train.count - played) <= 0.05 * played
                logs = {g.field: g.values.tolist() for g in bench.load_reading_logs(run)}
                assert logs == {"momentary": [0.31], "average": [0.3]}

            page.click("main form[action$=carry-on] button")
            page.wait_for_url("**/live")
            more = counted + 20
            until(page, f"Number(document.getElementById('count').textContent) > {more}")
            page.click("#finish")
            page.wait_for_url("**/runs/run-0001*")
            assert outside == []
        served.stop()
        with Bench.open(tmp_path / "bench", write=False) as bench:
            run = bench.get(Run, "run-0001")
            train = bench.load_train(run)
            assert not run.interrupted
            assert train.gaps_s.size  # the pause is noted …
            assert len(bench.recording_paths(run)) == 2  # … and the sound is kept on both sides
            from counterproof.trials.levels import pulse_rate

            rate = pulse_rate(train)
            assert rate.low <= truth.size / 60.0 <= rate.high
    finally:
        if served.process.poll() is None:
            served.stop()


def test_a_serial_line_of_a_thousand_pulses_a_second(tmp_path: Path) -> None:
    chromium_path()
    feed = SerialFeed(1000.0)
    Bench.create(tmp_path / "bench", "a bench").close()
    with Served(tmp_path, str(tmp_path / "bench")) as served, chromium() as browser:
        page = browser.new_page()
        page.goto(f"{served.at}/listen?way=serial")
        page.fill("#f-counter", "Wren")
        page.fill("#f-port", feed.port)
        page.fill("#f-baud", "115200")
        feed.start()
        try:
            page.click("main form.listen button")
            page.wait_for_url("**/live")
            until(page, "Number(document.getElementById('count').textContent) > 500")
            used, began = served.cpu_s(), time.monotonic()
            page.wait_for_timeout(3000)
            share = (served.cpu_s() - used) / (time.monotonic() - began)
            assert float(page.get_attribute("#live", "data-pace")) >= 9.5
            assert share < 0.6  # of one core
            # the run goes on while nobody watches
            page.close()
            time.sleep(0.5)
            page = browser.new_page()
            page.goto(f"{served.at}/live")
            page.click("#finish")
            page.wait_for_url("**/runs/run-0001*")
        finally:
            feed.stop()
    with Bench.open(tmp_path / "bench", write=False) as bench:
        train = bench.load_train("run-0001")
        assert train.live_s > 4.0
        assert (
            abs(train.count / train.live_s - 1000.0) < 5.0 * (1000.0 / train.live_s) ** 0.5 + 20.0
        )
