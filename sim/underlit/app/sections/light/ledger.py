"""Ledger the light goes, and what was assumed."""

from __future__ import annotations

from nicegui import ui

from underlit.app.light import Light
from underlit.app.section import Page
from underlit.report.ledger import as_percentages, light_ledger, with_rest
from underlit.scene import Assumption
from underlit.scene.assumptions.scene import assumptions


class Ledger:
    """Ledger and assumptions."""

    def __init__(self, page: Page) -> None:
        self._page = page
        with ui.element("details").classes("card ledger"):
            with ui.element("summary").classes("heading"):
                ui.label("Ledger the light goes, what was assumed").props('role="heading" aria-level="2"')
            self._ledger = ui.element("div").classes("body")
            self._assumed = ui.element("div").classes("body")
        self._shown: Light | None = None
        self._taken: tuple[Assumption, ...] = ()

    def scene_changed(self) -> None:
        """Assumptions follow the scene."""
        scene = self._page.scene
        taken = () if scene is None else tuple(assumptions(scene))
        if taken == self._taken:
            return
        self._taken = taken
        self._assumed.clear()
        if not taken:
            return
        with self._assumed:
            ui.label("Taken as usual, because the scene does not say:").classes("quiet")
            with ui.element("ul"):
                for one in taken:
                    with ui.element("li"):
                        ui.label(f"{one.key}: {one.value_text} ({one.range_text})")

    def light_changed(self) -> None:
        """Ledger the light goes, as counted so far."""
        light = self._page.light
        if light is self._shown:
            return
        self._shown = light
        self._ledger.clear()
        if light is None:
            return
        with self._ledger, ui.element("table").classes("numbers"), ui.element("tbody"):
            for words, share in as_percentages(with_rest(light_ledger(light.result))):
                with ui.element("tr"):
                    with ui.element("th").props('scope="row"'):
                        ui.label(words)
                    with ui.element("td"):
                        ui.label(f"{share:.1f} %")
