"""Speak to an ASGI application without a socket: for tests of pages and of who may see them."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote, urlencode, urlsplit


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()


class Client:
    """A browser without a screen, on this machine unless told otherwise."""

    def __init__(self, app: Any, host: str = "127.0.0.1:8417", address: str = "127.0.0.1") -> None:
        self.app, self.host, self.address = app, host, address
        self.cookie = ""

    def get(self, path: str, **headers: str) -> Answer:
        return self.send("GET", path, headers)

    def post(self, path: str, fields: Mapping[str, Any] | None = None, **headers: str) -> Answer:
        body = urlencode(dict(fields or {}), doseq=True).encode()
        usual = {
            "content-type": "application/x-www-form-urlencoded",
            "origin": f"http://{self.host}",
        }
        return self.send("POST", path, usual | headers, body)

    def upload(
        self, path: str, fields: Mapping[str, str], name: str, filename: str, content: bytes
    ) -> Answer:
        mark = "----part"
        parts = [
            f'--{mark}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'.encode()
            for k, v in fields.items()
        ]
        head = (
            f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{filename}"\r\n'
            "Content-Type: application/octet-stream\r\n\r\n"
        )
        body = b"".join(parts) + head.encode() + content + f"\r\n--{mark}--\r\n".encode()
        kind = {"content-type": f"multipart/form-data; boundary={mark}"}
        return self.send("POST", path, kind | {"origin": f"http://{self.host}"}, body)

    def send(self, method: str, path: str, headers: Mapping[str, str], body: bytes = b"") -> Answer:
        target = urlsplit(path)
        sent = {"host": self.host} | ({"cookie": self.cookie} if self.cookie else {})
        sent |= {k.replace("_", "-"): v for k, v in headers.items()}
        if body:
            sent.setdefault("content-length", str(len(body)))
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": unquote(target.path),
            "raw_path": target.path.encode(),
            "query_string": target.query.encode(),
            "root_path": "",
            "headers": [(k.lower().encode(), v.encode()) for k, v in sent.items()],
            "client": (self.address, 50000),
            "server": ("127.0.0.1", 8417),
        }
        return asyncio.run(self._run(scope, body))

    async def _run(self, scope: dict[str, Any], body: bytes) -> Answer:
        pieces = [body[i : i + 65536] for i in range(0, len(body), 65536)] or [b""]
        messages: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            if not pieces:
                await asyncio.Event().wait()  # the browser stays
            piece = pieces.pop(0)
            return {"type": "http.request", "body": piece, "more_body": bool(pieces)}

        async def send(message: dict[str, Any]) -> None:
            messages.append(message)

        try:
            await self.app(scope, receive, send)
        except Exception:
            if not messages:  # a server would send what there is and log the rest
                raise
        start = next(m for m in messages if m["type"] == "http.response.start")
        found = b"".join(m.get("body", b"") for m in messages)
        headers = {k.decode().lower(): v.decode() for k, v in start["headers"]}
        if "set-cookie" in headers:
            self.cookie = headers["set-cookie"].split(";")[0]
        return Answer(start["status"], headers, found)


def follow(us: Client, answer: Answer) -> Answer:
    """Go where an answer sends, waiting for work that it began."""
    place = ""
    for _ in range(600):
        if answer.status != 303:
            if 'id="job"' not in answer.text:
                return answer
            time.sleep(0.05)
            answer = us.get(place)
            continue
        place = answer.headers["location"]
        answer = us.get(place)
    raise AssertionError("the work did not end")
