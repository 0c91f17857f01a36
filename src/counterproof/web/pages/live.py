"""The run being recorded: its page, the microphone's stream, the reading pad."""

from __future__ import annotations

import asyncio
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.websockets import WebSocket, WebSocketDisconnect

from counterproof.errors import UserError
from counterproof.texts import text
from counterproof.web.asking import Ask

if TYPE_CHECKING:
    from counterproof.workshop.desk import Desk
    from counterproof.workshop.livework import LiveSession

EVERY_S = 0.1
_MOST_SAMPLES = 1 << 17


def _session(ask: Ask) -> LiveSession:
    if ask.desk.live is None:
        raise UserError(text("workshop.not_live"))
    return ask.desk.live


def page(ask: Ask) -> Response:
    """The run as it grows."""
    ask.bench  # noqa: B018  without a bench there is nothing to record on
    if ask.desk.live is None:
        return ask.page("nolive.html.j2")
    return ask.page("live.html.j2", session=ask.desk.live)


def reading(ask: Ask) -> Response:
    """Take a number from the pad: from its script, or from the form alone."""
    scripted = "application/json" in ask.request.headers.get("accept", "")
    try:
        age = float(ask.typed("age") or 0.0)
        _session(ask).read(ask.typed("value"), ask.typed("field") or "momentary", age)
    except (UserError, ValueError) as error:
        sentence = error.message if isinstance(error, UserError) else text("web.not_so")
        if not scripted:
            raise UserError(sentence) from None
        return JSONResponse({"problem": sentence}, 400)
    return JSONResponse({}) if scripted else ask.go("/live")


def strike(ask: Ask) -> Response:
    """Take back the last number."""
    _session(ask).strike()
    if "application/json" in ask.request.headers.get("accept", ""):
        return JSONResponse({})
    return ask.go("/live")


def finish(ask: Ask) -> Response:
    """End the run and show it."""
    run = ask.desk.finish()
    return ask.go(f"/runs/{run.id}", ask.desk.remark(text("web.live.kept", run=run.id)))


def shape(ask: Ask) -> Response:
    """The click's shape as it was learned, for the page's script."""
    found = _session(ask).shape()
    if found is None:
        return JSONResponse({})
    ms = (np.arange(found.waveform.size) / found.rate_hz - found.onset_s) * 1000.0
    return JSONResponse(
        {
            "ms": np.round(ms, 3).tolist(),
            "wave": np.round(found.waveform, 4).tolist(),
            "count": found.count,
            "length_ms": round(1000.0 * found.length_s, 2),
        }
    )


async def state(websocket: WebSocket, desk: Desk) -> None:
    """Tell a page ten times a second how the run stands, until either ends."""
    await websocket.accept()
    session, clock = desk.live, asyncio.get_running_loop().time
    due = clock()
    try:
        while session is not None and desk.live is session:
            found: dict[str, Any] = await run_in_threadpool(session.state)
            await websocket.send_json(found)
            due = max(due + EVERY_S, clock() + 0.01)
            await asyncio.sleep(due - clock())
        await websocket.send_json({"finished": True, "run": session.live.run.id if session else ""})
        await websocket.close()
    except (WebSocketDisconnect, RuntimeError):
        return
    except UserError as error:
        await websocket.close(1011, error.message[:120])


async def sound(websocket: WebSocket, desk: Desk) -> None:
    """Take a microphone's samples: first ``{"sampleRate": …, "first": …}``, then blocks.

    A block is the number of its first sample (float64) and its samples (float32), little endian.
    """
    await websocket.accept()
    session, source = desk.live, None
    try:
        told = await websocket.receive_json()
        rate, first = int(told["sampleRate"]), int(told.get("first", 0))
        if session is None or not 8000 <= rate <= 192000:
            raise UserError(text("workshop.no_sound_wanted"))
        source = await run_in_threadpool(session.attach, rate)
        if not source.begin(websocket, first):
            raise UserError(text("web.live.another"))
        while desk.live is session and not session.halted:
            data = await websocket.receive_bytes()
            if not 8 <= len(data) <= 8 + 4 * _MOST_SAMPLES or len(data) % 4:
                raise UserError(text("web.not_so"))
            number = struct.unpack("<d", data[:8])[0]
            samples = np.frombuffer(data, dtype="<f4", offset=8).astype(np.float32)
            source.hear(int(number), np.nan_to_num(samples, posinf=0.0, neginf=0.0))
        await websocket.close()
    except (WebSocketDisconnect, RuntimeError):
        return
    except UserError as error:
        await websocket.send_json({"problem": error.message})
        await websocket.close(1008)
    except (KeyError, TypeError, ValueError, struct.error):
        await websocket.close(1008)
    finally:
        if source is not None:
            source.leave(websocket)
