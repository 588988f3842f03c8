"""A section that is a card: a heading that opens and closes it, parts rebuilt only when the scene has other parts."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from underlit.app.fields import Fields
from underlit.app.section import Page
from underlit.scene import Scene


class Card:
    """Base of the sections that edit the scene."""

    title = ""
    opened = True

    def __init__(self, page: Page) -> None:
        self.page = page
        self.fields = Fields(page)
        self._built: object = None
        with ui.element("details").classes("card") as self.details:
            if self.opened:
                self.details.props("open")
            with ui.element("summary").classes("heading"):
                ui.label(self.title).props('role="heading" aria-level="2"')
            self.body = ui.element("div").classes("body")

    def parts(self, scene: Scene) -> Any:
        """What the inputs depend on: where it stays the same they are kept."""
        return ()

    def build(self, scene: Scene) -> None:
        """Make the inputs."""

    def scene_changed(self) -> None:
        """Follow the scene."""
        scene = self.page.scene
        if scene is None:
            return
        parts = (self.page.session.side, self.page.session.units, self.parts(scene))
        if parts != self._built:
            self._built = parts
            self.fields.clear()
            self.body.clear()
            with self.body:
                self.build(scene)
        self.fields.follow()

    def light_changed(self) -> None:
        """What edits the scene shows no light."""
