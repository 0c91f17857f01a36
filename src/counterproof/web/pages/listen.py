"""Begin a run: a recording dropped in, a microphone, a serial line, or the display alone."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from tempfile import mkdtemp
from typing import Any, cast

from starlette.datastructures import UploadFile
from starlette.responses import Response

from counterproof.errors import UserError
from counterproof.kit import Instrument, Source
from counterproof.progress import Report
from counterproof.quantities import parse_quantity
from counterproof.records import Position, Run
from counterproof.texts import text
from counterproof.web.asking import Ask
from counterproof.workshop.desk import LiveWish

WAYS = ("file", "microphone", "serial", "card", "pad")
_FIELDS = ("counter", "distance", "note", "minutes", "port", "baud", "column", "display", "field")


def choose(ask: Ask) -> Response:
    """Ask what is to be recorded, and how."""
    counter = ask.asked("counter")
    if not counter and ask.bench.names(Instrument):
        counter = ask.counter()
    values = {"counter": counter, "way": ask.asked("way", "file"), "sources": ask.asked("source")}
    return _form(ask, values, "")


def _form(ask: Ask, values: dict[str, str], problem: str) -> Response:
    from counterproof.signals.serialline import serial_ports

    empty = dict.fromkeys(_FIELDS, "")
    return ask.page(
        "listen.html.j2",
        400 if problem else 200,
        values=empty | {"way": "file", "sources": "", "keep": "yes"} | values,
        problem=problem,
        counters=ask.bench.names(Instrument),
        sources=ask.bench.names(Source),
        ports=serial_ports(),
        ways=WAYS,
    )


def begin(ask: Ask) -> Response:
    """Begin to record, or to count what was dropped in."""
    chosen = "\n".join(ask.chosen("source"))
    values = {f: ask.typed(f) for f in _FIELDS} | {"way": ask.typed("way"), "sources": chosen}
    values["keep"] = ask.typed("keep")
    try:
        if values["way"] not in WAYS:
            raise UserError(text("web.listen.which_way"))
        if values["way"] == "file":
            return _count(ask, values)
        ask.desk.begin(_wish(ask, values))
    except UserError as error:
        return _form(ask, values, error.message)
    return ask.go("/live")


def _wish(ask: Ask, values: dict[str, str]) -> LiveWish:
    from counterproof.signals.mapping import Mapping, mapping_from_words

    words = values["column"].split()
    baud = values["baud"] or "9600"
    if not baud.isdigit():
        raise UserError(text("web.listen.which_baud", given=baud))
    return LiveWish(
        instrument=values["counter"],
        way=cast(Any, values["way"]),
        sources=tuple(ask.chosen("source")),
        distance_mm=_position(values).distance_mm,
        note=values["note"],
        keep_sound=bool(values["keep"]),
        planned_s=_planned_s(values["minutes"]),
        port=values["port"],
        baud=int(baud),
        mapping=mapping_from_words(words) if words else Mapping(role="byte"),
    )


def _position(values: dict[str, str]) -> Position:
    from counterproof.workshop.surroundings import typed_position

    given = values["distance"]
    return typed_position(distance=_with_unit(given, "cm") if given else None)


def _planned_s(given: str) -> float | None:
    if not given:
        return None
    seconds = parse_quantity(_with_unit(given, "min"), "s")
    if not seconds > 0.0:
        raise UserError(text("web.listen.which_length", given=given))
    return seconds


def _with_unit(given: str, unit: str) -> str:
    return f"{given} {unit}" if given[-1:].isdigit() else given


def _count(ask: Ask, values: dict[str, str]) -> Response:
    """Keep the uploaded file and count its clicks in the background."""
    from counterproof.workshop.capture import now

    upload = ask.upload("file")
    if upload is None:
        raise UserError(text("web.listen.which_file"))
    desk, bench = ask.desk, ask.bench
    run = Run(
        id="",
        instrument=desk.named_instrument(values["counter"]),
        position=_position(values),
        sources=tuple(ask.chosen("source")),
        started_utc=now(),
        duration_s=0.0,
        note=values["note"],
    )
    shown, field = values["display"], values["field"] or "average"
    path = kept(upload)

    def work(report: Report) -> str:
        from counterproof.signals.audio import open_audio
        from counterproof.workshop.capture import add_run, typed_readings

        try:
            readings = []
            if shown:
                with open_audio(path) as sound:
                    seconds = sound.duration_s or 0.0
                readings = [typed_readings([shown], max(seconds, 1.0), field)]
            stored, warnings = add_run(
                bench, run, recordings=[path], readings=readings, report=report
            )
        finally:
            shutil.rmtree(path.parent, ignore_errors=True)
        told = text("web.listen.counted", run=stored.id)
        sentence = " ".join([told, *warnings])
        number = desk.remark(sentence, lambda: bench.delete(Run, stored.id))
        return f"/runs/{stored.id}?told={number}"

    return ask.work(text("web.listen.counting"), work)


def kept(upload: UploadFile) -> Path:
    """Return a copy of an uploaded file in a folder of its own, under a harmless name."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", Path(upload.filename or "").name).lstrip(".-")
    path = Path(mkdtemp(prefix="counterproof-")) / (name[-80:] or "recording")
    with path.open("wb") as stream:
        shutil.copyfileobj(upload.file, stream, 1 << 20)
    return path
