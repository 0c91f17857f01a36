"""The application: which address leads to which page; pages are imported when asked for."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import cache
from importlib import import_module
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp
from starlette.websockets import WebSocket

from counterproof.errors import UserError
from counterproof.texts import text
from counterproof.web.asking import Ask, NoBench
from counterproof.web.guard import Door, Guard, TooLarge
from counterproof.workshop.desk import Desk
from counterproof.workshop.logbook import LOGGER

PAGES: tuple[tuple[str, str, str], ...] = (
    ("GET", "/", "home:bench"),
    ("GET", "/begin", "home:begin"),
    ("POST", "/begin", "home:make"),
    ("POST", "/begin/look", "home:look"),
    ("GET", "/kit", "kit:listing"),
    ("GET", "/kit/{kind}/new", "kit:new"),
    ("POST", "/kit/{kind}/new", "kit:add"),
    ("GET", "/kit/{kind}/item/{name:path}", "kit:item"),
    ("GET", "/kit/{kind}/edit/{name:path}", "kit:edit"),
    ("POST", "/kit/{kind}/edit/{name:path}", "kit:amend"),
    ("POST", "/kit/{kind}/text/{name:path}", "kit:amend_text"),
    ("POST", "/kit/{kind}/delete/{name:path}", "kit:delete"),
    ("POST", "/kit/{kind}/restore/{name:path}", "kit:restore"),
    ("GET", "/listen", "listen:choose"),
    ("POST", "/listen", "listen:begin"),
    ("GET", "/video", "video:choose"),
    ("POST", "/video", "video:take"),
    ("GET", "/video/{number:int}", "video:page"),
    ("GET", "/video/{number:int}/still", "video:still"),
    ("GET", "/video/{number:int}/still/{still:int}", "video:picture"),
    ("POST", "/video/{number:int}/watch", "video:watch"),
    ("POST", "/video/{number:int}/key", "video:key"),
    ("POST", "/video/{number:int}/keep", "video:keep"),
    ("GET", "/live", "live:page"),
    ("POST", "/live/reading", "live:reading"),
    ("POST", "/live/strike", "live:strike"),
    ("POST", "/live/finish", "live:finish"),
    ("GET", "/live/shape", "live:shape"),
    ("GET", "/runs", "runs:listing"),
    ("GET", "/runs/{run}", "runs:one"),
    ("GET", "/runs/{run}/recording/{number:int}", "runs:recording"),
    ("POST", "/runs/{run}/note", "runs:note"),
    ("POST", "/runs/{run}/delete", "runs:delete"),
    ("POST", "/runs/{run}/carry-on", "runs:carry_on"),
    ("POST", "/runs/{run}/close", "runs:close"),
    ("GET", "/trials", "trials:listing"),
    ("POST", "/trials", "trials:judge_everything"),
    ("GET", "/trials/{trial}", "trials:one"),
    ("POST", "/trials/{trial}", "trials:judge"),
    ("GET", "/findings", "findings:listing"),
    ("POST", "/findings", "findings:weigh"),
    ("GET", "/retrofit", "retrofit:page"),
    ("POST", "/retrofit", "retrofit:propose"),
    ("GET", "/retrofit/slide", "retrofit:slide"),
    ("GET", "/calibration", "calibration:page"),
    ("POST", "/calibration", "calibration:calibrate"),
    ("GET", "/dossier", "dossier:preview"),
    ("GET", "/dossier/file", "dossier:file"),
    ("GET", "/figure/{kind}/{id}/{number:int}.{suffix}", "figures:figure"),
    ("GET", "/jobs/{number:int}", "jobs:page"),
    ("GET", "/jobs/{number:int}/state", "jobs:state"),
    ("POST", "/jobs/{number:int}/stop", "jobs:stop"),
    ("POST", "/undo/{number:int}", "home:undo"),
    ("GET", "/phone", "phone:page"),
    ("POST", "/phone", "phone:link"),
    ("GET", "/enter/{key}", "phone:enter"),
    ("GET", "/static/{name}", "assets:static"),
    ("GET", "/fonts/{name}", "assets:font"),
    ("GET", "/favicon.ico", "assets:icon"),
)
"""Method, address, and ``module:function`` below ``counterproof.web.pages``."""

STREAMS: tuple[tuple[str, str], ...] = (
    ("/live/sound", "live:sound"),
    ("/live/state", "live:state"),
)
"""Websockets: address and ``module:function``."""


@cache
def _found(target: str) -> Any:
    module, name = target.split(":")
    return getattr(import_module(f"counterproof.web.pages.{module}"), name)


def build_app(desk: Desk, door: Door, hosts: set[str], links: list[str]) -> ASGIApp:
    """Return the application.

    Args:
        desk: what outlives a page.
        door: who may come in from the network.
        hosts: names that the server answers to.
        links: addresses under which the network reaches it.
    """

    def ask(request: Request, form: FormData | None = None) -> Ask:
        return Ask(request, desk, door, links, form or FormData())

    def page(target: str) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            form = None
            if request.method == "POST":
                form = await request.form(max_files=8, max_fields=400, max_part_size=1 << 20)
            asked = ask(request, form)
            try:
                function = await run_in_threadpool(_found, target)
                found: Response = await run_in_threadpool(function, asked)
            except NoBench:
                return asked.go("/begin")
            except UserError as error:
                return asked.page("notice.html.j2", 400, sentence=error.message)
            finally:
                if form is not None:
                    await form.close()
            return found

        return answer

    def stream(target: str) -> Callable[[WebSocket], Awaitable[None]]:
        async def talk(websocket: WebSocket) -> None:
            try:
                await _found(target)(websocket, desk)
            except Exception:
                LOGGER.exception("defect at %s", websocket.url.path)
                raise

        return talk

    async def too_large(request: Request, fault: Exception) -> Response:
        return ask(request).page("notice.html.j2", 413, sentence=text("web.too_large"))

    async def missing(request: Request, fault: Exception) -> Response:
        status = fault.status_code if isinstance(fault, HTTPException) else 404
        key = "web.not_here" if status == 404 else "web.not_so"
        return ask(request).page("notice.html.j2", status, sentence=text(key))

    async def defect(request: Request, fault: Exception) -> Response:
        LOGGER.error("defect at %s", request.url.path, exc_info=fault)
        return PlainTextResponse(text("workshop.job_defect"), 500)

    routes: list[BaseRoute] = [Route(path, page(to), methods=[how]) for how, path, to in PAGES]
    routes += [WebSocketRoute(path, stream(to)) for path, to in STREAMS]
    app = Starlette(
        routes=routes,
        exception_handlers={
            TooLarge: too_large,
            HTTPException: missing,
            Exception: defect,
        },
    )
    return Guard(app, door, hosts)
