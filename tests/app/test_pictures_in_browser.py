"""Pictures of the app for the docs: `UNDERLIT_PICTURES=docs/images pytest -m long tests/app/test_pictures_in_browser.py`."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from browser import SCENES, go_dark, stand_still, use_text, visit, wait_for_light

from underlit.app.document import adopted

LARGEST = 300_000
"""Bytes of a picture that goes into the repository."""


KEPT = os.environ.get("UNDERLIT_PICTURES")


def test_pictures_of_the_docs(browser: Any, empty: Any, tmp_path: Path) -> None:
    """A planted tank; pictures that are to be kept wait until the trace is done."""
    folder = Path(KEPT or tmp_path)
    with visit(browser, empty.address) as page:
        page.get_by_role("button", name="Cancel").click()
        use_text(page, adopted(SCENES / "under-the-wood.toml", tmp_path))
        wait_for_light(page)
        if KEPT:
            page.get_by_text(re.compile("^Done")).wait_for()
        for name, size, dark in (
            ("app-laptop", (1280, 800), False), ("app-tablet", (820, 1180), False), ("app-dark", (1280, 800), True),
        ):  # fmt: skip
            page.set_viewport_size({"width": size[0], "height": size[1]})
            if dark:
                go_dark(page)
            page.mouse.move(2, 2)
            stand_still(page)
            page.screenshot(path=folder / f"{name}.png")
            assert 20_000 < (folder / f"{name}.png").stat().st_size < LARGEST
