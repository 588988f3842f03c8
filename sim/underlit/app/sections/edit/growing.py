"""What stands and grows in the tank: wood, stones, plantings with their growth."""

from __future__ import annotations

import math

from nicegui import ui

from underlit.app.fields import Limits
from underlit.app.section import refused
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import another_name, entries, thing
from underlit.app.values import value_at
from underlit.catalogue import Kind, load_catalogue
from underlit.scene import PlantKind, Plants, Scene

DENSITIES = {"thin": "thin", "medium": "medium", "dense": "dense"}
PATCH = (0.25, 0.2)
"""Share of the tank's length and depth that a new planting takes, in the middle of the front."""
SMALLEST = Limits(0.005, 3.0)
"""Of a height of plants [m]."""


class Growing(Card):
    """Hardscape and plants."""

    title = "Wood, stone, plants"

    def parts(self, scene: Scene) -> object:
        """Names and kinds of everything."""
        plants = [(p.name, p.kind, tuple(p.outline_keys), p.density) for p in scene.plants]
        return [w.name for w in scene.wood], [s.name for s in scene.stone], plants

    def build(self, scene: Scene) -> None:
        """Everything there is, then what can be added."""
        for table, things in (("wood", scene.wood), ("stone", scene.stone)):
            for index, one in enumerate(things):
                self._solid(table, index, one.name)
        for index, group in enumerate(scene.plants):
            self._plants(index, group)
        for kind, label in ((Kind.WOOD, "Add wood"), (Kind.STONE, "Add a stone"), (Kind.PLANTS, "Add plants")):
            with ui.row().classes("adder"):
                chosen = ui.select(entries(kind), label=label).props("dense outlined options-dense")
                add = ui.button("Add", on_click=lambda k=kind, c=chosen: self._add(k, c.value))
                add.props(f'outline no-caps aria-label="{label}"')

    def _solid(self, table: str, index: int, name: str) -> None:
        fields, turn = self.fields, (table, index, "turn")
        with thing(name):
            with ui.row().classes("fields"):
                fields.lengths(("From the left", "From the front"), (table, index, "at"))
                fields.number(
                    "Turned", turn, Limits(-360, 360, 5), unit="deg",
                    read=lambda s: round(math.degrees(value_at(s, turn))),
                )  # fmt: skip
                fields.number("Scale", (table, index, "scale"), Limits(0.2, 3, 0.1))
            self.remove_button(table, index, name)

    def _plants(self, index: int, group: Plants) -> None:
        fields = self.fields
        with thing(f"{group.name} ({group.kind})"):
            with ui.row().classes("fields"):
                if group.kind not in (PlantKind.MESH, PlantKind.FLOATING):
                    fields.length(
                        "Height when planted", ("plants", index, "height"),
                        lambda s: s.plants[index].as_planted.height_m, limits=SMALLEST,
                    )  # fmt: skip
                if group.density is not None or not (group.leaf_area or group.cover or group.spacing):
                    density = ("plants", index, "density")
                    fields.choice("Density", DENSITIES, density, lambda s: s.plants[index].density or "medium")
                if group.kind is not PlantKind.MESH:
                    grown = ("plants", index, "grown")
                    read = lambda s: round(s.plants[index].grown, 2)  # noqa: E731
                    fields.number("Grown for", grown, Limits(0, 104), unit="weeks", read=read)
                if group.kind not in (PlantKind.MESH, PlantKind.FLOATING):
                    fields.length("Trimmed to", ("plants", index, "trimmed_to"), limits=SMALLEST, may_be_empty=True)
                if group.rectangle is not None:
                    fields.rectangle(("plants", index, "rectangle"))
            self.remove_button("plants", index, group.name)

    def _add(self, kind: Kind, entry: str | None) -> None:
        page, scene = self.page, self.page.scene
        if scene is None or not entry:
            return
        length, depth, _ = scene.tank.inside_m
        hard = [one.name for one in (*scene.wood, *scene.stone)]
        values: dict[str, object] = {
            "from": entry,
            "name": another_name(entry, [*hard, *(p.name for p in scene.plants)]),
        }
        if kind is not Kind.PLANTS:
            values["at"] = [page.length_text(length / 2), page.length_text(depth / 2)]
        elif _grows_on_wood(entry):
            if not hard:
                refused(f"{entry} grows on wood or stone: add one first")
                return
            values["on"] = hard[0]
        else:
            low = (length * (0.5 - PATCH[0] / 2), depth * 0.15)
            high = (length * (0.5 + PATCH[0] / 2), depth * (0.15 + PATCH[1]))
            values["rectangle"] = [[page.length_text(v) for v in corner] for corner in (low, high)]
        page.edit(lambda document: document.add(str(kind), values))


def _grows_on_wood(entry: str) -> bool:
    found = load_catalogue().find(Kind.PLANTS, entry)
    return found is not None and found.sets.get("kind") == PlantKind.EPIPHYTES
