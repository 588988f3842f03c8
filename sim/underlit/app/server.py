"""Serving the app: on this machine only unless told otherwise, each visitor with a session of their own."""

from __future__ import annotations

import secrets
from pathlib import Path

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse
from nicegui import app as site
from nicegui import ui

from underlit.app.guard import Endpoint, Guard, is_loopback
from underlit.app.heavy.jobs import Jobs
from underlit.app.light import LightService
from underlit.app.page import build_page
from underlit.app.session import Session, Side
from underlit.app.sessions import Sessions
from underlit.results.atomic import write_text

__all__ = ["Endpoint", "is_loopback", "serve"]

AWAY_S = 30.0
"""So long a page may be out of touch, a sleeping laptop or a busy one, before it must be built again."""


def storage_secret(folder: Path) -> str:
    """The key that signs visitors' cookies, kept so that they find their sessions again after a restart."""
    path = folder / "secret"
    try:
        return path.read_text(encoding="utf-8")
    except OSError:
        secret = secrets.token_hex(32)
        write_text(path, secret)
        path.chmod(0o600)
        return secret


def serve(
    where: Endpoint, *, scene: Path | None = None, show: bool = True, threads: int | None = None, effort: float = 1.0
) -> None:
    """Serve until stopped. scene: a file that each visitor's session opens once; effort: see `Jobs`."""
    service, jobs = LightService(threads), Jobs(effort)
    sessions = Sessions(where.folder / "sessions", service)

    @ui.page("/", title="underlit")
    def page(request: Request) -> None:
        build_page(sessions.of(request.session["id"]), jobs, scene)

    @site.get("/session/{side}/{what}/{stamp}")
    def blob(request: Request, side: str, what: str, stamp: str) -> Response:
        """Shape or light of the visitor's own tank; the stamp only makes addresses differ."""
        session: Session = sessions.of(request.session.get("id", ""))
        variant = session.variants.get(Side(side)) if side in set(Side) else None
        light = variant.light if variant else None
        if light is None or what not in {"shape", "light"}:
            return PlainTextResponse("nothing here yet", 404)
        content = light.shape if what == "shape" else light.light
        return Response(content, media_type="application/octet-stream", headers={"Cache-Control": "no-store"})

    site.add_middleware(Guard, where=where)
    for worker in (service, jobs):
        site.on_startup(worker.start)
        site.on_shutdown(worker.stop)
    ui.run(
        host=where.host,
        port=where.port,
        title="underlit",
        show=where.address if show else False,
        reload=False,
        reconnect_timeout=AWAY_S,
        storage_secret=storage_secret(where.folder),
        show_welcome_message=False,
        uvicorn_logging_level="warning",
        favicon="💡",
    )
