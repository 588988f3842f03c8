"""The fixtures: what they are, where they hang, how far each channel is dimmed and for how long."""

from __future__ import annotations

import math
from typing import Any

from nicegui import ui

from underlit.app.sections.card import Card
from underlit.app.sections.names import another_name, entries
from underlit.app.view import TankView
from underlit.catalogue import Kind
from underlit.lowering.fixtures import dimming
from underlit.scene import Fixture, Scene

HANGS_M = 0.10
"""Over the rim, where a fixture is added and nothing is said."""


class Lights(Card):
    """Fixtures, one fieldset each."""

    title = "Light"

    def __init__(self, page, view: TankView) -> None:
        self._view = view
        super().__init__(page)

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
        fields, page = self.fields, self.page
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
                remove = ui.button("Remove", on_click=lambda: page.edit(lambda d: d.remove("fixture", index)))
                remove.props("flat dense no-caps")

    def scene_changed(self) -> None:
        """Follow the scene; the view learns what each dimmer would give at full, so that it answers a hand by itself."""
        super().scene_changed()
        if self.page.scene is not None:
            self._view.dimmers(at_full(self.page.scene))

    def _dimmer(self, label: str, path: tuple[str | int, ...], read: Any) -> None:
        slide = f'document.getElementById("{self._view.html_id}")?.tankView?.slide("{_key(path)}", percent / 100)'
        self.fields.percent(label, read, self.fields.says(*path), slide)

    def _duplicate(self, index: int) -> None:
        scene = self.page.scene
        if scene is not None:
            new = another_name(scene.fixtures[index].name, [f.name for f in scene.fixtures])
            self.page.edit(lambda document: document.duplicate("fixture", index, new))

    def _add(self, entry: str | None) -> None:
        scene = self.page.scene
        if scene is not None and entry:
            name = another_name(entry.split(",")[0], [f.name for f in scene.fixtures])
            values = {"from": entry, "name": name, "above_rim": self.page.length_text(HANGS_M)}
            self.page.edit(lambda document: document.add("fixture", values))


def _key(path: tuple[str | int, ...]) -> str:
    """A dimmer by the path of its value in the scene."""
    return ".".join(map(str, path))


def at_full(scene: Scene) -> dict[str, dict[str, float]]:
    """By dimmer: the level that each source it dims would have with it at full, all else as it is."""
    found: dict[str, dict[str, float]] = {}
    for index, fixture in enumerate(scene.fixtures):
        found[_key(("fixture", index, "dimming"))] = _full_levels(
            scene, index, *(fixture.model_copy(update={"dimming": level}) for level in (1.0, 0.0))
        )
        for k, channel in enumerate(fixture.channels):
            ends = []
            for level in (1.0, 0.0):
                channels = list(fixture.channels)
                channels[k] = channel.model_copy(update={"dimming": level})
                ends.append(fixture.model_copy(update={"channels": tuple(channels)}))
            found[_key(("fixture", index, "channel", k, "dimming"))] = _full_levels(scene, index, *ends)
    return found


def _full_levels(scene: Scene, index: int, full: Fixture, dark: Fixture) -> dict[str, float]:
    """Levels with one fixture as `full`, of the sources that are not the same with it as `dark`."""

    def levels(fixture: Fixture) -> dict[str, float]:
        fixtures = (*scene.fixtures[:index], fixture, *scene.fixtures[index + 1 :])
        return dimming(scene.model_copy(update={"fixtures": fixtures}))

    bright, without = levels(full), levels(dark)
    return {name: level for name, level in bright.items() if level != without[name]}
