"""The page in a real browser: barriers, requests, overflow at three widths, light and dark."""

from pathlib import Path

from tests.dossier.full import page
from tests.tools.axe import violations
from tests.tools.browser import chromium


def test_the_page_has_no_barriers_and_asks_nobody(tmp_path: Path) -> None:
    # axe-core, rules tagged WCAG 2 A and AA (see tests/tools/axe.py)
    file = tmp_path / "dossier.html"
    file.write_text(page(), encoding="utf-8")
    with chromium() as browser:
        for scheme in ("light", "dark"):
            context = browser.new_context(bypass_csp=True, color_scheme=scheme)
            tab = context.new_page()
            asked: list[str] = []
            tab.on("request", lambda r, asked=asked: asked.append(r.url))
            for width in (1280, 768, 360):
                tab.set_viewport_size({"width": width, "height": 900})
                tab.goto(file.as_uri())
                wide = tab.evaluate("document.documentElement.scrollWidth")
                assert wide <= width, f"{wide} px on {width} px ({scheme})"
            assert violations(tab) == [], scheme
            outside = [u for u in asked if not u.startswith(("file:", "data:"))]
            assert outside == []
            assert len([u for u in asked if u.startswith("file:")]) == 3
            context.close()


def test_nothing_in_the_page_names_another_place() -> None:
    words = page().replace('xmlns="http://www.w3.org/2000/svg"', "")
    words = words.replace('xmlns:xlink="http://www.w3.org/1999/xlink"', "")
    assert [w for w in ("http://", "https://", "@import", "<script") if w in words] == []
