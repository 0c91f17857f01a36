"""Progress and cancelling, as one callable.

Long work takes ``report: Report`` and asks ``report(done, total)`` between chunks of fixed size;
``False`` means the person wants to stop, and :func:`step` turns that into :class:`Cancelled`.
"""

from __future__ import annotations

from collections.abc import Callable

from counterproof.errors import Cancelled

Report = Callable[[int, int], bool]
"""``report(done, total) -> bool``: called between chunks; ``False`` cancels."""


def silent(done: int, total: int) -> bool:
    """Report to nobody and never cancel."""
    return True


def step(report: Report, done: int, total: int) -> None:
    """Tell ``report`` how far the work has come.

    Raises:
        Cancelled: if ``report`` answers ``False``.
    """
    if not report(done, total):
        raise Cancelled
