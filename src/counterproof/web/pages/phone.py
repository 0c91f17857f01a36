"""A second device: the one-time link, its picture, and the way in."""

from __future__ import annotations

from starlette.responses import Response

from counterproof.errors import UserError
from counterproof.texts import text
from counterproof.web.asking import Ask
from counterproof.web.guard import PASS


def page(ask: Ask) -> Response:
    """Explain how a phone comes in."""
    return ask.page("phone.html.j2", made="", picture="", open_wide=ask.door.open_wide)


def link(ask: Ask) -> Response:
    """Make a one-time link and show it as a picture; only for this machine."""
    import segno

    if not ask.here:
        raise UserError(text("web.phone.only_here"))
    if not ask.links:
        raise UserError(text("web.phone.closed"))
    made = f"{ask.links[0]}/enter/{ask.door.new_key()}"
    picture = segno.make(made, error="m").svg_inline(scale=5, svgclass="code")
    return ask.page("phone.html.j2", made=made, picture=picture, open_wide=True)


def enter(ask: Ask) -> Response:
    """Use up a link; the device keeps a pass until the program ends."""
    given = ask.door.enter(ask.path("key"))
    if given is None:
        raise UserError(text("web.phone.used"))
    answer = ask.go("/live" if ask.desk.live is not None else "/")
    answer.set_cookie(PASS, given, httponly=True, samesite="lax", path="/")
    return answer
