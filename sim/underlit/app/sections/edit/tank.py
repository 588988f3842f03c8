"""Tank, what stands behind its panes, water, lid and substrate."""

from __future__ import annotations

from functools import partial
from typing import Any

from nicegui import ui

from underlit.app.document import Document
from underlit.app.sections.card import Card
from underlit.app.sections.names import entries
from underlit.catalogue import Kind
from underlit.scene import Scene

NO_LID = "no lid"
BY_HAND = "by hand"
BEHIND = {
    "open air": "open air",
    "sheet black": "black sheet, gap of air",
    "sheet white": "white sheet, gap of air",
    "paint black": "black paint",
    "paint white": "white paint",
    "film black": "black film, stuck on",
    "sheet mirror": "mirror",
}
TANNINS = {"none": "clear", "light": "a little tea", "ordinary": "ordinary tank", "tea": "tea"}
CLOUDS = {"clear": "clear", "hazy": "hazy", "cloudy": "cloudy"}
GLASS = {"clear": "clear glass", "low-iron": "low-iron glass", "acrylic": "acrylic"}


class TankCard(Card):
    """The tank and what surrounds the light on its way."""

    title = "Tank, water, lid"
    opened = False

    def parts(self, scene: Scene) -> Any:
        """Whether the tank has an outside or an inside size, and a lid."""
        return scene.tank.nominal_size is not None, scene.tank.outline is None, scene.lid is not None

    def build(self, scene: Scene) -> None:
        """Inputs in the order that light meets things from outside."""
        self._tank(scene)
        self._water(scene)
        self._lid(scene)
        self._substrate()

    def _tank(self, scene: Scene) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label("Tank")
            with ui.row().classes("fields"):
                fields.choice("Trade size", {BY_HAND: BY_HAND, **entries(Kind.TANK)}, self._trade_size, self._take_size)
                key = "nominal_size" if scene.tank.nominal_size is not None else "inside_size"
                where = "outside" if key == "nominal_size" else "inside"
                if scene.tank.nominal_size is not None or scene.tank.inside_size is not None:
                    fields.lengths(
                        [f"{side}, {where}" for side in ("Length", "Front to back", "Height")],
                        lambda s: s.tank.nominal_size or s.tank.inside_m, fields.says("tank", key), least=0.05,
                    )  # fmt: skip
                fields.choice("Glass", GLASS, lambda s: str(s.tank.glass), fields.says("tank", "glass"))
                fields.length(
                    "Glass thickness", lambda s: s.tank.wall_thickness_m, fields.says("tank", "glass_thickness"),
                    least=0.002, most=0.04,
                )  # fmt: skip
                for side in ("back", "left", "right", "front"):
                    fields.choice(
                        f"Behind the {side} pane", BEHIND, partial(self._behind, side), partial(self._back, side)
                    )

    def _water(self, scene: Scene) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label("Water")
            with ui.row().classes("fields"):
                fields.length("Below the rim", lambda s: s.tank.inside_m[2] - s.water_level_m, self._fill, most=1.0)
                fields.choice("Tannin tint", TANNINS, lambda s: s.water.tannin.name, fields.says("water", "tannin"))
                fields.choice(
                    "Cloudiness", CLOUDS, lambda s: s.water.cloudiness.name, fields.says("water", "cloudiness")
                )

    def _lid(self, scene: Scene) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label("Lid")
            with ui.row().classes("fields"):
                options = {NO_LID: NO_LID, BY_HAND: BY_HAND, **entries(Kind.LID)}
                fields.choice("Lid", options, self._lid_kind, self._take_lid)
                if scene.lid is not None:
                    fields.percent(
                        "Light that dirt lets through",
                        lambda s: s.lid.dirt if s.lid else 1.0,
                        fields.says("lid", "dirt"),
                    )
                    fields.percent(
                        "Light that drops let through",
                        lambda s: s.lid.condensation if s.lid else 1.0,
                        fields.says("lid", "condensation"),
                    )

    def _substrate(self) -> None:
        fields = self.fields
        with ui.element("fieldset").classes("thing"):
            with ui.element("legend"):
                ui.label("Substrate")
            with ui.row().classes("fields"):
                fields.choice("Substrate", {BY_HAND: BY_HAND, **entries(Kind.SUBSTRATE)}, self._bed, self._take_bed)
                fields.lengths(
                    ("Depth in front", "Depth at the back"),
                    lambda s: [float(row.mean()) for row in (s.substrate.grid_m[0], s.substrate.grid_m[-1])], self._slope,
                )  # fmt: skip

    # -- reading --------------------------------------------------------------------------------------------
    def _entry(self, table: str) -> str:
        return self.page.session.document.get(table, "from", default=BY_HAND)

    def _trade_size(self, scene: Scene) -> str:
        return self._entry("tank")

    def _bed(self, scene: Scene) -> str:
        return self._entry("substrate")

    def _lid_kind(self, scene: Scene) -> str:
        return NO_LID if scene.lid is None else self._entry("lid")

    def _behind(self, side: str, scene: Scene) -> str:
        wall = scene.tank.walls[side]
        return str(wall.behind) if wall.colour is None else f"{wall.behind} {wall.colour}"

    # -- saying ---------------------------------------------------------------------------------------------
    def _take_size(self, entry: str) -> None:
        def change(document: Document) -> None:
            if entry == BY_HAND:
                scene = self.page.scene
                if scene is None:
                    return
                document.set("tank", "from", value=None)
                size = scene.tank.nominal_size
                key, measures = ("nominal_size", size) if size else ("inside_size", scene.tank.inside_m)
                document.set("tank", key, value=[self.page.length_text(v) for v in measures])
                return
            for key in ("nominal_size", "inside_size", "shape", "bow", "side_pane", "outline", "height", "rim"):
                document.set("tank", key, value=None)
            document.set("tank", "from", value=entry)

        self.page.edit(change)

    def _back(self, side: str, word: str) -> None:
        behind, _, colour = word.rpartition(" ") if word != "open air" else (word, "", "")
        kept = self.page.session.document.get("tank", side, "returned_per_reflection")
        wall: dict[str, Any] = {"behind": behind} | ({"colour": colour} if colour else {})
        if kept is not None:
            wall["returned_per_reflection"] = kept

        def change(document: Document) -> None:
            document.set("tank", side, value=None)
            document.set("tank", side, value=wall)

        self.page.edit(change)

    def _fill(self, text: str) -> None:
        def change(document: Document) -> None:
            document.set("water", "above_bottom", value=None)
            document.set("water", "below_rim", value=text)

        self.page.edit(change)

    def _take_lid(self, entry: str) -> None:
        def change(document: Document) -> None:
            document.set("lid", value=None)
            if entry != NO_LID:
                document.set("lid", value={} if entry == BY_HAND else {"from": entry})

        self.page.edit(change)

    def _take_bed(self, entry: str) -> None:
        def change(document: Document) -> None:
            document.set("substrate", "from", value=None if entry == BY_HAND else entry)
            if entry != BY_HAND:
                document.set("substrate", "material", value=None)
                document.set("substrate", "reflectance", value=None)

        self.page.edit(change)

    def _slope(self, depths: list[str]) -> None:
        def change(document: Document) -> None:
            for key in ("depth", "heights", "terraces"):
                document.set("substrate", key, value=None)
            document.set("substrate", "front_depth", value=depths[0])
            document.set("substrate", "back_depth", value=depths[1])

        self.page.edit(change)
