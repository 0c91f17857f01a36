"""A real browser for tests of the pages: Debian's Chromium, driven by Playwright.

Without it the tests are skipped and say so; where ``COUNTERPROOF_NEEDS_BROWSER`` is set they fail
instead, so that a clean check cannot pass without having looked.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

NEEDED = "COUNTERPROOF_NEEDS_BROWSER"
NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")


def chromium_path() -> str:
    """Return where Chromium lies; skip, or fail where it is needed, when there is none."""
    found = next((p for n in NAMES if (p := shutil.which(n))), None)
    try:
        import playwright  # noqa: F401
    except ImportError:
        found = None
    if found is None:
        sentence = "NO BROWSER: the pages were not looked at (Debian: apt install chromium)"
        if os.environ.get(NEEDED):
            pytest.fail(sentence)
        pytest.skip(sentence)
    return found


@contextmanager
def chromium(*arguments: str) -> Iterator[Any]:
    """Start Chromium."""
    path = chromium_path()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-dev-shm-usage", *arguments]
        )
        try:
            yield browser
        finally:
            browser.close()


def until(page: Any, expression: str, seconds: float = 30.0) -> None:
    """Wait until an expression of the page holds.

    The pages forbid scripts made from text, which is what Playwright's own waiting would need.
    """
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"never came true: {expression}"
        page.wait_for_timeout(50)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Served:
    """A running ``counterproof serve``."""

    def __init__(self, folder: Path, *arguments: str, port: int | None = None) -> None:
        """Start it in ``folder`` and wait until it answers."""
        self.port = free_port() if port is None else port
        self.at = f"http://127.0.0.1:{self.port}"
        environment = os.environ | {
            "COUNTERPROOF_LOG_FOLDER": str(folder / "log"),
            "XDG_CONFIG_HOME": str(folder / "config"),
        }
        environment.pop("COUNTERPROOF_BENCH", None)
        began = time.monotonic()
        code = "from counterproof.cli import main; main()"
        command = [sys.executable, "-c", code, "serve", *arguments, "--no-browser"]
        self.process = subprocess.Popen(
            [*command, "--port", str(self.port)],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        while time.monotonic() - began < 30.0:
            if self.process.poll() is not None:
                raise AssertionError(self.process.communicate()[0])
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.2).close()
                break
            except OSError:
                time.sleep(0.02)
        self.up_s = time.monotonic() - began

    def cpu_s(self) -> float:
        """Return the processor time that it has used so far."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def stop(self) -> str:
        """End it as Ctrl-C does; return what it said."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        said = self.process.communicate(timeout=20)[0]
        return str(said)

    def kill(self) -> None:
        """End it as a power cut does."""
        self.process.kill()
        self.process.communicate()

    def __enter__(self) -> Served:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.stop()


def write_clicks(path: Path, seconds: float, rate_per_s: float, seed: int) -> np.ndarray:
    """Write a recording of random clicks in a quiet room; return when they began, in s.

    A click is a ringing of 3.1 kHz that dies away in 0.8 ms, its loudness spread by 10 %.
    """
    import soundfile

    rng = np.random.default_rng(seed)
    hz = 48000
    count = rng.poisson(rate_per_s * (seconds - 0.1))
    times = np.sort(rng.uniform(0.05, seconds - 0.05, count))
    sound = rng.normal(0.0, 0.002, round(seconds * hz))
    t = np.arange(round(0.006 * hz)) / hz
    click = 0.4 * np.exp(-t / 0.0008) * np.sin(2 * np.pi * 3100 * t)
    for at in times:
        first = round(at * hz)
        part = click[: sound.size - first]
        sound[first : first + part.size] += part * rng.lognormal(0.0, 0.1)
    soundfile.write(path, np.clip(sound, -1, 1), hz, subtype="PCM_16")
    return times
