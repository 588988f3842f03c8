"""Who is let in: host names, origins, the token, and how much a request may carry."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("nicegui")

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect

from underlit.app.guard import COOKIE, MOST_BODY, Endpoint, Guard, is_loopback

TOKEN = "a-long-random-token"


async def _echo(request: Request) -> PlainTextResponse:
    return PlainTextResponse(str(len(await request.body())))


async def _socket(socket: WebSocket) -> None:
    await socket.accept()
    await socket.send_text("in")
    await socket.close()


def guarded(tmp_path: Path, token: str | None = None, base: str = "http://127.0.0.1:8017") -> TestClient:
    """A site of one page and one socket behind the guard."""
    where = Endpoint("127.0.0.1" if token is None else "192.0.2.7", 8017, tmp_path, token)
    routes = [Route("/", _echo, methods=["GET", "POST"]), WebSocketRoute("/socket", _socket)]
    return TestClient(Starlette(routes=routes, middleware=[Middleware(Guard, where=where)]), base_url=base)


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8017", "localhost:8017", "[::1]:8017", "localhost", "[::1]", "127.0.0.2:1"]
)
def test_own_names_are_let_in(tmp_path: Path, host: str) -> None:
    answer = guarded(tmp_path).get("/", headers={"host": host})
    assert answer.status_code == 200
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "host", ["elsewhere.example:8017", "127.0.0.1.elsewhere.example", "", "localhost.example", "192.0.2.7"]
)
def test_names_that_only_point_here_are_turned_away(tmp_path: Path, host: str) -> None:
    """DNS rebinding: a page elsewhere lets its own name lead to this machine."""
    assert guarded(tmp_path).get("/", headers={"host": host}).status_code == 403


def test_pages_from_elsewhere_reach_neither_page_nor_socket(tmp_path: Path) -> None:
    """The browser says where a page came from in Origin (RFC 6454); sockets ask nothing else."""
    client = guarded(tmp_path)
    foreign = {"origin": "https://elsewhere.example"}
    assert client.post("/", content=b"x", headers=foreign).status_code == 403
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("ws://127.0.0.1:8017/socket", headers=foreign):
        pass
    own = {"origin": "http://127.0.0.1:8017", "host": "127.0.0.1:8017"}
    assert client.post("/", content=b"x", headers=own).status_code == 200
    with client.websocket_connect("ws://127.0.0.1:8017/socket", headers=own) as socket:
        assert socket.receive_text() == "in"


def test_the_token_opens_and_becomes_a_cookie(tmp_path: Path) -> None:
    client = guarded(tmp_path, TOKEN, "http://192.0.2.7:8017")
    assert client.get("/").status_code == 403
    assert client.get("/", params={"token": TOKEN[:-1]}).status_code == 403
    assert client.get("/", params={"token": "ü"}).status_code == 403
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/socket"):
        pass
    first = client.get("/", params={"token": TOKEN})
    assert first.status_code == 200
    said = first.headers["set-cookie"]
    assert f"{COOKIE}={TOKEN}" in said
    assert "HttpOnly" in said
    assert "SameSite=strict" in said
    assert client.get("/").status_code == 200, "the cookie is enough from then on"


def _pieces(count: int) -> Iterator[bytes]:
    for _ in range(count):
        yield b"\0" * 2**20


def test_bodies_are_bounded_however_they_are_sent(tmp_path: Path) -> None:
    client, most = guarded(tmp_path), MOST_BODY // 2**20
    assert client.post("/", content=_pieces(most)).text == str(MOST_BODY), "in pieces, without saying its length"
    assert client.post("/", content=_pieces(most + 1)).status_code == 413
    assert client.post("/", content=b"x", headers={"content-length": str(MOST_BODY + 1)}).status_code == 413
    assert client.post("/", content=b"x", headers={"content-length": "-1"}).status_code == 413
    assert client.post("/", content=b"x", headers={"content-length": "many"}).status_code == 413


def test_which_addresses_are_this_machines_own() -> None:
    """127/8 and ::1 (RFC 1122, RFC 4291)."""
    assert all(map(is_loopback, ("127.0.0.1", "127.9.9.9", "::1", "localhost")))
    assert not any(map(is_loopback, ("0.0.0.0", "::", "192.0.2.7", "example.org", "")))
