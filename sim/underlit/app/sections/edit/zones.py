"""Zones: where what is to grow; spots where a meter would be held; what a tank's bands depend on."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from underlit.app.document import Document
from underlit.app.sections.card import Card
from underlit.app.sections.names import another_name, entries
from underlit.catalogue import Kind
from underlit.scene import Need, Scene

FOR = "for"
NEEDS = {str(need): f"{need} plants" for need in Need}


class Zones(Card):
    """Zones and spots."""

    title = "Zones and reading spots"
    opened = False

    def parts(self, scene: Scene) -> Any:
        """Names and kinds of outlines."""
        return [(z.name, tuple(z.outline_keys)) for z in scene.zones], [s.name for s in scene.spots]

    def build(self, scene: Scene) -> None:
        """The two questions, every zone, every spot."""
        fields = self.fields
        with ui.row().classes("switches"):
            fields.switch("CO2 is added", lambda s: s.has_added_co2, fields.says("added_co2"))
            fields.switch("The tank is settled (older than four weeks)", lambda s: s.is_settled, fields.says("settled"))
        for index, zone in enumerate(scene.zones):
            self._zone(index, zone.name, zone.rectangle is not None)
        for index, spot in enumerate(scene.spots):
            self._spot(index, spot.name)
        with ui.row():
            ui.button("Add a zone in the middle", on_click=self._add).props("outline dense no-caps")
            ui.button("Add a reading spot in the middle", on_click=self._add_spot).props("outline dense no-caps")

    def _zone(self, index: int, name: str, rectangle: bool) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label(name)
            with ui.row().classes("fields"):
                fields.text("Name", lambda s: s.zones[index].name, fields.says("zone", index, "name"))
                fields.choice(
                    "What will grow there", {"": "no aim", **NEEDS, **entries(Kind.PLANTS)}, lambda s: self._aim(index),
                    lambda word: self._wish(index, word),
                )  # fmt: skip
                if rectangle:
                    fields.length(
                        "Height over the substrate",
                        lambda s: s.zones[index].height,
                        fields.says("zone", index, "height"),
                    )
                    fields.rectangle(lambda s: s.zones[index].rectangle, fields.says("zone", index, "rectangle"))
            remove = ui.button("Remove", on_click=lambda: self.page.edit(lambda d: d.remove("zone", index)))
            remove.props(f'flat dense no-caps aria-label="Remove {name}"')

    def _spot(self, index: int, name: str) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label(name)
            with ui.row().classes("fields"):
                fields.text("Name", lambda s: s.spots[index].name, fields.says("spot", index, "name"))
                fields.lengths(
                    ("From the left", "From the front"), lambda s: s.spots[index].at, fields.says("spot", index, "at")
                )
            remove = ui.button("Remove", on_click=lambda: self.page.edit(lambda d: d.remove("spot", index)))
            remove.props(f'flat dense no-caps aria-label="Remove {name}"')

    # -- reading and saying ---------------------------------------------------------------------------------
    def _aim(self, index: int) -> str:
        document = self.page.session.document
        meant = document.get("zone", index, FOR)
        band = document.get("zone", index, "band")
        if isinstance(meant, str):
            return meant
        return f"{band[0]:g} - {band[1]:g}" if band else document.get("zone", index, "need", default="")

    def _wish(self, index: int, word: str) -> None:
        def change(document: Document) -> None:
            for key in (FOR, "band", "need"):
                document.set("zone", index, key, value=None)
            if word:
                document.set("zone", index, "need" if word in NEEDS else FOR, value=word)

        self.page.edit(change)

    def _add(self) -> None:
        page, scene = self.page, self.page.scene
        if scene is None:
            return
        length, depth, _ = scene.tank.inside_m
        low, high = (0.375 * length, 0.375 * depth), (0.625 * length, 0.625 * depth)
        values = {
            "name": another_name("zone", [z.name for z in scene.zones]),
            "rectangle": [[page.length_text(v) for v in corner] for corner in (low, high)],
            "need": str(Need.MEDIUM),
        }
        page.edit(lambda document: document.add("zone", values))

    def _add_spot(self) -> None:
        page, scene = self.page, self.page.scene
        if scene is None:
            return
        length, depth, _ = scene.tank.inside_m
        name = next_spot([spot.name for spot in scene.spots])
        at = [page.length_text(length / 2), page.length_text(depth / 2)]
        page.edit(lambda document: document.add("spot", {"name": name, "at": at}))


def next_spot(taken: list[str]) -> str:
    """A name for one more reading spot."""
    return next(f"spot {k}" for k in range(1, len(taken) + 2) if f"spot {k}" not in taken)
