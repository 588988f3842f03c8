"""Zones: where what is to grow; spots where a meter would be held; what a tank's bands depend on."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.document import Document
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import another_name, entries, thing
from underlit.catalogue import Kind
from underlit.scene import Need, Scene
from underlit.scene.keys import alternatives_of
from underlit.scene.targets import Zone

FOR = "for"
NEEDS = {str(need): f"{need} plants" for need in Need}


class Zones(Card):
    """Zones and spots."""

    title = "Zones and reading spots"

    def parts(self, scene: Scene) -> object:
        """Names and kinds of outlines."""
        return [(z.name, tuple(z.outline_keys)) for z in scene.zones], [s.name for s in scene.spots]

    def build(self, scene: Scene) -> None:
        """The two questions, every zone, every spot."""
        with ui.row().classes("switches"):
            self.fields.switch("CO2 is added", ("added_co2",), lambda s: s.has_added_co2)
            self.fields.switch("The tank is older than four weeks", ("settled",), lambda s: s.is_settled)
        for index, zone in enumerate(scene.zones):
            self._zone(index, zone.name, rectangle=zone.rectangle is not None)
        for index, spot in enumerate(scene.spots):
            with thing(spot.name):
                with ui.row().classes("fields"):
                    self.fields.text("Name", ("spot", index, "name"))
                    self.fields.lengths(("From the left", "From the front"), ("spot", index, "at"))
                self.remove_button("spot", index, spot.name)
        with ui.row():
            ui.button("Add a zone in the middle", on_click=self._add).props("outline dense no-caps")
            ui.button("Add a reading spot in the middle", on_click=self._add_spot).props("outline dense no-caps")

    def _zone(self, index: int, name: str, *, rectangle: bool) -> None:
        fields, options = self.fields, {"": "no target", **NEEDS, **entries(Kind.PLANTS)}
        with thing(name):
            with ui.row().classes("fields"):
                fields.text("Name", ("zone", index, "name"))
                fields.choice(
                    "What will grow there", options, (), partial(self._target, index), partial(self._set_target, index)
                )
                if rectangle:
                    fields.length("Height above the substrate", ("zone", index, "height"))
                    fields.rectangle(("zone", index, "rectangle"))
            self.remove_button("zone", index, name)

    # -- reading and saying ---------------------------------------------------------------------------------
    def _target(self, index: int, scene: Scene) -> str:
        """What the text in hand says will grow in a zone, or its band in numbers."""
        document = self.page.session.document
        meant, band = (document.get("zone", index, key) for key in (FOR, "band"))
        if isinstance(meant, str):
            return meant
        return f"{band[0]:g} - {band[1]:g}" if band else document.get("zone", index, "need", default="")

    def _set_target(self, index: int, word: str) -> None:
        self.page.edit(lambda document: take_target(document, index, word))

    def _add(self) -> None:
        page, scene = self.page, self.page.scene
        if scene is None:
            return
        length, depth, _ = scene.tank.inside_m
        low, high = (0.375 * length, 0.375 * depth), (0.625 * length, 0.625 * depth)
        name = another_name("zone", [z.name for z in scene.zones])
        corners = [[page.length_text(v) for v in corner] for corner in (low, high)]
        page.edit(lambda document: document.add("zone", {"name": name, "rectangle": corners}))

    def _add_spot(self) -> None:
        page, scene = self.page, self.page.scene
        if scene is None:
            return
        length, depth, _ = scene.tank.inside_m
        name = next_spot([spot.name for spot in scene.spots])
        at = [page.length_text(length / 2), page.length_text(depth / 2)]
        page.edit(lambda document: document.add("spot", {"name": name, "at": at}))


def take_target(document: Document, index: int, word: str) -> None:
    """Give a zone the target that a need or a plant of the catalogue has, or none."""
    document.clear("zone", index, keys=("need", *alternatives_of(Zone, "need")))
    if word:
        document.set("zone", index, "need" if word in NEEDS else FOR, value=word)


def next_spot(taken: list[str]) -> str:
    """A name for one more reading spot."""
    return next(f"spot {k}" for k in range(1, len(taken) + 2) if f"spot {k}" not in taken)
