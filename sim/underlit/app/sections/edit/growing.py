"""What stands and grows in the tank: wood, stones, plantings with their growth."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from nicegui import ui

from underlit.app.sections.card import Card
from underlit.app.sections.names import another_name, entries
from underlit.catalogue import Kind
from underlit.scene import PlantKind, Plants, Scene, Stone, Wood

DENSITIES = {"thin": "thin", "medium": "medium", "dense": "dense"}
PATCH = (0.25, 0.2)
"""Share of the tank's length and depth that a new planting takes, in the middle of the front."""


class Growing(Card):
    """Hardscape and plants."""

    title = "Wood, stone, plants"
    opened = False

    def parts(self, scene: Scene) -> Any:
        """Names and kinds of everything."""
        plants = [(p.name, p.kind, tuple(p.outline_keys), p.trimmed_to is None, p.density) for p in scene.plants]
        return [w.name for w in scene.wood], [s.name for s in scene.stone], plants

    def build(self, scene: Scene) -> None:
        """Everything there is, then what can be added."""
        for table, things in (("wood", scene.wood), ("stone", scene.stone)):
            for index, thing in enumerate(things):
                self._solid(table, index, thing.name)
        for index, group in enumerate(scene.plants):
            self._plants(index, group)
        for kind, label in ((Kind.WOOD, "Add wood"), (Kind.STONE, "Add a stone"), (Kind.PLANTS, "Add plants")):
            with ui.row().classes("adder"):
                chosen = ui.select(entries(kind), label=label).props("dense outlined options-dense")
                add = ui.button("Add", on_click=lambda k=kind, c=chosen: self._add(k, c.value))
                add.props(f'outline no-caps aria-label="{label}"')

    def _solid(self, table: str, index: int, name: str) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label(name)
            with ui.row().classes("fields"):
                fields.lengths(
                    ("From the left", "From the front"), lambda s: getattr(s, table)[index].at,
                    fields.says(table, index, "at"),
                )  # fmt: skip
                fields.number(
                    "Turned", lambda s: round(math.degrees(getattr(s, table)[index].turn)), fields.says(table, index, "turn"),
                    least=-360, most=360, step=5, unit="deg",
                )  # fmt: skip
                fields.number(
                    "Scale", lambda s: getattr(s, table)[index].scale, fields.says(table, index, "scale"),
                    least=0.2, most=3, step=0.1,
                )  # fmt: skip
            self._remove(table, index, name)

    def _plants(self, index: int, group: Plants) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label(f"{group.name} ({group.kind})")
            with ui.row().classes("fields"):
                if group.height is not None:
                    fields.length(
                        "Height when planted",
                        lambda s: s.plants[index].height,
                        fields.says("plants", index, "height"),
                        least=0.005,
                    )
                if group.density is not None or not (group.leaf_area or group.cover or group.spacing):
                    fields.choice(
                        "Density", DENSITIES, lambda s: s.plants[index].density or "medium",
                        fields.says("plants", index, "density"),
                    )  # fmt: skip
                if group.kind is not PlantKind.MESH:
                    fields.number(
                        "Grown", lambda s: round(s.plants[index].grown, 2), fields.says("plants", index, "grown"),
                        least=0, most=104, step=1, unit="weeks",
                    )  # fmt: skip
                if group.kind not in (PlantKind.MESH, PlantKind.FLOATING):
                    fields.length(
                        "Trimmed to", lambda s: s.plants[index].trimmed_to,
                        fields.says("plants", index, "trimmed_to"), least=0.005, may_be_empty=True,
                    )  # fmt: skip
                if group.rectangle is not None:
                    fields.rectangle(lambda s: s.plants[index].rectangle, fields.says("plants", index, "rectangle"))
            self._remove("plants", index, group.name)

    def _remove(self, table: str, index: int, name: str) -> None:
        button = ui.button("Remove", on_click=lambda: self.page.edit(lambda d: d.remove(table, index)))
        button.props(f'flat dense no-caps aria-label="Remove {name}"')

    def _add(self, kind: Kind, entry: str | None) -> None:
        page, scene = self.page, self.page.scene
        if scene is None or not entry:
            return
        length, depth, _ = scene.tank.inside_m
        taken = [*_names(scene.wood), *_names(scene.stone), *_names(scene.plants)]
        values: dict[str, Any] = {"from": entry, "name": another_name(entry, taken)}
        if kind is not Kind.PLANTS:
            values["at"] = [page.length_text(length / 2), page.length_text(depth / 2)]
        elif _grows_on_wood(entry):
            stands = [*_names(scene.wood), *_names(scene.stone)]
            if not stands:
                ui.notify(f"{entry}: these grow on wood or stone; add some first", type="warning")
                return
            values["on"] = stands[0]
        else:
            x0, x1 = length * (0.5 - PATCH[0] / 2), length * (0.5 + PATCH[0] / 2)
            y0, y1 = depth * 0.15, depth * (0.15 + PATCH[1])
            values["rectangle"] = [
                [page.length_text(x0), page.length_text(y0)],
                [page.length_text(x1), page.length_text(y1)],
            ]
        page.edit(lambda document: document.add(str(kind), values))


def _names(things: Iterable[Wood | Stone | Plants]) -> list[str]:
    return [thing.name for thing in things]


def _grows_on_wood(entry: str) -> bool:
    from underlit.catalogue import load_catalogue

    found = load_catalogue().find(Kind.PLANTS, entry)
    return found is not None and found.sets.get("kind") == PlantKind.EPIPHYTES
