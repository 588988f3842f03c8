"""The browser app as its visitor feels it, measured in the page: ready, dimming, the first picture after a move, certainty.

Headless Chromium draws in software here, so repaints are slower than on a screen with graphics of its own; the trace shares
the processors with the browser. Needs the `app` extra, playwright and Chromium.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

from measure import Report

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "app"))
SCENE = ROOT / "scenes" / "carpet-plan.toml"
HEIGHT = "Height above the rim (cm)"

WATCH = """() => {
  const view = document.querySelector('.tank-view').tankView;
  const redraw = view.renderer.render.bind(view.renderer);
  window.afterDrawing = [];
  view.renderer.render = (...given) => {
    redraw(...given);
    view.renderer.getContext().finish();
    for (const told of window.afterDrawing) told();
  };
}"""
"""Tells at the end of every drawing."""
WATCH_DIMMING = """() => {
  const view = document.querySelector('.tank-view').tankView;
  const dimmer = document.querySelector('input[aria-label="Dimming, percent"]');
  window.repaints = [];
  window.afterDrawing.push(() => {
    if (window.slidAt && view.share(0) !== window.sharesBefore) {
      window.repaints.push(performance.now() - window.slidAt);
      window.slidAt = null;
    }
  });
  window.slide = (percent) => {
    window.sharesBefore = view.share(0);
    window.slidAt = performance.now();
    dimmer.value = percent;
    dimmer.dispatchEvent(new Event('input', { bubbles: true }));
  };
}"""
"""From the slider's event to the end of the drawing that shows it."""
WATCH_MOVES = """(field) => {
  const view = document.querySelector('.tank-view').tankView;
  window.expectMove = () => { window.movedAt = window.firstPicture = null; window.headerBefore = view.header; };
  field.addEventListener('input', () => { window.movedAt = performance.now(); }, true);
  window.afterDrawing.push(() => {
    if (window.movedAt && window.firstPicture === null && view.header !== window.headerBefore && view.lights) {
      window.firstPicture = performance.now() - window.movedAt;
    }
  });
}"""
"""From the field's event to the end of the first drawing that shows light of the tank as it is now."""
PROGRESS = "document.querySelector('.progress').innerText"


def run(quick: bool) -> Report:
    """One visitor with carpet-plan: medians of several rounds."""
    from browser import launch, serve
    from playwright.sync_api import sync_playwright

    report = Report("app: one visitor, carpet-plan, software drawing")
    rounds = 3 if quick else 5
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        app = serve(Path(folder), SCENE)
        try:
            page = launch(playwright).new_context(viewport={"width": 1280, "height": 800}).new_page()
            page.goto(app.address)
            _settled(page)
            _ready(report, page, app.address, rounds)
            page.evaluate(WATCH)
            _dimming(report, page, 4 * rounds)
            _moves(report, page, rounds)
        finally:
            app.stop()
    return report


def _settled(page: Any) -> None:
    page.wait_for_function(f"() => {PROGRESS}.startsWith('done')", timeout=300_000)


def _ready(report: Report, page: Any, address: str, rounds: int) -> None:
    """From asking for the page to the tank with its light drawn, all warm."""
    seconds = []
    for _ in range(rounds):
        began = time.perf_counter()
        page.goto(address)
        page.wait_for_function("() => document.querySelector('.tank-view')?.tankView?.bedValues", timeout=60_000)
        seconds.append(time.perf_counter() - began)
        _settled(page)
    report.add("page ready, warm", median(seconds), "s", "ready_s")


def _dimming(report: Report, page: Any, steps: int) -> None:
    page.evaluate(WATCH_DIMMING)
    for step in range(steps):
        page.evaluate("(percent) => window.slide(percent)", 90 - step)
        page.wait_for_function(f"() => window.repaints.length > {step}", timeout=10_000)
        page.wait_for_timeout(120)
    found = sorted(page.evaluate("() => window.repaints"))
    report.add("dimming to repaint, median", median(found), "ms", "dimming_ms")
    report.add("dimming to repaint, nine in ten within", found[int(0.9 * (len(found) - 1))], "ms", "dimming_90_ms")


def _moves(report: Report, page: Any, rounds: int) -> None:
    """From typing a height to the end of the first drawing of the new tank's light, and the zones' worst error 5 s on."""
    first, errors = [], []
    field = page.get_by_label(HEIGHT).first
    field.evaluate(WATCH_MOVES)
    for k in range(rounds):
        page.evaluate("() => window.expectMove()")
        field.fill(str(6 + 2 * k))
        field.blur()
        page.wait_for_function("() => window.firstPicture !== null", timeout=60_000, polling=100)
        first.append(page.evaluate("() => window.firstPicture / 1000"))
        page.wait_for_timeout(page.evaluate("() => Math.max(0, 5000 - (performance.now() - window.movedAt))"))
        errors.append(_worst_zone(page))
    report.add("first picture after a move", median(first), "s", "first_s")
    report.add("worst zone's simulation error 5 s after it", 100 * median(errors), "%", "zones_percent")


def _worst_zone(page: Any) -> float:
    """Largest simulation error over value of the zones in the table."""
    rows = page.locator(".zones tbody tr").all()
    cells = [row.locator("td").all_inner_texts() for row in rows]
    return max(float(c[1]) / float(c[0]) for c in cells)


if __name__ == "__main__":
    from measure import machine

    print(machine())
    print(run("--quick" in sys.argv).text())
