"""A section that is a card: a heading that opens and closes it, parts rebuilt only when the scene has other parts."""

from __future__ import annotations

from nicegui import ui

from underlit.app.fields import Fields
from underlit.app.section import Page, Section
from underlit.scene import Scene


class Card(Section):
    """Base of the sections that open and close; those that edit the scene say their `parts` and `build` them."""

    title = ""
    about = ""
    """What the section is for, where its heading does not tell."""
    opened = False

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
        if self.about:
            with self.body.classes("stack"):
                ui.label(self.about).classes("quiet")

    def parts(self, scene: Scene) -> object:
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

    def remove_button(self, table: str, index: int, name: str) -> None:
        """A button that takes one thing out of the scene."""
        button = ui.button("Remove", on_click=lambda: self.page.edit(lambda d: d.remove(table, index)))
        button.props(f'flat dense no-caps aria-label="Remove {name}"')
