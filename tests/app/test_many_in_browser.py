"""Many visitors at once, hostile visitors among them: each gets their own tank's light and nobody an error."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from browser import SCENES, change, open_files, serve, use_text, visit, wait_for_light

VISITORS = 20
IN_TOUCH = "() => window.did_handshake === true"
"""One browser opens twenty pages at once: on a busy machine the last may be built anew before it first speaks with the server."""
BROKEN = {
    "../../x.stl": b"solid x\nendsolid x\n",
    "noise.ply": bytes(range(256)) * 64,
    "many.obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\n" + b"f 1 2 3\n" * 210_000,
    "a" * 180 + ".stl": b"\0" * 200,
}


def test_hostile_files_are_refused_and_the_server_goes_on(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        before = sorted(path for path in served.folder.rglob("*") if path.suffix in {".stl", ".obj", ".ply"})
        open_files(page, "Open or upload a file ...")
        for name, content in BROKEN.items():
            file = {"name": name, "mimeType": "application/octet-stream", "buffer": content}
            page.locator("input[type=file]").set_input_files(file)
            page.locator(".q-notification").first.wait_for()
            words = page.locator(".q-notification").first.inner_text()
            assert "Traceback" not in words
            page.locator(".q-notification").first.get_by_role("button", name="Close").click()
            page.locator(".q-notification").first.wait_for(state="detached")
        assert sorted(path for path in served.folder.rglob("*") if path.suffix in {".stl", ".obj", ".ply"}) == before
        page.get_by_role("button", name="Close").last.click()
        change(page, "Title", "still at work")


@pytest.mark.parametrize(
    "added",
    ['[[stone]]\nname = "s"\nat = ["5 cm", "5 cm"]\nmesh = "/etc/passwd"\n', "x = " + "[" * 2000 + "]" * 2000 + "\n"],
    ids=["path", "nesting"],
)
def test_hostile_texts_are_refused_and_the_server_goes_on(browser: Any, served: Any, added: str) -> None:
    text = added if added.startswith("x") else (SCENES / "bare-box.toml").read_text(encoding="utf-8") + added
    with visit(browser, served.address) as page:
        wait_for_light(page)
        use_text(page, text)
        page.locator(".q-notification").first.wait_for()
        assert "root:" not in page.locator(".q-notification").first.inner_text()
        assert page.get_by_label("Title").input_value() == "30 x 20 x 20 cm bare tank"


AWAY = """() => {
  window.stayed = true; window.did_handshake = false;
  window.socket.io.reconnection(false); window.socket.io.engine.close();
}"""
"""Out of touch until it is let back, as behind a busy machine or a bad network."""
BACK = """() => {
  const io = window.socket.io;
  io.reconnection(true); io.skipReconnect = false; io.reconnectionDelay(10); io.reconnect();
}"""


def test_a_page_out_of_touch_keeps_its_place_and_catches_up(browser: Any, served: Any) -> None:
    with visit(browser, served.address) as page:
        wait_for_light(page)
        away = page.context.new_page()
        away.goto(served.address)
        wait_for_light(away)
        away.evaluate(AWAY)
        away.wait_for_function("() => !window.socket.connected")
        change(page, "Title", "changed meanwhile")
        assert away.get_by_label("Title").input_value() != "changed meanwhile"
        away.evaluate(BACK)
        away.wait_for_function("() => window.socket.connected && window.did_handshake")
        away.wait_for_function("() => document.querySelector('[aria-label=Title]').value === 'changed meanwhile'")
        assert away.evaluate("() => window.stayed"), "the page was built anew"


def test_twenty_visitors_at_once(browser: Any, tmp_path: Path) -> None:
    """Each with a page of their own, moving their own light; no error on any page, and the last one gets its answer too.

    The server is its own: what twenty closed pages leave to trace would keep others waiting.
    """
    app = serve(tmp_path, SCENES / "bare-box.toml")
    contexts = [browser.new_context(viewport={"width": 640, "height": 480}) for _ in range(VISITORS)]
    wrong: list[str] = []
    try:
        pages = [context.new_page() for context in contexts]
        for page in pages:
            page.on("pageerror", lambda error: wrong.append(str(error)))
            page.on("response", lambda answer: wrong.append(answer.url) if answer.status >= 500 else None)
            page.goto(app.address, wait_until="commit")
        for k, page in enumerate(pages):
            page.wait_for_function(IN_TOUCH, timeout=240_000)
            page.get_by_label("Height above the rim (cm)").first.wait_for(timeout=120_000)
            page.get_by_label("Height above the rim (cm)").first.fill(str(6 + k))
        for k, page in enumerate(pages):
            wait_for_light(page, 240_000)
            assert page.get_by_label("Height above the rim (cm)").first.input_value() == str(6 + k)
        assert len(list((tmp_path / "sessions").iterdir())) == VISITORS
        assert app.process.poll() is None
        assert not wrong
    finally:
        for context in contexts:
            context.close()
        app.stop()
