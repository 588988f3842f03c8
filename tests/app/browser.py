"""A served app and a headless Chromium to visit it with."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Locator, Page, Playwright, expect

ROOT = Path(__file__).resolve().parents[2]
SCENES = ROOT / "scenes"
ARGUMENTS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
PATIENCE_SECONDS = 240
"""Patience with cold kernels on a busy machine; nothing here is timed."""
PATIENCE_MS = 1000 * PATIENCE_SECONDS


VIEW = "document.querySelector('.tank-view').tankView"
BED_MEAN = (
    "(v => { let s = 0, n = 0; for (const x of v) if (x >= 0) { s += x; n += 1; } return s / n; })"
    f"({VIEW}.bedValues)"
)
"""Mean PPFD of the substrate as the page shows it."""


@dataclass
class Served:
    """A running app."""

    address: str
    folder: Path
    process: subprocess.Popen[bytes]

    def stop(self) -> None:
        """End it as Ctrl-C does."""
        self.process.terminate()
        self.process.wait(timeout=30)


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def serve(folder: Path, *arguments: str | Path, port: int | None = None) -> Served:
    """Start the command, on a free port if none is named, and wait until it answers."""
    port = port or free_port()
    command = [sys.executable, "-m", "underlit", "app", *arguments, "--port", port, "--no-browser", "--folder", folder]
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "sim")}
    # NiceGUI would take itself for being under test in this process
    environment = {key: value for key, value in environment.items() if not key.startswith(("PYTEST", "NICEGUI"))}
    process = subprocess.Popen([str(c) for c in command], env=environment, stdout=subprocess.DEVNULL)
    served = Served(f"http://127.0.0.1:{port}/", folder, process)
    end = time.monotonic() + PATIENCE_SECONDS
    while True:
        assert process.poll() is None, "the app ended by itself"
        try:
            # no page: that would be a visitor with a tank to trace
            urllib.request.urlopen(f"{served.address}nothing-here", timeout=5).close()
        except urllib.error.HTTPError:
            return served
        except OSError:
            assert time.monotonic() < end, "the app does not answer"
            time.sleep(0.2)


def launch(playwright: Playwright) -> Browser:
    """The system's Chromium."""
    return playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(ARGUMENTS))


def visitor(browser: Browser, width: int = 1280, height: int = 800) -> BrowserContext:
    """A visitor of their own, with patience."""
    context = browser.new_context(viewport={"width": width, "height": height})
    context.set_default_timeout(PATIENCE_MS)
    return context


@contextmanager
def visit(browser: Browser, address: str, width: int = 1280, height: int = 800) -> Iterator[Page]:
    """A visitor with an open page; errors of the page's scripts fail the test."""
    context = visitor(browser, width, height)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.goto(address)
    page.wait_for_selector(".tank-view canvas")
    try:
        yield page
        assert not wrong, wrong
    finally:
        context.close()


def wait_for_light(page: Page, patience_ms: float = PATIENCE_MS) -> None:
    """Until the light of the tank in hand is drawn."""
    page.wait_for_function(
        f"() => {{ const view = {VIEW};"
        " return view.lights && view.bedValues && !document.querySelector('.progress').innerText.startsWith('Tracing'); }",
        timeout=patience_ms,
    )


def bed_mean(page: Page) -> float:
    """Mean PPFD of the substrate as the page shows it."""
    return float(page.evaluate(BED_MEAN))


def use_text(page: Page, text: str) -> None:
    """Put a text in place of the scene in hand, or try to."""
    open_files(page, "Edit the scene as text ...")
    page.get_by_label("Scene (TOML)").fill(text)
    page.get_by_role("button", name="Use this text").click()


def choose(page: Page, label: str, option: str, within: Locator | None = None) -> None:
    """Choose from a list as the keyboard does: open it, take the option."""
    (within or page).get_by_label(label, exact=True).click()
    page.locator(".q-menu").get_by_role("option", name=option, exact=True).click()


def open_card(page: Page, title: str) -> Locator:
    """Open a section and return it."""
    card = page.locator("details.card", has=page.get_by_role("heading", name=title, exact=True))
    card.evaluate("card => { card.open = true; }")
    return card


def change(page: Page, label: str, value: str) -> None:
    """Type into the first field of that label and wait until the session has taken it: one more step to undo."""
    page.get_by_label(label).first.fill(value)
    expect(page.get_by_role("button", name="Undo")).to_be_enabled(timeout=PATIENCE_MS)


def wait_until_kept(app: Served, line: str) -> None:
    """Until a tank kept on the disk has this line."""
    end = time.monotonic() + PATIENCE_SECONDS
    while not any(line in text.splitlines() for text in _kept(app)):
        assert time.monotonic() < end, f"no session keeps {line!r}"
        time.sleep(0.1)


def _kept(app: Served) -> Iterator[str]:
    """Text of every tank in hand, as the sessions are kept on the disk."""
    for session in app.folder.glob("sessions/*/session.json"):
        for variant in json.loads(session.read_text(encoding="utf-8"))["variants"].values():
            yield variant["texts"][variant["at"]]


def go_dark(page: Page) -> None:
    """Switch to the dark look."""
    page.get_by_role("button", name="Theme").click()
    page.locator("body.body--dark").wait_for()
    stand_still(page)


def stand_still(page: Page) -> None:
    """Until nothing moves any more: a colour half way through its change has no contrast to speak of."""
    page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
    page.wait_for_function("() => document.getAnimations().every(one => one.playState !== 'running')")


def violations(axe: Any, page: Page) -> list[tuple[str, list[str]]]:
    """What axe-core finds on the page: rules, and where."""
    found = axe.run(page).response["violations"]
    return [(one["id"], [node["html"][:200] for node in one["nodes"]][:4]) for one in found]


def open_files(page: Page, item: str) -> None:
    """Choose from the menu of files."""
    page.get_by_role("button", name="Files").click()
    page.get_by_text(item).click()


def middle_of(page: Page, point: str) -> list[float]:
    """Where a point of the tank is drawn on the screen; point: JavaScript that makes it, `v` being the view."""
    return list(
        page.evaluate(
            f"() => {{ const v = {VIEW}; const box = v.canvas.getBoundingClientRect(); const p = {point}; p.project(v.camera);"
            " return [box.left + (p.x + 1) / 2 * box.width, box.top + (1 - p.y) / 2 * box.height]; }"
        )
    )
