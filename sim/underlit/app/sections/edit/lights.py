"""The fixtures: what they are, where they hang, how far each channel is dimmed and for how long."""

from __future__ import annotations

import math

from nicegui import ui

from underlit.app.fields import Limits
from underlit.app.section import Page
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import another_name, entries, thing
from underlit.app.values import Path
from underlit.app.view import TankView
from underlit.catalogue import Kind
from underlit.lowering.fixtures import dimming
from underlit.lowering.records import Source
from underlit.scene import Fixture, Scene

HEIGHTS = Limits(0.0, 2.0)
ROUND_THE_TANK = Limits(-1.0, 3.0)


class Lights(Card):
    """Fixtures, one frame each."""

    title = "Light"
    opened = True

    def __init__(self, page: Page, view: TankView) -> None:
        self._view = view
        super().__init__(page)

    def parts(self, scene: Scene) -> object:
        """Fixtures, their channels, and from where their height counts."""
        return [
            (f.name, [c.name for c in f.channels], f.above_water is not None, f.schedule is None)
            for f in scene.fixtures
        ]

    def build(self, scene: Scene) -> None:
        """All fixtures, and a way to add one."""
        for index, fixture in enumerate(scene.fixtures):
            with thing(fixture.name):
                with ui.row().classes("fields"):
                    self._place(index, fixture)
                self._dimmers(index, fixture)
                with ui.row():
                    ui.button("Duplicate", on_click=lambda i=index: self._duplicate(i)).props("flat dense no-caps")
                    self.remove_button("fixture", index, fixture.name)
        with ui.row().classes("adder"):
            kinds = ui.select(entries(Kind.FIXTURE), label="Add a light").props("dense outlined options-dense")
            add = ui.button("Add", on_click=lambda: self._add(kinds.value))
            add.props('outline no-caps aria-label="Add the light"')

    def _place(self, index: int, fixture: Fixture) -> None:
        fields, turn = self.fields, ("fixture", index, "turn")
        if fixture.above_water is not None:
            fields.length("Height above the water", ("fixture", index, "above_water"), limits=HEIGHTS)
        else:
            height = ("fixture", index, "above_rim")
            read = lambda s: s.fixtures[index].height_above_rim_m  # noqa: E731
            fields.length("Height above the rim", height, read, limits=HEIGHTS)
        fields.lengths(
            ("From the left", "From the front"), ("fixture", index, "position"),
            lambda s: s.fixture_centre_m(s.fixtures[index])[:2], limits=ROUND_THE_TANK,
        )  # fmt: skip
        fields.number(
            "Turned", turn, Limits(-360, 360, 5), unit="deg", read=lambda s: round(math.degrees(s.fixtures[index].turn))
        )
        if fixture.schedule is None:
            fields.number("Photoperiod", ("fixture", index, "photoperiod"), Limits(0, 24, 0.5), unit="h")

    def _dimmers(self, index: int, fixture: Fixture) -> None:
        self._dimmer("Dimming", ("fixture", index, "dimming"))
        if len(fixture.channels) > 1:
            for k, channel in enumerate(fixture.channels):
                self._dimmer(f"Dimming, {channel.name}", ("fixture", index, "channel", k, "dimming"))

    def scene_changed(self) -> None:
        """Follow the scene; the view learns what each dimmer would give at full, so that it answers a hand by itself."""
        super().scene_changed()
        if self.page.scene is not None:
            self._view.dimmers(at_full(self.page.scene))

    def _dimmer(self, label: str, path: Path) -> None:
        slide = f'document.getElementById("{self._view.html_id}")?.tankView?.slide("{_key(path)}", percent / 100)'
        self.fields.percent(label, path, slide)

    def _duplicate(self, index: int) -> None:
        scene = self.page.scene
        if scene is not None:
            new = another_name(scene.fixtures[index].name, [f.name for f in scene.fixtures])
            self.page.edit(lambda document: document.duplicate("fixture", index, new))

    def _add(self, entry: str | None) -> None:
        scene = self.page.scene
        if scene is not None and entry:
            name = another_name(entry.split(",")[0], [f.name for f in scene.fixtures])
            self.page.edit(lambda document: document.add("fixture", {"from": entry, "name": name}))


def _key(path: Path) -> str:
    """A dimmer by the path of its value in the scene."""
    return ".".join(map(str, path))


def at_full(scene: Scene) -> dict[str, dict[Source, float]]:
    """By dimmer: the level that each source it dims would have with it at full, all else as it is."""
    found: dict[str, dict[Source, float]] = {}
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


def _full_levels(scene: Scene, index: int, full: Fixture, dark: Fixture) -> dict[Source, float]:
    """Levels with one fixture as `full`, of the sources that are not the same with it as `dark`."""

    def levels(fixture: Fixture) -> dict[Source, float]:
        fixtures = (*scene.fixtures[:index], fixture, *scene.fixtures[index + 1 :])
        return dimming(scene.model_copy(update={"fixtures": fixtures}))

    bright, without = levels(full), levels(dark)
    return {source: level for source, level in bright.items() if level != without[source]}
