"""Style, scripts and font: files of this package, by name."""

from __future__ import annotations

from importlib.resources import files

from starlette.exceptions import HTTPException
from starlette.responses import Response

from counterproof.web.asking import Ask

_KINDS = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "woff2": "font/woff2",
}


def static(ask: Ask) -> Response:
    """Return a file of ``static``."""
    return _file("counterproof.web", "static", ask.path("name"))


def font(ask: Ask) -> Response:
    """Return the font that charts and pages share."""
    return _file("counterproof.charts", "fonts", ask.path("name"))


def icon(ask: Ask) -> Response:
    """Return the page's mark."""
    return _file("counterproof.web", "static", "mark.svg")


def _file(package: str, folder: str, name: str) -> Response:
    suffix = name.rpartition(".")[2]
    place = files(package).joinpath(folder)
    if suffix not in _KINDS or name not in {entry.name for entry in place.iterdir()}:
        raise HTTPException(404)
    return Response(
        place.joinpath(name).read_bytes(),
        media_type=_KINDS[suffix],
        headers={"cache-control": "public, max-age=3600"},
    )
