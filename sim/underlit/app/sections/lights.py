"""The fixtures: what they are, where they hang, how far each channel is dimmed and for how long."""

from __future__ import annotations

import math
from typing import Any

from nicegui import ui

from underlit.app.sections.card import Card
from underlit.app.sections.names import another_name, entries
from underlit.app.view import TankView
from underlit.catalogue import Kind
from underlit.lowering.lights import dimming
from underlit.scene import Fixture, Scene

HANGS_M = 0.10
"""Over the rim, where a fixture is added and nothing is said."""


class Lights(Card):
    """Fixtures, one fieldset each."""

    title = "Light"

    def __init__(self, bench, view: TankView) -> None:
        self._view = view
        super().__init__(bench)

    def parts(self, scene: Scene) -> Any:
        """Fixtures, their channels, and from where their height counts."""
        return [
            (f.name, [c.name for c in f.channels], f.above_water is not None, f.schedule is None)
            for f in scene.fixtures
        ]

    def build(self, scene: Scene) -> None:
        """All fixtures, and a way to add one."""
        for index, fixture in enumerate(scene.fixtures):
            self._fixture(index, fixture)
        with ui.row().classes("adder"):
            kinds = ui.select(entries(Kind.FIXTURE), label="Add a light like").props("dense outlined options-dense")
            ui.button("Add", on_click=lambda: self._add(kinds.value)).props(
                'outline no-caps aria-label="Add the light"'
            )

    def _fixture(self, index: int, fixture: Fixture) -> None:
        fields, bench = self.fields, self.bench
        over = "above_water" if fixture.above_water is not None else "above_rim"
        said = "Over the water" if over == "above_water" else "Over the rim"
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label(fixture.name)
            with ui.row().classes("fields"):
                fields.length(
                    said,
                    lambda s: getattr(s.fixtures[index], over) or 0.0,
                    fields.says("fixture", index, over),
                    most=2.0,
                )
                fields.lengths(
                    ("From the left", "From the front"), lambda s: s.fixture_centre_m(s.fixtures[index])[:2],
                    fields.says("fixture", index, "position"), least=-1.0,
                )  # fmt: skip
                fields.number(
                    "Turned", lambda s: round(math.degrees(s.fixtures[index].turn)), fields.says("fixture", index, "turn"),
                    least=-360, most=360, step=5, unit="deg",
                )  # fmt: skip
                if fixture.schedule is None:
                    fields.number(
                        "Hours a day", lambda s: s.fixtures[index].photoperiod, fields.says("fixture", index, "photoperiod"),
                        least=0, most=24, step=0.5, unit="h",
                    )  # fmt: skip
            self._dimmer("Dimming", ("fixture", index, "dimming"), lambda s: s.fixtures[index].dimming)
            if len(fixture.channels) > 1:
                for k, channel in enumerate(fixture.channels):
                    path = ("fixture", index, "channel", k, "dimming")
                    self._dimmer(f"Dimming, {channel.name}", path, lambda s, k=k: s.fixtures[index].channels[k].dimming)
            with ui.row():
                ui.button("Duplicate", on_click=lambda: self._duplicate(index)).props("flat dense no-caps")
                remove = ui.button("Remove", on_click=lambda: bench.edit(lambda d: d.remove("fixture", index)))
                remove.props("flat dense no-caps")

    def _dimmer(self, label: str, path: tuple[str | int, ...], read: Any) -> None:
        self.fields.percent(label, read, self.fields.says(*path), lambda share: self._sliding(path, share))

    def _sliding(self, path: tuple[str | int, ...], share: float) -> None:
        """Redraw while a dimmer slides, before the scene says it."""
        scene = self.bench.scene
        if scene is None or not isinstance(path[1], int) or self.bench.light is None:
            return
        fixture = scene.fixtures[path[1]]
        if len(path) == 3:
            held, names = fixture.dimming, [c.name for c in fixture.channels]
        else:
            channel = fixture.channels[int(path[3])]
            held, names = channel.dimming, [channel.name]
        levels = dimming(scene)
        for source in self.bench.light.result.plan.sources:
            if source.fixture == fixture.name and source.channel in names and held > 0:
                levels[source.name] *= share / held
        self._view.dim(levels)

    def _duplicate(self, index: int) -> None:
        scene = self.bench.scene
        if scene is not None:
            new = another_name(scene.fixtures[index].name, [f.name for f in scene.fixtures])
            self.bench.edit(lambda document: document.duplicate("fixture", index, new))

    def _add(self, entry: str | None) -> None:
        scene = self.bench.scene
        if scene is not None and entry:
            name = another_name(entry.split(",")[0], [f.name for f in scene.fixtures])
            values = {"from": entry, "name": name, "above_rim": self.bench.length_text(HANGS_M)}
            self.bench.edit(lambda document: document.add("fixture", values))
