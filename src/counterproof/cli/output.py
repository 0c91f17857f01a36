"""How commands speak: results on stdout, everything else on stderr.

A command builds one record and hands it to :func:`emit` with a function that shows it to a person.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from counterproof.progress import Report, silent

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from counterproof.records import Record

R = TypeVar("R", bound="Record")


def console() -> Console:
    """Return the console on stdout."""
    from rich.console import Console

    # names come from people: brackets in them are no markup
    return Console(highlight=False, markup=False)


def say(message: str) -> None:
    """Print a remark for the person on stderr."""
    sys.stderr.write(message + "\n")


def emit(record: R, as_json: bool, show: Callable[[R], None]) -> None:
    """Print ``record`` as JSON, or let ``show`` print it for a person."""
    if as_json:
        sys.stdout.write(record.to_json() + "\n")
    else:
        show(record)


@contextmanager
def progress_bar(label: str, quiet: bool = False) -> Iterator[Report]:
    """Show a progress bar on stderr while the block works; yields the report to hand down.

    Nothing is shown when ``quiet`` or when stderr is no terminal.
    """
    if quiet or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(label, total=None)

        def report(done: int, total: int) -> bool:
            bar.update(task, completed=done, total=total)
            return True

        yield report


def pairs(rows: list[tuple[str, str]]) -> Table:
    """Return a plain two-column table of what and how much."""
    from rich.table import Table

    table = Table(show_header=False, box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for what, value in rows:
        table.add_row(what, value)
    return table


@contextmanager
def stages() -> Iterator[Callable[[str], Report]]:
    """Show work in stages: each call of what is yielded begins a stage and gives its report."""
    if not sys.stderr.isatty():

        def plain(label: str) -> Report:
            say(f"{label} …")
            return silent

        yield plain
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True)) as bar:

        def begin(label: str) -> Report:
            task = bar.add_task(label, total=None)

            def report(done: int, total: int) -> bool:
                bar.update(task, completed=done, total=total)
                return True

            return report

        yield begin
