"""Check a page for barriers: with axe-core, and by hand for what every page must have.

axe-core (Deque Systems, MPL-2.0, unchanged) lies beside this file with its licence; it is used by
the tests alone.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

AXE = Path(__file__).with_name("axe-core-4.14.1.min.js")
RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")


def violations(page: Any, only: tuple[str, ...] = ()) -> list[str]:
    """Return what axe-core finds wrong with a Playwright page, a line each.

    Args:
        page: as it stands.
        only: these rules; all of WCAG 2.2 A and AA and the best practices when empty.
    """
    page.evaluate(AXE.read_text(encoding="utf-8"))
    what = {"type": "rule", "values": only} if only else {"type": "tag", "values": RULES}
    found = page.evaluate(
        "what => axe.run(document, {runOnly: what, iframes: false, resultTypes: ['violations']})",
        what,
    )
    return [
        f"{page.url} {v['id']} ({v['impact']}): {[n['html'][:90] for n in v['nodes'][:3]]}"
        for v in found["violations"]
    ]


def plain_checks(page: Any) -> list[str]:
    """Return barriers that need no library: names, labels, headings, language, overflow."""
    found: list[str] = page.evaluate(
        """() => {
          const wrong = [];
          const seen = (e) => e.checkVisibility && e.checkVisibility();
          if (!document.documentElement.lang) wrong.push('no language');
          if (!document.title) wrong.push('no title');
          if (document.querySelectorAll('main').length !== 1) wrong.push('not one main');
          if (document.querySelectorAll('h1').length !== 1) wrong.push('not one h1');
          for (const e of document.querySelectorAll('input, select, textarea')) {
            if (e.type === 'hidden' || !seen(e)) continue;
            if (!e.labels.length && !e.getAttribute('aria-label'))
              wrong.push('no label: ' + e.name);
          }
          for (const e of document.querySelectorAll('a, button')) {
            if (!seen(e)) continue;
            if (!(e.textContent.trim() || e.getAttribute('aria-label')))
              wrong.push('no name: ' + e.outerHTML);
          }
          for (const e of document.querySelectorAll('img, [role=img]')) {
            if (!(e.alt || e.getAttribute('aria-label') || e.getAttribute('aria-labelledby')))
              wrong.push('no description: ' + e.outerHTML.slice(0, 80));
          }
          const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
          for (const id of new Set(ids))
            if (ids.filter((i) => i === id).length > 1) wrong.push('twice: ' + id);
          if (document.documentElement.scrollWidth > document.documentElement.clientWidth + 1)
            wrong.push('wider than the screen');
          return wrong;
        }"""
    )
    return [f"{page.url} {f}" for f in found]
