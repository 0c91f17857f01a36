"""Photograph the real pages for the README and docs/web.md: run `make demo` first, then this.

It needs Debian's Chromium. The bench is copied, so that the demonstration stays as it is; the
microphone is a file of random clicks.
"""

import shutil
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1]))

from tests.tools.browser import Served, chromium, until, write_clicks  # noqa: E402


def main(bench: Path) -> None:
    """Photograph the pages of a copy of ``bench``."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "bench"
        shutil.copytree(bench, folder)
        wav = Path(scratch) / "clicks.wav"
        write_clicks(wav, 120.0, 8.0, seed=21)
        fake = (
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={wav}",
        )
        with Served(Path(scratch), str(folder)) as served, chromium(*fake) as browser:
            wide = {"width": 1180, "height": 760}
            page = browser.new_context(viewport=wide, permissions=["microphone"]).new_page()
            page.goto(served.at)
            page.screenshot(path=HERE / "page-bench.png")
            page.goto(f"{served.at}/listen?way=microphone&counter=Lantern")
            page.click("main form.listen button")
            page.wait_for_url("**/live")
            until(page, "Number(document.getElementById('count').textContent) > 250", 90.0)
            page.screenshot(path=HERE / "page-live.png")
            small = {"width": 390, "height": 760}
            phone = browser.new_context(viewport=small, color_scheme="dark").new_page()
            phone.goto(f"{served.at}/live")
            phone.fill("#value", "0.42")
            phone.wait_for_timeout(1500)
            phone.screenshot(path=HERE / "page-phone.png")
            page.click("#finish")
            page.wait_for_url("**/runs/*")


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "hollow-lane"))
