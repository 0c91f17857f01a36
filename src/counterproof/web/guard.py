"""Who may speak to the server: this machine, or who came through the door with a key.

A page somewhere on the web can make a browser send requests to this machine. So every request must
name a host that we serve, what changes something must come from one of our own pages, uploads end
at a limit, and a client on the network must carry the pass that a one-time link gave it.
"""

from __future__ import annotations

import ipaddress
import secrets
import threading
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders

from counterproof.texts import text

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

PASS = "counterproof_pass"
MOST_BYTES = 2 * 1024**3
_CHANGING = {"POST", "PUT", "PATCH", "DELETE"}

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
    "img-src 'self' data:; media-src 'self'; connect-src 'self'; frame-src 'self'; "
    "worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'self'"
)


@dataclass(eq=False)
class Door:
    """One-time links into the network mode, and the passes that they gave.

    Args:
        open_wide: whether clients on the network may come in at all.
    """

    open_wide: bool = False
    _keys: set[str] = field(default_factory=set)
    _passes: set[str] = field(default_factory=set)
    _guard: threading.Lock = field(default_factory=threading.Lock)

    def new_key(self) -> str:
        """Return a key that opens once."""
        key = secrets.token_urlsafe(24)
        with self._guard:
            self._keys.add(key)
        return key

    def enter(self, key: str) -> str | None:
        """Use up a key; return the pass for it, ``None`` if there is no such key (any more)."""
        with self._guard:
            if not self.open_wide or key not in self._keys:
                return None
            self._keys.remove(key)
            given = secrets.token_urlsafe(24)
            self._passes.add(given)
            return given

    def knows(self, given: str) -> bool:
        """Whether a pass was given by this door."""
        with self._guard:
            return any(secrets.compare_digest(given, known) for known in self._passes)


class Guard:
    """The outermost layer of the application.

    Args:
        app: what it protects.
        door: who may come in from the network.
        hosts: names and addresses that this server answers to, without port.
        most_bytes: largest body of a request.
    """

    def __init__(
        self, app: ASGIApp, door: Door, hosts: set[str], most_bytes: int = MOST_BYTES
    ) -> None:
        """Stand before ``app``."""
        self._app, self._door, self._hosts = app, door, hosts
        self._most = most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or turn it away."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _turn_away(scope, receive, send, *refusal)
            return
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            if message["type"] == "http.request":
                seen += len(message.get("body", b""))
                if seen > self._most:
                    raise TooLarge
            return message

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                found = MutableHeaders(scope=message)
                found.setdefault("content-security-policy", CONTENT_POLICY)
                found.setdefault("cache-control", "no-store")
                found["x-content-type-options"] = "nosniff"
                found["referrer-policy"] = "same-origin"
                found["cross-origin-opener-policy"] = "same-origin"
                found["cross-origin-resource-policy"] = "same-origin"
                found["permissions-policy"] = "microphone=(self), camera=(), geolocation=()"
            await send(message)

        await self._app(scope, counted if scope["type"] == "http" else receive, dressed)

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if _name(host) not in self._hosts:
            return 421, text("web.guard.name")
        changing = scope["type"] == "websocket" or scope.get("method") in _CHANGING
        if changing and not _same_place(headers, host, strict=scope["type"] == "websocket"):
            return 403, text("web.guard.elsewhere")
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > self._most:
            return 413, text("web.too_large")
        if not _is_here(scope) and not self._has_pass(scope, headers):
            return 403, text("web.guard.link")
        return None

    def _has_pass(self, scope: Scope, headers: Headers) -> bool:
        if not self._door.open_wide:
            return False
        if scope["type"] == "http" and scope["path"].startswith("/enter/"):
            return True
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(PASS)
        except CookieError:
            return False
        return cookie is not None and self._door.knows(cookie.value)


class TooLarge(Exception):
    """A body went beyond the limit."""


def is_this_machine(address: str) -> bool:
    """Whether a client's address is this machine's loopback."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _is_here(scope: Scope) -> bool:
    client = scope.get("client")
    return is_this_machine(str(client[0]) if client else "")


def _name(host: str) -> str:
    """Return a Host header's name without its port, in lower case."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


def _same_place(headers: Headers, host: str, strict: bool) -> bool:
    """Whether the request says that one of our own pages sent it.

    Browsers state an origin with everything that changes something; a program on this machine that
    states none is no browser and cannot be misled by a page.
    """
    origin = headers.get("origin")
    if origin is None:
        return not strict and headers.get("sec-fetch-site", "none") in ("none", "same-origin")
    return urlsplit(origin).netloc.lower() == host.lower()


async def _turn_away(scope: Scope, receive: Receive, send: Send, status: int, why: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": why[:100]})
        return
    body = why.encode()
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [
                (b"content-type", b"text/plain; charset=utf-8"),
                (b"content-length", str(len(body)).encode()),
                (b"connection", b"close"),
            ],
        }
    )
    await send({"type": "http.response.body", "body": body})
