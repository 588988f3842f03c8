"""Pictures of the app for the docs: `UNDERLIT_PICTURES=docs/images pytest -m long tests/app/test_pictures_in_browser.py`."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from browser import SCENES, go_dark, serve, visit, wait_for_light

LARGEST = 300_000
"""Bytes of a picture that goes into the repository."""


@pytest.mark.parametrize(
    ("name", "size", "dark"),
    [("app-laptop", (1280, 800), False), ("app-dark", (1280, 800), True), ("app-tablet", (820, 1180), False)],
)
def test_pictures_of_the_docs(browser: Any, tmp_path: Path, name: str, size: tuple[int, int], dark: bool) -> None:
    """A planted tank, counted until its picture stands still."""
    folder = Path(os.environ.get("UNDERLIT_PICTURES", tmp_path))
    app = serve(tmp_path / "sessions", SCENES / "under-the-wood.toml")
    try:
        with visit(browser, app.address, *size) as page:
            wait_for_light(page)
            if dark:
                go_dark(page)
            page.wait_for_timeout(12_000)
            page.screenshot(path=folder / f"{name}.png")
    finally:
        app.stop()
    assert 20_000 < (folder / f"{name}.png").stat().st_size < LARGEST
