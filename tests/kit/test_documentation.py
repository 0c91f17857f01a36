"""The examples in docs/kit.md are read as they stand."""

import re
from pathlib import Path

import pytest

from counterproof.kit import KINDS, loads_item

PAGE = (Path(__file__).parents[2] / "docs" / "kit.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.parametrize("content", EXAMPLES)
def test_an_example_is_valid(content: str) -> None:
    item = loads_item(content)
    assert loads_item(item.dumps()) == item


def test_every_kind_is_shown() -> None:
    assert {loads_item(e).table for e in EXAMPLES} == set(KINDS)
