"""The whole scene, and what follows from its parts together."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from pydantic import Field, PrivateAttr

from underlit.scene.aquascape.ground import Stone, Substrate, Wood
from underlit.scene.aquascape.plants import Plants
from underlit.scene.common import HAIR, FilePath, LengthM, Name, OneLine, Part, Point, YesNo
from underlit.scene.lights.fixture import Fixture
from underlit.scene.measured import Measured
from underlit.scene.notices import RenamedKey, UsedEntry
from underlit.scene.tank.lid import Hood, Lid
from underlit.scene.tank.outline import UPRIGHT_SIDES
from underlit.scene.tank.panes import RETURNED, PaneRule, PaneState, pane_lines, pane_rule
from underlit.scene.tank.tank import Tank
from underlit.scene.tank.water import WATER_BELOW_RIM_M, Water
from underlit.scene.targets import SPOT_ABOVE_SUBSTRATE_M, Band, Spot, Zone


class RackTank(Part):
    """Another tank of the rack, with its own water, substrate, plants, zones, spots and lights.

    All lights shine on all tanks. Its zones and spots are named after it: "name: zone".
    """

    name: Name = Field(description="what the tank is called; stands before the names of its zones and spots")
    file: FilePath = Field(description="the scene file of that tank")
    at: Point = Field(description="where the front left corner of its inside stands, counted from that of this tank")
    height: LengthM = Field(
        0.0, description="how much higher its bottom stands than that of this tank; below is negative"
    )

    _scene: Scene | None = PrivateAttr(default=None)

    @property
    def is_read(self) -> bool:
        """Whether its scene file could be read."""
        return self._scene is not None

    @property
    def scene(self) -> Scene:
        """The tank and what belongs to it, in its own frame; the reader puts it here."""
        assert self._scene is not None
        return self._scene

    @property
    def offset_m(self) -> tuple[float, float, float]:
        """Where the origin of its frame lies in that of the scene's own tank [m]."""
        return (*self.at, self.height)

    def with_scene(self, scene: Scene, **changes: object) -> RackTank:
        """The same place in the rack with another scene in it; changes are other values of its keys."""
        changed = self.model_copy(update=changes)
        changed._scene = scene
        return changed


class Scene(Part):
    """A tank, its light and what is in it. Lengths are metres, angles radians, whatever unit the file used.

    Made by `load_scene` and `scene_from_dict`; the keys of a scene file are the fields, by their alias where they have one.

    Attributes
    ----------
    title, base, added_co2, settled
        The keys of a file that stand outside its tables.
    tank, water, lid, hood, substrate
        The tables of that name; None where there may be none.
    fixtures, wood, stone, plants, zones, spots, rack
        The tables of which there may be several.
    measured
        What meter readings told about it, or None.
    path : Path or None
        The file that the scene was read from.
    entries : tuple of UsedEntry
        The entries of the catalogue that the scene refers to.
    notes : list of str
        What to tell people about the scene, one line each: own entries that replace shipped ones, keys under former names,
        values that are no longer as measured.
    water_level_m : float
        Height of the water surface over the inside of the bottom pane [m].
    ppf : float
        PPF of all fixtures at their brightest hours [umol/s].
    """

    title: OneLine = ""
    base: str | None = Field(None, description="another scene file that this one changes")
    added_co2: YesNo | None = None
    settled: YesNo | None = Field(None, description="false for a new tank, in its first weeks")
    tank: Tank
    water: Water = Water()
    lid: Lid | None = None
    hood: Hood | None = None
    fixtures: tuple[Fixture, ...] = Field((), alias="fixture")
    substrate: Substrate = Substrate()
    wood: tuple[Wood, ...] = ()
    stone: tuple[Stone, ...] = ()
    plants: tuple[Plants, ...] = ()
    zones: tuple[Zone, ...] = Field((), alias="zone")
    spots: tuple[Spot, ...] = Field((), alias="spot")
    rack: tuple[RackTank, ...] = Field((), description="other tanks that stand with this one under the same lights")
    measured: Measured | None = Field(None, description="what meter readings told; underlit fit writes it")

    _path: Path | None = PrivateAttr(default=None)
    _entries: tuple[UsedEntry, ...] = PrivateAttr(default=())
    _renamed: tuple[RenamedKey, ...] = PrivateAttr(default=())
    _not_as_measured: tuple[str, ...] = PrivateAttr(default=())
    _pane_rule: PaneRule | None = PrivateAttr(default=None)

    @property
    def path(self) -> Path | None:
        """The file the scene was read from."""
        return self._path

    @property
    def entries(self) -> tuple[UsedEntry, ...]:
        """The entries of the catalogue that the scene refers to."""
        return self._entries

    @property
    def notes(self) -> list[str]:
        """What to tell people about the scene, one line each; those of the other tanks of a rack too."""
        entries = [entry.note for scene in self.tank_scenes for entry in scene._entries if entry.note]
        renamed = [key.note for scene in self.tank_scenes for key in scene._renamed]
        not_as_measured = [note for scene in self.tank_scenes for note in scene._not_as_measured]
        return list(dict.fromkeys([*entries, *renamed, *not_as_measured]))

    def seen_from(self, number: int, own_name: str = "") -> Scene:
        """The same rack with the tank of a number as the scene's own (0: this scene); each light stays with its tank.

        own_name: what this scene's own tank is called then; by default as its file.
        """
        if number == 0:
            return self
        tank = self.rack[number - 1]
        x, y, z = tank.offset_m
        name = own_name or (self.path.stem if self.path else self.title)
        own = tank.with_scene(self.model_copy(update={"rack": ()}), name=name, at=(-x, -y), height=-z)
        others = [
            other.model_copy(update={"at": (other.at[0] - x, other.at[1] - y), "height": other.height - z})
            for other in self.rack
            if other is not tank
        ]
        return tank.scene.model_copy(update={"rack": (own, *others)})

    @property
    def tank_scenes(self) -> tuple[Scene, ...]:
        """Scenes of all tanks of the rack by number: the scene's own, then those of the others."""
        return (self, *(tank.scene for tank in self.rack))

    @property
    def light_number(self) -> int:
        """Number of the tank whose fixtures are this tank's light: its own; where it has none, the first with any."""
        return next((number for number, each in enumerate(self.tank_scenes) if each.fixtures), 0)

    @property
    def light_rim_m(self) -> float:
        """How much higher than this tank's rim that of the tank lies which its light belongs to (`light_number`) [m]."""
        number = self.light_number
        if number == 0:
            return 0.0
        lit_by = self.rack[number - 1]
        return lit_by.height + lit_by.scene.tank.inside_m[2] - self.tank.inside_m[2]

    @property
    def has_added_co2(self) -> bool:
        """Whether CO2 is added; assumed not to be where the scene does not say."""
        return bool(self.added_co2)

    @property
    def is_settled(self) -> bool:
        """Whether the tank is past its first weeks; assumed to be where the scene does not say."""
        return self.settled is not False

    def band_of(self, zone: Zone) -> Band | None:
        """Band of a zone [umol/m2/s]: its own target, or that of the plants that it consists of; None without one."""
        answers = zone.answers(added_co2=self.has_added_co2, settled=self.is_settled)
        if zone.has_target or zone.plants is None:
            return zone.wanted(**answers)
        return next((group.wanted(**answers) for group in self.plants if group.name == zone.plants), None)

    @property
    def water_level_m(self) -> float:
        """Height of the water surface over the inside of the bottom pane [m]."""
        if self.water.above_bottom is not None:
            return self.water.above_bottom
        below = WATER_BELOW_RIM_M if self.water.below_rim is None else self.water.below_rim
        return self.tank.inside_m[2] - below

    @property
    def planted_by(self) -> str:
        """The word of the scene that plants the tank, as people read it; empty where nothing does."""
        if self.plants:
            return f'plants "{self.plants[0].name}"'
        asking = (zone for zone in self.zones if zone.need is not None or zone.meant_for is not None)
        return next((f'zone "{zone.name}" says what its plants need' for zone in asking), "")

    @property
    def pane_rule(self) -> PaneRule:
        """Which state of the upright panes is taken where the scene does not say it: as it was when the scene was read."""
        return self._pane_rule or pane_rule(planted=self.planted_by, settled=self.is_settled)

    def taken_as_planted(self, by: str, *, settled: bool | None = None) -> Scene:
        """A copy in which something is to grow, by a word for people; ``settled`` goes before what the scene says of it."""
        copied = self.model_copy()
        copied._pane_rule = pane_rule(planted=by, settled=self.is_settled if settled is None else settled)
        return copied

    def pane_state(self, side: str) -> PaneState | None:
        """The state of the upright pane on this side, said in a word or taken; None where the scene gives a number."""
        panes = self.tank.panes
        if self.tank.walls[side].returned_per_reflection is not None:
            return None
        return self.pane_rule.state if panes is None else panes.name

    def returned_per_reflection(self, side: str) -> float:
        """Share of the light that algae and plants in front of the pane on this side leave per reflection.

        Glass without any growth has 1, and so has the bottom pane where the scene does not say.
        """
        said, panes = self.tank.walls[side].returned_per_reflection, self.tank.panes
        if said is not None:
            return said
        if side == "bottom":
            return 1.0
        return RETURNED[self.pane_rule.state].share if panes is None else panes.share

    @property
    def pane_notes(self) -> list[str]:
        """What was taken for upright panes of which the scene says nothing, and why, one line each."""
        named = [("this tank", self), *((tank.name, tank.scene) for tank in self.rack)]
        return pane_lines([(name, scene.pane_rule, scene._unsaid_panes()) for name, scene in named])

    def _unsaid_panes(self) -> tuple[str, ...]:
        walls = self.tank.walls if self.tank.panes is None else {}
        return tuple(side for side in UPRIGHT_SIDES if side in walls and walls[side].returned_per_reflection is None)

    def bed_heights_m(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Heights (...) [m] of the substrate over the bottom pane at points of the plan, x (...) [m] and y (...) [m].

        Outside the tank the nearest edge counts.
        """
        grid = self.substrate.grid_m
        length, depth, _ = self.tank.inside_m
        rows, columns = grid.shape
        across = np.clip(np.asarray(x) / length, 0, 1) * (columns - 1)
        back = np.clip(np.asarray(y) / depth, 0, 1) * (rows - 1)
        i = np.minimum(back.astype(int), rows - 2)
        j = np.minimum(across.astype(int), columns - 2)
        u, v = across - j, back - i
        front_edge = grid[i, j] * (1 - u) + grid[i, j + 1] * u
        back_edge = grid[i + 1, j] * (1 - u) + grid[i + 1, j + 1] * u
        heights = front_edge * (1 - v) + back_edge * v
        return self.substrate.terraced(np.asarray(x), np.asarray(y), heights)

    @property
    def lid_undersides_m(self) -> tuple[float, ...]:
        """Heights of the undersides of the lid's panes, closed [m], the lowest first; empty without a lid."""
        if self.lid is None:
            return ()
        return self.lid.undersides_m(self.tank.inside_m[2], self.tank.rim is not None)

    @property
    def lid_underside_m(self) -> float:
        """Height of the lowest face of the closed lid [m]; infinite without one."""
        return min(self.lid_undersides_m, default=math.inf)

    @property
    def lid_top_m(self) -> float:
        """Height of the highest face of the closed lid, or of the strips on it [m]; minus infinite without a lid."""
        if self.lid is None:
            return -math.inf
        return self.lid_undersides_m[-1] + self.lid.thickness + (HAIR if self.lid.has_strips else 0.0)

    def flap_corners_m(self) -> list[tuple[float, float, float]]:
        """The eight corners [m] of the box around the opened front flap of a hinged lid; none where no flap is open.

        In the order of the bits along, across, up.
        """
        lid = self.lid
        if lid is None or lid.hinged is None or lid.hinged.opened == 0:
            return []
        outside = self.tank.outside_outline
        x0, y0 = min(x for x, _ in outside.points), min(y for _, y in outside.points)
        x1, low = outside.size[0], self.lid_underside_m
        flat = [(x, y, z) for x in (x0, x1) for y in (y0, lid.hinged.at) for z in (low, low + lid.thickness)]
        return [(x, *lid.hinged.turned(y, z, low + lid.thickness)) for x, y, z in flat]

    def fixture_centre_m(self, fixture: Fixture) -> tuple[float, float, float]:
        """Middle of the LED face of a fixture [m]; over the middle of the tank where it has no position."""
        length, depth, height = self.tank.inside_m
        x, y = fixture.place_m(length, depth)
        if fixture.above_water is not None:
            return x, y, self.water_level_m + fixture.above_water
        return x, y, height + fixture.height_above_rim_m

    def spot_centre_m(self, spot: Spot) -> tuple[float, float, float]:
        """Middle of the face of a meter head at a spot [m]."""
        x, y = spot.at
        if spot.height is not None:
            return x, y, spot.height
        over = SPOT_ABOVE_SUBSTRATE_M if spot.above_substrate is None else spot.above_substrate
        return x, y, float(self.bed_heights_m(np.array(x), np.array(y))) + over

    @property
    def ppf(self) -> float:
        """PPF of all fixtures at their brightest hours [umol/s]."""
        return sum(fixture.ppf for fixture in self.fixtures)
