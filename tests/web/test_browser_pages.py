"""The pages in a real browser: a newcomer's way, by keyboard, without barriers or network."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from counterproof.bench import Bench
from counterproof.kit import Instrument, Source
from counterproof.records import Outcome, Run
from tests.tools.axe import plain_checks, violations
from tests.tools.browser import Served, chromium, chromium_path, until, write_clicks


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


class Newcomer:
    """Somebody who has not read anything: every deed is counted."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.deeds = 1  # counterproof serve

    def press(self, name: str) -> None:
        self.deeds += 1
        leaf = self.page.locator("main")
        leaf.locator(f"button:has-text('{name}'), a.button:has-text('{name}')").first.click()

    def type(self, label: str, words: str) -> None:
        self.deeds += 1
        self.page.get_by_label(label).fill(words)

    def choose(self, label: str, path: Path) -> None:
        self.deeds += 1
        self.page.get_by_label(label, exact=True).set_input_files(str(path))


def test_ten_deeds_from_nothing_to_a_verdict(browser: Any, tmp_path: Path) -> None:
    write_clicks(tmp_path / "background.wav", 40.0, 3.0, seed=3)
    (tmp_path / "home").mkdir()
    with Served(tmp_path / "home") as served:
        assert served.up_s < 10.0  # 3 s on an idle machine; tests share theirs
        page = browser.new_context().new_page()
        asked: list[str] = []
        page.on("request", lambda r: asked.append(r.url))
        page.goto(served.at)
        somebody = Newcomer(page)
        somebody.press("Lay out the bench")
        somebody.press("Record")
        somebody.type("Which counter?", "My counter")
        somebody.choose("Recording", tmp_path / "background.wav")
        somebody.type("What did the display show?", "0.14 µSv/h")
        somebody.press("Begin")
        page.wait_for_url("**/runs/run-0001*")
        assert "s⁻¹" in page.inner_text(".big .number")
        somebody.press("Judge what My counter has shown")
        page.wait_for_url("**/trials?*")
        line = page.locator("ul.trials li", has_text="Background")
        assert line.locator(".verdict-word").count() == 1
        assert "0.14" in line.inner_text()
        assert somebody.deeds <= 10
        assert all(url.startswith((served.at, "data:")) for url in asked)
        said = served.stop()
    assert "Ctrl-C stops it" in said
    assert served.process.returncode == 0


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A bench with something of everything."""
    from counterproof.simulate import hollow_lane
    from counterproof.workshop.capture import add_run, typed_readings
    from counterproof.workshop.judging import judge_all

    chromium_path()
    folder = tmp_path_factory.mktemp("full")
    with Bench.create(folder / "bench", hollow_lane.PLACE) as bench:
        from datetime import UTC, datetime

        bench.add(Instrument(name="Lantern", role="under test", description="invented"))
        bench.add(Source(name="caesium disc", nuclide="Cs-137"))
        wav = folder / "x.wav"
        write_clicks(wav, 30.0, 4.0, seed=5)
        run = Run(
            id="", instrument="Lantern", started_utc=datetime.now(UTC), duration_s=0.0,
            simulated=True,
        )  # fmt: skip
        typed = typed_readings(["0.12 µSv/h", "0.13", "0.15"], 30.0, "momentary")
        add_run(bench, run, recordings=[wav], readings=[typed])
        judge_all(bench, "Lantern")
        assert bench.names(Outcome)
    with Served(folder, str(folder / "bench")) as served:
        yield served


PAGES = (
    "/", "/begin", "/kit", "/kit/instrument/item/Lantern", "/kit/source/edit/caesium%20disc",
    "/kit/tube/new", "/listen", "/live", "/runs", "/runs/run-0001", "/trials",
    "/trials/background", "/findings", "/retrofit", "/calibration", "/video", "/dossier", "/phone",
    "/nowhere",
)  # fmt: skip


@pytest.mark.parametrize("scheme,width", [("light", 1440), ("dark", 390)])
def test_no_page_has_barriers_or_asks_the_network(
    browser: Any, full: Served, scheme: str, width: int
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 900}, color_scheme=scheme, reduced_motion="reduce"
    )
    page = context.new_page()
    asked: list[str] = []
    faults: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on(
        "console",
        lambda m: faults.append(m.text) if m.type == "error" and "404" not in m.text else None,
    )
    wrong: list[str] = []
    # what the structure holds is the same in the dark; colours and sizes are not
    only = () if scheme == "light" else ("color-contrast", "target-size")
    for path in PAGES:
        page.goto(full.at + path)
        wrong += plain_checks(page) + violations(page, only)
    assert wrong == []
    assert faults == []
    assert [url for url in asked if not url.startswith((full.at, "data:", "blob:"))] == []
    context.close()


def test_the_live_page_has_no_barriers(browser: Any, full: Served) -> None:
    page = browser.new_context(viewport={"width": 390, "height": 900}).new_page()
    page.goto(f"{full.at}/listen?way=microphone")
    page.locator("main form.listen button").click()
    page.wait_for_url("**/live")
    until(page, "document.getElementById('word').textContent.startsWith('Waiting')")
    assert plain_checks(page) + violations(page) == []
    page.locator("#finish").click()
    page.wait_for_url("**/runs/*")


def test_the_keyboard_alone_suffices(browser: Any, full: Served) -> None:
    page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
    page.goto(full.at + "/kit")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "leaf"
    _tab_to(page, "Describe a tube")
    page.keyboard.press("Enter")
    page.wait_for_url("**/kit/tube/new")
    _tab_to_field(page, "name")
    page.keyboard.type("slim steel")
    _tab_to_field(page, "outer_diameter_mm")
    page.keyboard.type("10 mm")
    _tab_to_field(page, "length_mm")
    page.keyboard.type("9 cm")
    # what is typed outlives a reload
    page.reload()
    assert page.input_value("#f-length_mm") == "9 cm"
    _tab_to_field(page, "name")
    page.keyboard.press("Enter")
    page.wait_for_url("**/kit/tube/item/slim%20steel*")
    assert "slim steel lies on the bench" in page.inner_text(".remark")
    _tab_to(page, "Undo")
    page.keyboard.press("Enter")
    page.get_by_text("Undone:").wait_for()


def _tab_to(page: Any, words: str) -> None:
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == words:
            shown = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert shown != "none"  # one sees where one is
            return
    raise AssertionError(f"the keyboard does not reach: {words}")


def _tab_to_field(page: Any, name: str) -> None:
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name || ''") == name:
            return
    raise AssertionError(f"the keyboard does not reach: {name}")
