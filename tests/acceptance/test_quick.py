"""The quick subset of every acceptance topic runs in the suite."""

import importlib

import pytest

from acceptance.__main__ import topics


@pytest.mark.parametrize("name", topics())
def test_quick_rows_hold(name: str) -> None:
    rows = importlib.import_module(f"acceptance.{name}").measure(quick=True)
    missed = [
        f"{r.bar}: required {r.required}, measured {r.measured}" for r in rows if not r.passed
    ]
    assert rows
    assert not missed
