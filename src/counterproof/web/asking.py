"""What every page works with: the request, the desk, and the ways to answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote, urlencode

import jinja2
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from counterproof.bench import Bench
from counterproof.dossier.shown import FILTERS
from counterproof.errors import UserError
from counterproof.kit import KINDS, Instrument
from counterproof.progress import Report
from counterproof.records import Finding, Outcome, Outlook, Run
from counterproof.records.calibration import Calibration
from counterproof.texts import text
from counterproof.web.guard import Door, is_this_machine
from counterproof.workshop.desk import Desk


class NoBench(Exception):
    """There is no bench yet to show anything of."""


@dataclass(eq=False)
class Ask:
    """One request.

    Args:
        request: as it came.
        desk: what outlives the page.
        door: who may come in from the network.
        links: addresses under which the network reaches this server.
        form: what was sent with it.
    """

    request: Request
    desk: Desk
    door: Door
    links: list[str]
    form: FormData = field(default_factory=FormData)

    @property
    def bench(self) -> Bench:
        """The open bench.

        Raises:
            NoBench: if none is chosen yet.
        """
        if self.desk.bench is None:
            raise NoBench
        return self.desk.bench

    @property
    def here(self) -> bool:
        """Whether the request comes from this machine."""
        client = self.request.client
        return client is not None and is_this_machine(client.host)

    def path(self, name: str) -> str:
        """Return a part of the address."""
        return str(self.request.path_params[name])

    def asked(self, name: str, default: str = "") -> str:
        """Return an entry of the address's query."""
        return self.request.query_params.get(name, default)

    def typed(self, name: str) -> str:
        """Return a field of the form, stripped; empty if it was not sent."""
        value = self.form.get(name, "")
        return value.strip() if isinstance(value, str) else ""

    def chosen(self, name: str) -> list[str]:
        """Return all values of a field of the form."""
        return [v for v in self.form.getlist(name) if isinstance(v, str) and v]

    def upload(self, name: str) -> UploadFile | None:
        """Return a file of the form, ``None`` if none was chosen."""
        value = self.form.get(name)
        return value if isinstance(value, UploadFile) and value.filename else None

    # -- answers

    def page(self, template: str, status: int = 200, **values: Any) -> Response:
        """Return a page."""
        number = self.asked("told")
        remark = self.desk.remembered(int(number)) if number.isdigit() else None
        found = _environment().get_template(template)
        return HTMLResponse(
            found.render(
                ask=self,
                here=self.request.url.path,
                contents=_contents(self.desk),
                remark=remark,
                **values,
            ),
            status,
        )

    def counter_page(
        self, template: str, counter: str, status: int = 200, **values: Any
    ) -> Response:
        """Return a page about one counter, on which another can be chosen."""
        counters = self.bench.names(Instrument)
        return self.page(template, status, counter=counter, counters=counters, **values)

    def go(self, path: str, told: int | None = None, **others: str) -> Response:
        """Send the browser to another page, with a remark to show there."""
        entries = others | ({"told": str(told)} if told is not None else {})
        return RedirectResponse(path + (query(**entries) if entries else ""), 303)

    def work(self, title: str, work: Callable[[Report], str], origin: str = "") -> Response:
        """Start work in the background and send the browser to where it is followed.

        Args:
            title: what is being done, in words.
            work: called with its progress; returns the path of the page that shows its result.
            origin: the path of the page that asks for it; the request's own if empty.
        """
        job = self.desk.jobs.start(title, work, origin or self.request.url.path)
        return self.go(f"/jobs/{job.number}")

    def counter(self) -> str:
        """Return the counter that the page is about: as asked, else the one under test.

        Raises:
            UserError: if the bench has none.
        """
        known = self.bench.list(Instrument)
        asked = self.asked("counter") or self.typed("counter")
        if asked:
            return self.bench.get(Instrument, asked).name
        if not known:
            raise UserError(text("web.no_counter"))
        return next((i for i in known if i.role == "under test"), known[0]).name


@dataclass(frozen=True)
class Entry:
    """A line of the contents."""

    key: str
    path: str
    count: int | None = None


def _contents(desk: Desk) -> list[Entry]:
    bench = desk.bench
    if bench is None:
        return []
    items = sum(len(bench.names(cls)) for cls in KINDS.values())
    return [
        Entry("bench", "/"),
        Entry("kit", "/kit", items),
        Entry("listen", "/listen"),
        Entry("runs", "/runs", len(bench.names(Run))),
        Entry("trials", "/trials", len(bench.names(Outcome))),
        Entry("findings", "/findings", len(bench.names(Finding))),
        Entry("retrofit", "/retrofit", len(bench.names(Outlook))),
        Entry("calibration", "/calibration", len(bench.names(Calibration))),
        Entry("dossier", "/dossier"),
    ]


def _words(key: str, /, **values: object) -> str:
    return text(f"web.{key}", **values)


def link(*parts: str) -> str:
    """Return a path whose parts are quoted."""
    return "".join("/" + quote(p, safe="") for p in parts)


def query(**values: str | int) -> str:
    """Return entries as they stand behind a path."""
    return "?" + urlencode(values)


def _as_json(value: Any) -> str:
    return json.dumps(value)


def lasting(seconds: float) -> str:
    """Return a stretch of time as one says it."""
    if seconds < 120.0:
        return text("web.seconds", n=f"{seconds:.3g}")
    if seconds < 7200.0:
        return text("web.minutes", n=f"{seconds / 60.0:.3g}")
    return text("web.hours", n=f"{seconds / 3600.0:.3g}")


@cache
def _environment() -> jinja2.Environment:
    made = jinja2.Environment(
        loader=jinja2.FunctionLoader(_template),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= FILTERS | {"lasting": lasting}
    made.globals |= {"t": _words, "link": link, "query": query, "as_json": _as_json}
    return made


def _template(name: str) -> str:
    return files(__package__).joinpath("templates", name).read_text(encoding="utf-8")
