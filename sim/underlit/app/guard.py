"""Who is let in, and how much they may send: a wrapper around the whole site, pages and sockets alike."""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY = 32 * 1024 * 1024
"""Bytes of one request at the most; a mesh of the allowed size fits."""
TOO_LARGE = f"too large: the limit is {MOST_BODY // 2**20} MB"
COOKIE = "underlit_token"


@dataclass(frozen=True)
class Endpoint:
    """Address to serve on; folder: where sessions are kept; token: asked of visitors, None on this machine only."""

    host: str
    port: int
    folder: Path
    token: str | None = None

    @property
    def address(self) -> str:
        """What to open in a browser."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        asked = f"?token={self.token}" if self.token else ""
        return f"http://{host}:{self.port}/{asked}"


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's own."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


class Refused(Exception):
    """A status and why, in words."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status


class Guard:
    """Turns away foreign host names, pages from elsewhere, visitors without the token and bodies that are too large."""

    def __init__(self, app: ASGIApp, where: Endpoint) -> None:
        self._app, self._where = app, where

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or say why not."""
        if scope["type"] not in ("http", "websocket"):
            return await self._app(scope, receive, send)
        asked = HTTPConnection(scope)
        try:
            self._check(asked)
        except Refused as refused:
            if scope["type"] == "websocket":
                return await send({"type": "websocket.close", "code": 1008, "reason": str(refused)})
            return await PlainTextResponse(str(refused), refused.status)(scope, receive, send)
        if scope["type"] == "websocket":
            return await self._app(scope, receive, send)
        return await self._app(scope, _bounded(receive), self._marked(asked, send))

    def _check(self, asked: HTTPConnection) -> None:
        name = urlsplit(f"//{asked.headers.get('host', '')}").hostname or ""
        if self._where.token is None and not is_loopback(name):
            # a page elsewhere may point a name of its own at this machine
            raise Refused(403, "this server answers only to its own address")
        origin = asked.headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != asked.headers.get("host"):
            raise Refused(403, "this server answers only to its own pages")
        length = asked.headers.get("content-length") or "0"
        if not length.isdecimal() or int(length) > MOST_BODY:
            raise Refused(413, TOO_LARGE)
        if self._where.token is not None and not self._admitted(asked):
            raise Refused(403, "open the address that the server printed, including its token")

    def _admitted(self, asked: HTTPConnection) -> bool:
        given = asked.query_params.get("token") or asked.cookies.get(COOKIE) or ""
        return hmac.compare_digest(given.encode(), (self._where.token or "").encode())

    def _marked(self, asked: HTTPConnection, send: Send) -> Send:
        """Answers with what a browser is to know of them; the token goes from the address into a cookie."""

        async def marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["X-Content-Type-Options"] = "nosniff"
                headers["Referrer-Policy"] = "no-referrer"
                headers["X-Frame-Options"] = "DENY"
                if self._where.token is not None and "token" in asked.query_params:
                    headers.append("Set-Cookie", f"{COOKIE}={self._where.token}; HttpOnly; SameSite=strict; Path=/")
            await send(message)

        return marked


def _bounded(receive: Receive) -> Receive:
    """The body of a request up to the most: one sent in pieces does not say beforehand how long it is."""
    so_far = 0

    async def bounded() -> Message:
        nonlocal so_far
        message = await receive()
        so_far += len(message.get("body", b""))
        if so_far > MOST_BODY:
            raise HTTPException(413, TOO_LARGE)
        return message

    return bounded
