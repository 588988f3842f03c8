"""Fixtures of the app's tests; without Chromium or the app's packages the tests in the browser are left out."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Whatever visits the app takes its time."""
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.long)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One Chromium for all tests."""
    pytest.importorskip("nicegui")
    api = pytest.importorskip("playwright.sync_api")
    if shutil.which("chromium") is None:
        pytest.skip("no Chromium here (apt-get install chromium)")
    from browser import launch

    with api.sync_playwright() as playwright:
        made = launch(playwright)
        yield made
        made.close()


@pytest.fixture(scope="session")
def served(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The app; every new visitor begins with the bare box."""
    yield from _served(tmp_path_factory, "bare-box.toml")


@pytest.fixture(scope="session")
def quick(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The same with heavy work of a twentieth of the photons."""
    yield from _served(tmp_path_factory, "bare-box.toml", "--effort", "0.05")


@pytest.fixture(scope="session")
def empty(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The app without a scene: every new visitor is asked for a tank."""
    yield from _served(tmp_path_factory)


def _served(folders: pytest.TempPathFactory, scene: str = "", *arguments: str) -> Iterator[Any]:
    from browser import SCENES, serve

    app = serve(folders.mktemp("app"), *([SCENES / scene] if scene else []), *arguments)
    yield app
    app.stop()
