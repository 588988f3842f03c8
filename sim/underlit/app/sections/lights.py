"""The fixtures: where they hang and how far each channel is dimmed."""

from __future__ import annotations

from nicegui import ui

from underlit.app import fields
from underlit.app.bench import Bench
from underlit.scene import Fixture


class Lights:
    """Fixtures, one card each."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._shown: object = None
        with ui.element("div").classes("card"):
            ui.label("Light").classes("heading").props('role="heading" aria-level="2"')
            self._body = ui.element("div")

    def scene_changed(self) -> None:
        """Show the fixtures as they hang."""
        scene = self._bench.scene
        self._body.clear()
        with self._body:
            for index, fixture in enumerate(scene.fixtures if scene else ()):
                self._fixture(index, fixture)

    def light_changed(self) -> None:
        """Nothing here shows light."""

    def _fixture(self, index: int, fixture: Fixture) -> None:
        bench = self._bench
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label(fixture.name)
            with ui.row().classes("fields"):
                over = "above_water" if fixture.above_water is not None else "above_rim"
                said = "Height over the water" if over == "above_water" else "Height over the rim"
                fields.length(
                    bench, said, ("fixture", index, over), lambda s: getattr(s.fixtures[index], over) or 0.0, most=2.0
                )
            self._dimmer(("fixture", index, "dimming"), "Dimming", fixture.dimming)
            if len(fixture.channels) > 1:
                for k, channel in enumerate(fixture.channels):
                    self._dimmer(
                        ("fixture", index, "channel", k, "dimming"), f"Dimming, {channel.name}", channel.dimming
                    )
            with ui.row():
                ui.button("Duplicate", on_click=lambda: self._duplicate(index, fixture.name)).props(
                    "flat dense no-caps"
                )
                ui.button("Remove", on_click=lambda: bench.edit(lambda d: d.remove("fixture", index))).props(
                    "flat dense no-caps"
                )

    def _dimmer(self, path: tuple[str | int, ...], label: str, held: float) -> None:
        with ui.row().classes("dimmer"):
            ui.label(label)
            slider = ui.slider(min=0, max=100, step=1, value=round(100 * held)).classes("slide")
            slider.props(f'aria-label="{label}, percent" label')
            slider.on("change", lambda e: self._bench.set(*path, value=float(e.args) / 100))

    def _duplicate(self, index: int, name: str) -> None:
        scene = self._bench.scene
        if scene is None:
            return
        names = {f.name for f in scene.fixtures}
        new = next(f"{name} {k}" for k in range(2, len(names) + 3) if f"{name} {k}" not in names)
        self._bench.edit(lambda document: document.duplicate("fixture", index, new))
