"""Serving the app: on this machine only unless told otherwise, each visitor to a desk of their own."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse
from nicegui import app as site
from nicegui import ui
from starlette.middleware.base import BaseHTTPMiddleware, RequestResponseEndpoint

from underlit.app.desk import Desk, Side
from underlit.app.desks import Desks
from underlit.app.light import LightService
from underlit.app.page import build_page
from underlit.results.atomic import write_text

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]", "::1"})
MOST_BODY = 32 * 1024 * 1024
"""Bytes of one request at the most; a mesh of the allowed size fits."""


@dataclass(frozen=True)
class Where:
    """Address to serve on; folder: where desks are kept; token: asked of visitors, None on this machine only."""

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


class Guard(BaseHTTPMiddleware):
    """Turns away foreign host names, visitors without the token and bodies that are too large."""

    def __init__(self, app, where: Where) -> None:
        super().__init__(app)
        self._where = where

    async def dispatch(self, request: Request, call_next: RequestResponseEndpoint) -> Response:
        """Let a request through or say why not."""
        name = (request.headers.get("host") or "").rsplit(":", 1)[0]
        if self._where.token is None and name not in LOOPBACK_NAMES:
            # a page elsewhere may point a name of its own at this machine
            return PlainTextResponse("this server answers only to its own address", 403)
        if not (request.headers.get("content-length") or "0").isdigit() or (
            int(request.headers.get("content-length") or 0) > MOST_BODY
        ):
            return PlainTextResponse(f"too large: {MOST_BODY // 2**20} MB are the most", 413)
        if self._where.token is not None and not self._admitted(request):
            return PlainTextResponse("open the address that the server printed, with its token", 403)
        answer = await call_next(request)
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["Referrer-Policy"] = "no-referrer"
        if self._where.token is not None and "token" in request.query_params:
            answer.set_cookie("underlit_token", self._where.token, httponly=True, samesite="strict")
        return answer

    def _admitted(self, request: Request) -> bool:
        given = request.query_params.get("token") or request.cookies.get("underlit_token") or ""
        return hmac.compare_digest(given.encode(), (self._where.token or "").encode())


def storage_secret(folder: Path) -> str:
    """The key that signs visitors' cookies, kept so that they find their desks again after a restart."""
    path = folder / "secret"
    try:
        return path.read_text(encoding="utf-8")
    except OSError:
        secret = secrets.token_hex(32)
        write_text(path, secret)
        path.chmod(0o600)
        return secret


def serve(where: Where, *, scene: Path | None = None, show: bool = True, threads: int | None = None) -> None:
    """Serve until stopped. scene: a file put on the desk of each visitor, once."""
    service = LightService(threads)
    desks = Desks(where.folder / "desks", service)

    @ui.page("/", title="underlit")
    def page(request: Request) -> None:
        build_page(desks.of(request.session["id"]), scene)

    @site.get("/desk/{side}/{what}/{stamp}")
    def blob(request: Request, side: str, what: str, stamp: str) -> Response:
        """Shape or light of the visitor's own tank; the stamp only makes addresses differ."""
        desk: Desk = desks.of(request.session.get("id", ""))
        variant = desk.variants.get(Side(side)) if side in set(Side) else None
        light = variant.light if variant else None
        if light is None or what not in {"shape", "light"}:
            return PlainTextResponse("nothing there yet", 404)
        content = light.shape if what == "shape" else light.light
        return Response(content, media_type="application/octet-stream", headers={"Cache-Control": "no-store"})

    site.add_middleware(Guard, where=where)
    site.on_startup(service.start)
    site.on_shutdown(service.stop)
    ui.run(
        host=where.host,
        port=where.port,
        title="underlit",
        show=where.address if show else False,
        reload=False,
        storage_secret=storage_secret(where.folder),
        show_welcome_message=False,
        uvicorn_logging_level="warning",
        favicon="💡",
    )
