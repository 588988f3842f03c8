"""Where the light goes, and what was assumed."""

from __future__ import annotations

from nicegui import ui

from underlit.app.light import Light
from underlit.app.section import Page
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import listed, numbers
from underlit.report.ledger import as_percentages, light_ledger, with_rest
from underlit.scene import Scene
from underlit.scene.assumptions.assumption import Assumption
from underlit.scene.assumptions.scene import assumptions


def _told(row: Assumption) -> str:
    return f"{row.key}: {row.value_text} ({row.range_text})"


class Ledger(Card):
    """Ledger and assumptions."""

    title = "Where the light goes, and assumptions"

    def __init__(self, page: Page) -> None:
        super().__init__(page)
        self.details.classes("ledger")
        with self.body:
            self._ledger = ui.element("div")
            self._assumed = ui.element("div")
        self._shown: Light | None = None
        self._scene: Scene | None = None

    def scene_changed(self) -> None:
        """Assumptions follow the scene."""
        scene = self.page.scene
        if scene is None or scene is self._scene:
            return
        self._scene = scene
        self._assumed.clear()
        with self._assumed:
            rows = assumptions(scene)
            if any(one.measured for one in rows):
                ui.label(f"Measured, with what it may still be ({rows[0].source}):").classes("quiet")
                listed([_told(one) for one in rows if one.measured])
            ui.label("Assumptions, because the scene does not say:").classes("quiet")
            listed([_told(one) for one in rows if not one.measured])
            if scene.notes:
                ui.label("Notes").classes("quiet")
                listed([note.replace(f"{scene.path}:", "line ") for note in scene.notes])

    def light_changed(self) -> None:
        """Where the light goes, as counted so far."""
        light = self.page.light
        if light is self._shown:
            return
        self._shown = light
        self._ledger.clear()
        if light is None:
            return
        with self._ledger:
            shares = as_percentages(with_rest(light_ledger(light.result)))
            numbers(("Where", "Share"), [(words, f"{share:.1f} %") for words, share in shares], "Where the light goes")
