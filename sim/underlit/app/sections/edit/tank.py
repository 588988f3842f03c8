"""Tank, what stands behind its panes, water, lid and substrate."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from nicegui import ui

from underlit.app.document import Document
from underlit.app.fields import Limits
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import entries, thing
from underlit.catalogue import Kind, load_catalogue
from underlit.scene import Scene, Tank
from underlit.scene.aquascape.ground import Substrate
from underlit.scene.common import Role
from underlit.scene.keys import keys_with
from underlit.scene.tank.panes import PaneState
from underlit.scene.tank.tank import Wall

NO_LID, PLAIN_LID = "no lid", "glass lid"
CUSTOM = "custom"
BEHIND = {
    "open air": "open air",
    "sheet black": "black sheet with an air gap",
    "sheet white": "white sheet with an air gap",
    "paint black": "black paint",
    "paint white": "white paint",
    "film black": "black film stuck on",
    "sheet mirror": "mirror with an air gap",
}
TANNINS = {"none": "clear", "light": "light tint", "ordinary": "ordinary tank", "tea": "tea"}
CLOUDS = {"clear": "clear", "hazy": "hazy", "cloudy": "cloudy"}
GLASS = {"clear": "clear glass", "low-iron": "low-iron glass", "acrylic": "acrylic"}
INSIDE = {str(state): str(state) for state in PaneState}
BY_NUMBERS = "as the scene's numbers say"
SIDES = ("back", "left", "right", "front")
SIZES, PANES, LEVELS = Limits(0.05, 3.0), Limits(0.002, 0.04), Limits(0.0, 1.0)


class TankCard(Card):
    """The tank and what surrounds the light on its way."""

    title = "Tank, water, lid, substrate"

    def parts(self, scene: Scene) -> object:
        """Whether the tank has an outside or an inside size, and a lid."""
        return scene.tank.nominal_size is not None, scene.tank.inside_size is not None, scene.lid is not None

    def build(self, scene: Scene) -> None:
        """Inputs in the order that light meets things from outside."""
        for title, fill in (("Tank", self._tank), ("Water", self._water), ("Lid", self._lid)):
            with thing(title), ui.row().classes("fields"):
                fill(scene)
        with thing("Substrate"), ui.row().classes("fields"):
            self._substrate()

    def _tank(self, scene: Scene) -> None:
        fields = self.fields
        sizes = {CUSTOM: CUSTOM, **entries(Kind.TANK)}
        fields.choice("Trade size", sizes, (), lambda s: self._entry("tank", CUSTOM), self._edits(take_size))
        for key, where in (("nominal_size", "outside"), ("inside_size", "inside")):
            if getattr(scene.tank, key) is not None:
                labels = [f"{side}, {where}" for side in ("Length", "Front to back", "Height")]
                fields.lengths(labels, ("tank", key), limits=SIZES)
        fields.choice("Glass", GLASS, ("tank", "glass"))
        fields.length("Glass thickness", ("tank", "glass_thickness"), lambda s: s.tank.wall_thickness_m, limits=PANES)
        for side in SIDES:
            label, path = f"Behind the {side} pane", ("tank", side, "behind")
            fields.choice(label, BEHIND, path, partial(_behind, side), self._edits(partial(take_backing, side=side)))

        fields.choice("Inside of the panes", INSIDE, ("tank", "panes"), _panes, self._edits(take_panes))

    def _water(self, scene: Scene) -> None:
        fields = self.fields
        fields.length(
            "Water level below the rim", ("water", "below_rim"), lambda s: s.tank.inside_m[2] - s.water_level_m,
            limits=LEVELS,
        )  # fmt: skip
        fields.choice("Tannin tint", TANNINS, ("water", "tannin"), lambda s: s.water.tannin.name)
        fields.choice("Cloudiness", CLOUDS, ("water", "cloudiness"), lambda s: s.water.cloudiness.name)

    def _lid(self, scene: Scene) -> None:
        options = {NO_LID: NO_LID, PLAIN_LID: PLAIN_LID, **entries(Kind.LID)}
        self.fields.choice(
            "Lid",
            options,
            (),
            lambda s: NO_LID if s.lid is None else self._entry("lid", PLAIN_LID),
            self._edits(take_lid),
        )
        if scene.lid is not None:
            self.fields.percent("Dirt: light that passes", ("lid", "dirt"))
            self.fields.percent("Condensation: light that passes", ("lid", "condensation"))

    def _substrate(self) -> None:
        self.fields.choice(
            "Substrate", entries(Kind.SUBSTRATE), ("substrate", "material"),
            lambda s: self._entry("substrate", s.substrate.material), self._edits(take_substrate),
        )  # fmt: skip
        self.fields.lengths(
            ("Depth in front", "Depth at the back"), ("substrate", "depth"),
            lambda s: [float(row.mean()) for row in (s.substrate.grid_m[0], s.substrate.grid_m[-1])], self._edits(take_slope),
        )  # fmt: skip

    def _entry(self, table: str, otherwise: str) -> str:
        """The catalogue entry that a table of the text in hand refers to."""
        return str(self.page.session.document.get(table, "from", default=otherwise))

    def _edits(self, change: Callable[[Document, Any], None]) -> Callable[[Any], object]:
        """What to do with a new value of a field: change the text by it."""
        return lambda value: self.page.edit(lambda document: change(document, value))


def take_size(document: Document, name: str) -> None:
    """Make the tank one of the catalogue, or write what its entry says into the scene, to be changed there."""
    if name != CUSTOM:
        document.clear("tank", keys=keys_with(Tank, Role.SIZE))
        document.set("tank", "from", value=name)
        return
    entry = load_catalogue().find(Kind.TANK, document.get("tank", "from", default=""))
    document.set("tank", "from", value=None)
    for key, value in (entry.sets if entry else {}).items():
        if document.get("tank", key) is None:
            document.set("tank", key, value=value)


def take_backing(document: Document, word: str, *, side: str) -> None:
    """Put something else behind a pane."""
    behind, _, colour = (word, "", "") if word == "open air" else word.rpartition(" ")
    document.clear("tank", side, keys=keys_with(Wall, Role.MATERIAL))
    document.set("tank", side, "behind", value=behind)
    document.set("tank", side, "colour", value=colour or None)


def take_panes(document: Document, word: str) -> None:
    """Say what is in front of all panes; it replaces what was said of one."""
    if word in INSIDE:
        for side in SIDES:
            document.clear("tank", side, keys=("returned_per_reflection",))
        document.set("tank", "panes", value=word)


def take_lid(document: Document, name: str) -> None:
    """Put on a lid of the catalogue, a plain one, or none."""
    document.set("lid", value=None)
    if name != NO_LID:
        document.set("lid", value={} if name == PLAIN_LID else {"from": name})


def take_substrate(document: Document, name: str) -> None:
    """Make the substrate one of the catalogue; its depth stays."""
    document.clear("substrate", keys=keys_with(Substrate, Role.MATERIAL))
    document.set("substrate", "from", value=name)


def take_slope(document: Document, depths: Sequence[str]) -> None:
    """Give the substrate a depth in front and at the back."""
    for key, depth in zip(("front_depth", "back_depth"), depths, strict=True):
        document.set("substrate", key, value=depth)


def _panes(scene: Scene) -> str:
    states = {scene.pane_state(side) for side in SIDES}
    return BY_NUMBERS if len(states) > 1 else states.pop() or BY_NUMBERS


def _behind(side: str, scene: Scene) -> str:
    wall = scene.tank.walls[side]
    return str(wall.behind) if wall.colour is None else f"{wall.behind} {wall.colour}"
