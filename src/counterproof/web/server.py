"""Start and stop the server: one address on this machine, or, when asked, the local network."""

from __future__ import annotations

import asyncio
import logging
import signal
import socket
import sys
import threading
import webbrowser
from contextlib import suppress
from pathlib import Path

import uvicorn

from counterproof.errors import UserError
from counterproof.texts import text
from counterproof.web.app import build_app
from counterproof.web.guard import Door
from counterproof.workshop.desk import Desk

USUAL_PORT = 8417
_TRIED = 20
LOOPBACK = "127.0.0.1"


def own_addresses() -> list[str]:
    """Return this machine's addresses on its networks, the usual one first; nothing is sent."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # an address of documentation: no packet leaves
        found.append(probe.getsockname()[0])
    with suppress(OSError):
        found += [str(i[4][0]) for i in socket.getaddrinfo(socket.gethostname(), None)]
    return [a for a in dict.fromkeys(found) if not a.startswith(("127.", "::1", "fe80"))]


def _bound(host: str, port: int | None) -> socket.socket:
    """Return a listening socket: on the port that was asked for, or on the next free one.

    Raises:
        UserError: if there is none.
    """
    first = USUAL_PORT if port is None else port
    for number in range(first, first + (_TRIED if port is None else 1)):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, number))
        except (OSError, OverflowError):
            made.close()
            continue
        return made
    raise UserError(text("web.serve.no_port", port=first))


def serve(
    folder: Path | None, *, lan: bool = False, port: int | None = None, browser: bool = True
) -> None:
    """Serve a bench until Ctrl-C.

    Args:
        folder: the bench; ``None`` to choose or make one on the page.
        lan: let devices on the local network in, through a one-time link.
        port: where to listen; the usual one or the next free without.
        browser: open the page in the browser.

    Raises:
        UserError: if the bench cannot be opened or no port is free.
    """
    # the server hands a signal on when it has stopped: let it end in the clearing up below
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    logging.getLogger("uvicorn.error").addHandler(logging.NullHandler())
    logging.getLogger("uvicorn.error").propagate = False
    desk = Desk(folder)
    try:
        bound = _bound("0.0.0.0" if lan else LOOPBACK, port)
        number = bound.getsockname()[1]
        door = Door(lan)
        addresses = own_addresses() if lan else []
        names = {socket.gethostname().lower()} if lan else set()
        hosts = {LOOPBACK, "localhost", *addresses, *names}
        app = build_app(desk, door, hosts, [f"http://{a}:{number}" for a in addresses])
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            ws_max_size=1 << 20,
            timeout_graceful_shutdown=2,
            proxy_headers=False,
        )
        here = f"http://{LOOPBACK}:{number}/"
        asyncio.run(_run(uvicorn.Server(config), bound, here, door, addresses, browser))
    except KeyboardInterrupt:
        pass  # the usual way to end it
    finally:
        desk.close()


async def _run(
    server: uvicorn.Server,
    bound: socket.socket,
    here: str,
    door: Door,
    addresses: list[str],
    browser: bool,
) -> None:
    task = asyncio.create_task(server.serve([bound]))
    while not server.started and not task.done():
        await asyncio.sleep(0.01)
    if server.started:
        _greet(here, door, addresses)
        if browser:
            threading.Thread(target=webbrowser.open, args=(here,), daemon=True).start()
    await task


def _greet(here: str, door: Door, addresses: list[str]) -> None:
    """Say where the pages are; with the network open, the link, its picture and the risk."""
    out = sys.stdout
    out.write(text("web.serve.at", address=here) + "\n")
    if door.open_wide and not addresses:
        out.write(text("web.serve.no_network") + "\n")
    elif door.open_wide:
        import segno

        port = here.rstrip("/").rpartition(":")[2]
        link = f"http://{addresses[0]}:{port}/enter/{door.new_key()}"
        out.write(text("web.serve.link", link=link) + "\n")
        segno.make(link, error="l").terminal(out=out, compact=True)
        out.write(text("web.serve.risk") + "\n")
    out.write(text("web.serve.stop") + "\n")
    out.flush()
