"""Every sentence a user reads, in one catalogue: a translation is one file.

``text("signals.empty_file", path=path)`` looks up ``[signals] empty_file`` in ``en.toml`` and
fills in the names. A missing key or name is a defect, so it raises ``KeyError``.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def _catalogue(language: str) -> dict[str, Any]:
    source = files(__package__).joinpath(f"{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def text(key: str, /, **values: object) -> str:
    """Return the catalogue's text for ``key`` with ``{names}`` filled from ``values``.

    Args:
        key: dotted path into the catalogue, such as ``"signals.empty_file"``.
        **values: what the text's ``{names}`` stand for.

    Raises:
        KeyError: if the catalogue has no such key or a name is not given.
    """
    node: Any = _catalogue("en")
    for part in key.split("."):
        node = node[part]
    if not isinstance(node, str):
        raise KeyError(key)
    return node.format(**values)
