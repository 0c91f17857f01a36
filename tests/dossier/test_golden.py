"""The dossier's text, as a person reads it, held against a stored copy.

After a change that is meant, renew it: ``COUNTERPROOF_RENEW=1 pytest tests/dossier/test_golden.py``
and read the difference before it is committed.
"""

import os
import re
from html import unescape
from pathlib import Path

from tests.dossier.full import page

GOLDEN = Path(__file__).with_name("golden.txt")


def plain(page: str) -> str:
    """The page's words: one line per heading, paragraph, list item and table row."""
    body = page[page.index("<body>") :]
    body = re.sub(r"<svg.*?</svg>", "", body, flags=re.S)
    body = re.sub(r"</(?:th|td|dt)>", " | ", body)
    body = re.sub(r"</(?:h\d|p|li|tr|dd|figcaption)>", "\n", body)
    words = unescape(re.sub(r"<[^>]+>", "", body))
    lines = (re.sub(r"[ \t]+", " ", line).strip() for line in words.split("\n"))
    return "\n".join(line for line in lines if line) + "\n"


def test_the_text_is_what_it_was() -> None:
    told = plain(page())
    if os.environ.get("COUNTERPROOF_RENEW"):
        GOLDEN.write_text(told, encoding="utf-8")
    assert told == GOLDEN.read_text(encoding="utf-8")


def test_a_check_is_never_called_calibrated() -> None:
    told = plain(page())
    chapters = told[told.index("\nCalibration\nLantern: checked") : told.index("\nMethods\n")]
    assert "calibrated" not in chapters
