"""The bench: what lies there and the next step; making or opening one; undoing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from starlette.responses import Response

from counterproof.errors import UserError
from counterproof.kit import Instrument, Source
from counterproof.progress import Report
from counterproof.records import Outcome, Run
from counterproof.texts import text
from counterproof.web.asking import Ask


@dataclass(frozen=True)
class _Card:
    """A counter as the bench page shows it."""

    instrument: Instrument
    runs: int
    outcomes: tuple[Outcome, ...]


def bench(ask: Ask) -> Response:
    """What lies on the bench and what to do next."""
    from counterproof.workshop.overview import next_step

    held = ask.bench
    cards = [
        _Card(i, len(held.names(Run, i.name)), held.list(Outcome, i.name))
        for i in held.list(Instrument)
    ]
    cards.sort(key=lambda c: c.instrument.role != "under test")
    return ask.page(
        "bench.html.j2",
        bench=held,
        cards=cards,
        sources=held.list(Source),
        step=next_step(held),
        cut=[r for r in held.list(Run) if r.interrupted and r.id != ask.desk.recording],
        jobs=ask.desk.jobs.working(),
    )


def begin(ask: Ask) -> Response:
    """Choose or make a bench."""
    return ask.page("begin.html.j2", folder=str(Path.cwd() / "bench"), name="", problem="")


def make(ask: Ask) -> Response:
    """Make a bench, or open the one that is there."""
    folder, name = ask.typed("folder"), ask.typed("name")
    try:
        _from_here(ask)
        if not folder:
            raise UserError(text("web.begin.which_folder"))
        place = Path(folder).expanduser()
        if (place / "bench.sqlite").is_file():
            ask.desk.open(place)
        else:
            ask.desk.create(place, name)
    except UserError as error:
        return ask.page("begin.html.j2", 400, folder=folder, name=name, problem=error.message)
    return ask.go("/")


def look(ask: Ask) -> Response:
    """Make the invented workshop's bench and open it."""
    _from_here(ask)
    folder = Path.cwd() / "hollow-lane"
    desk = ask.desk
    if desk.bench is not None and desk.bench.folder.resolve() == folder.resolve():
        return ask.go("/")  # it is open: making it anew would pull it from under the pages

    def work(report: Report) -> str:
        from counterproof.workshop.demo import tell

        tell(folder, lambda _: report)
        desk.open(folder)
        return "/"

    return ask.work(text("web.begin.telling"), work, "/begin")


def _from_here(ask: Ask) -> None:
    if not ask.here:
        raise UserError(text("web.begin.only_here"))


def undo(ask: Ask) -> Response:
    """Take back what was just done."""
    told = ask.desk.undo(int(ask.path("number")))
    back = ask.typed("back")
    return ask.go(back if back.startswith("/") and not back.startswith("//") else "/", told)
