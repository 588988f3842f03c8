"""The top line: name, title of the tank, undo and redo, the two variants, units, theme."""

from __future__ import annotations

from nicegui import events, ui

from underlit.app.section import Page, Section
from underlit.app.sections.edit.files import Files
from underlit.app.sections.edit.start import Start
from underlit.app.sections.pieces import other_side
from underlit.app.session import Side

FLAT = "flat dense no-caps"


class Header(Section):
    """The top line."""

    def __init__(self, page: Page, start: Start) -> None:
        self._page = page
        self._dark = ui.dark_mode(None)
        with ui.element("header").classes("top"):
            ui.label("underlit").classes("mark").props('role="heading" aria-level="1"')
            self._title = ui.input(label="Title", on_change=self._titled).classes("title")
            self._title.props('dense borderless debounce="600"')
            Files(page, start)
            self._back = ui.button("Undo", on_click=lambda: page.act(page.session.undo)).props(FLAT)
            self._forward = ui.button("Redo", on_click=lambda: page.act(page.session.redo)).props(FLAT)
            self._sides = ui.row().classes("sides").props('role="group" aria-label="Variants"')
            units = ui.select({"cm": "cm", "in": "inches"}, label="Units", value=page.session.units).classes("units")
            units.props("dense borderless options-dense").on_value_change(self._measured)
            ui.button("Theme", on_click=lambda: self._dark.set_value(not self._dark.value)).props(FLAT)

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
                label = f"Copy to tank {other_side(self._page)} to compare"
                ui.button(label, on_click=self._branch).props("outline dense no-caps")

    def _branch(self) -> None:
        side = other_side(self._page)
        if self._page.act(self._page.session.copy_to_other):
            self._page.session.turn_to(side)

    def _titled(self, event: events.ValueChangeEventArguments[str | None]) -> None:
        scene = self._page.scene
        if scene is not None and event.value is not None and event.value != scene.title:
            self._page.set("title", value=event.value)

    def _measured(self, event: events.ValueChangeEventArguments[str]) -> None:
        self._page.session.units = event.value
        self._page.refresh()
