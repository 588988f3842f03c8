"""The top line: name, title of the tank, steps back and forward, the two variants, units, light and dark."""

from __future__ import annotations

from nicegui import ui

from underlit.app.section import Page
from underlit.app.sections.edit.files import Files
from underlit.app.sections.edit.start import Start
from underlit.app.session import Side


class Header:
    """The top line."""

    def __init__(self, page: Page, start: Start) -> None:
        self._page = page
        self._dark = ui.dark_mode(None)
        with ui.element("header").classes("top"):
            ui.label("underlit").classes("mark").props('role="heading" aria-level="1"')
            self._title = ui.input(label="Title", on_change=self._titled).props('dense borderless debounce="600"')
            self._title.classes("title")
            Files(page, start)
            self._back = ui.button("Undo", on_click=lambda: page.act(page.session.undo)).props("flat dense no-caps")
            self._forward = ui.button("Redo", on_click=lambda: page.act(page.session.redo)).props("flat dense no-caps")
            self._sides = ui.row().classes("sides").props('role="group" aria-label="Variants"')
            self._units = ui.select({"cm": "cm", "in": "inches"}, label="Units", value=page.session.units).props(
                "dense borderless options-dense"
            )
            self._units.classes("units").on_value_change(self._measured)
            ui.button("Light or dark", on_click=lambda: self._dark.set_value(not self._dark.value)).props(
                "flat dense no-caps"
            )

    def scene_changed(self) -> None:
        """Show title, steps and variants."""
        session, scene = self._page.session, self._page.scene
        self._title.set_value(scene.title if scene else "")
        self._back.set_enabled(session.can_step(-1))
        self._forward.set_enabled(session.can_step(1))
        self._sides.clear()
        with self._sides:
            for side in Side:
                if side in session.variants:
                    held = side is session.side
                    button = ui.button(f"Tank {side}", color=None, on_click=lambda s=side: session.turn_to(s))
                    button.props(f'unelevated dense no-caps aria-pressed="{str(held).lower()}"')
                    button.classes("strong" if held else "plain")
            if len(session.variants) == 1:
                ui.button("Try a change beside it", on_click=self._branch).props("outline dense no-caps")

    def light_changed(self) -> None:
        """Nothing here shows light."""

    def _branch(self) -> None:
        session = self._page.session
        if self._page.act(session.copy_to_other):
            session.turn_to(Side.B if session.side is Side.A else Side.A)

    def _titled(self, event) -> None:
        scene = self._page.scene
        if scene is not None and event.value is not None and event.value != scene.title:
            self._page.set("title", value=event.value)

    def _measured(self, event) -> None:
        self._page.session.units = event.value
        self._page.refresh()
