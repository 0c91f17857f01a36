"""A filmed display: mark it, key a few stills, keep its readings as a run."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.responses import Response

from counterproof.errors import UserError
from counterproof.kit import Instrument
from counterproof.progress import Report
from counterproof.quantities import parse_quantity
from counterproof.records import Run
from counterproof.texts import text
from counterproof.web.asking import Ask
from counterproof.web.pages.listen import kept
from counterproof.workshop.filmwork import Film

_FIELDS = ("region", "format", "unit", "field", "lamp", "at")


def choose(ask: Ask) -> Response:
    """Ask for a video."""
    counter = ask.counter() if ask.bench.names(Instrument) else ""
    films = [(n, f.path.name) for n, f in ask.desk.films.items()]
    return ask.page("video.html.j2", counter=counter, films=films, problem="")


def take(ask: Ask) -> Response:
    """Keep an uploaded video beside the bench until its readings are taken."""
    upload = ask.upload("file")
    if upload is None:
        raise UserError(text("web.video.which"))
    counter = ask.desk.named_instrument(ask.typed("counter"))
    film = Film(kept(upload), counter)
    try:
        film.still()
    except UserError:
        film.discard()
        raise
    number = max(ask.desk.films, default=0) + 1
    ask.desk.films[number] = film
    return ask.go(f"/video/{number}")


def _film(ask: Ask) -> tuple[int, Film]:
    number = int(ask.path("number"))
    film = ask.desk.films.get(number)
    if film is None:
        raise HTTPException(404)
    return number, film


def page(ask: Ask) -> Response:
    """The video as far as it has come."""
    return _shown(ask, dict.fromkeys(_FIELDS, "") | {"unit": "µSv/h", "format": "0.00"}, "")


def _shown(ask: Ask, values: dict[str, str], problem: str) -> Response:
    number, film = _film(ask)
    return ask.page(
        "film.html.j2",
        400 if problem else 200,
        number=number,
        film=film,
        values=values,
        problem=problem,
        at=values["at"] or "0",
    )


def still(ask: Ask) -> Response:
    """The picture to mark the display on."""
    at = parse_quantity(f"{ask.asked('at', '0')} s", "s")
    return Response(_film(ask)[1].still(at), media_type="image/png")


def picture(ask: Ask) -> Response:
    """A still of the sheet."""
    found = _film(ask)[1].picture(int(ask.path("still")))
    if found is None:
        raise HTTPException(404)
    return Response(found, media_type="image/png")


def watch(ask: Ask) -> Response:
    """Go through the video with the marked display."""
    from counterproof.workshop.filming import declared

    number, film = _film(ask)
    values = {f: ask.typed(f) for f in _FIELDS}
    try:
        what = declared(
            [r.strip() for r in values["region"].split(";") if r.strip()],
            [values["format"]] if values["format"] else [],
            [values["unit"]] if values["unit"] else [],
            [values["field"] or "momentary"],
            every_s=0.2,
            at_s=parse_quantity(f"{values['at'] or '0'} s", "s"),
            lamp=values["lamp"] or None,
        )
    except UserError as error:
        return _shown(ask, values, error.message)

    def work(report: Report) -> str:
        film.watch(what, report)
        return f"/video/{number}"

    return ask.work(text("web.video.watching"), work, f"/video/{number}")


def key(ask: Ask) -> Response:
    """Take what was read on the stills."""
    number, film = _film(ask)
    typed = {
        s.number: ask.typed(f"still-{s.number}")
        for s in (film.found.sheet.open if film.found is not None else [])
    }
    film.key(typed)
    return ask.go(f"/video/{number}")


def keep(ask: Ask) -> Response:
    """Store the readings, the clicks and the video as a run."""
    from counterproof.workshop.capture import now

    number, film = _film(ask)
    bench, desk = ask.bench, ask.desk
    run = Run(
        id="", instrument=film.instrument, started_utc=now(), duration_s=0.0,
        note=ask.typed("note"),
    )  # fmt: skip

    def work(report: Report) -> str:
        stored, warnings = film.keep(bench, run, report)
        desk.films.pop(number, None)
        film.discard()
        told = " ".join([text("web.listen.counted", run=stored.id), *warnings])
        return f"/runs/{stored.id}?told={desk.remark(told)}"

    return ask.work(text("web.listen.counting"), work, f"/video/{number}")
