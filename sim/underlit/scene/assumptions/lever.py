"""What moves when an assumption is wrong: a value, its range, and the scene with another value in its place."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from underlit.scene.aquascape.plants import PlantKind, Plants
from underlit.scene.lights.fixture import Fixture
from underlit.scene.lights.lens import LensShape
from underlit.scene.model import Scene
from underlit.scene.tank.tank import SIDES
from underlit.scene.tank.water import Cloudiness, Tannin

UPRIGHT = tuple(side for side in SIDES if side != "bottom")


class Moves(StrEnum):
    """What a lever moves; its value is what people read."""

    LIGHT = "light output"
    BEAM = "beam angle"
    LID = "dirt and drops on the lid"
    PANES = "algae and plants in front of the panes"
    TINT = "tannin tint"
    SUBSTRATE = "reflectance of the substrate"
    WOOD = "reflectance of the wood"
    STONE = "reflectance of the stones"
    LEAVES = "reflectance and transmittance of the leaves"
    BODY = "reflectance of the fixture's body"
    REFLECTOR = "reflectance of the reflector"
    BACKING = "reflectance behind the panes"
    HOOD = "reflectance of the hood"
    HEIGHT = "height of the fixture"
    PLACE = "place of the fixture, front to back"
    LEVEL = "water level"
    CLOUDINESS = "cloudiness"
    LEAF_AREA = "leaf area"
    RIM = "width of the rim"
    DEPTH = "depth of the substrate"

    @property
    def keeps_paths(self) -> bool:
        """Whether light keeps its paths and only their weights change."""
        return self not in RETRACED


RETRACED = (
    Moves.HEIGHT, Moves.PLACE, Moves.LEVEL, Moves.CLOUDINESS, Moves.LEAF_AREA, Moves.RIM, Moves.DEPTH,
)  # fmt: skip
BENT = (Moves.HEIGHT, Moves.PLACE, Moves.LEAF_AREA)
"""Of those traced again, the ones whose answer differs on both sides of the value; of the others one end is enough."""


WIDEST_BEAM_DEG = 165.0
OPTICAL_DEPTHS = (Moves.LID, Moves.PANES, Moves.BACKING)
"""Shares of which readings know the logarithm of the optical depth."""


@dataclass(frozen=True)
class Lever:
    """A value that a scene leaves open: any value of its range is equally likely, on a logarithmic scale if `log` says so.

    sd: where it was measured, the error of its u (`scene.measured`), which is normal; the range then holds 95 %. of: names of
    what it belongs to, where that is not all. HEIGHT, LEAF_AREA, LEAVES and LIGHT are factors on what the scene has, so their
    value is 1. tank: number of the tank in its rack. key: of the assumption that it belongs to.
    light: of a beam, what it does to the output of each fixture in `of` at both ends of the range, where readings tell the
    output through the beam.
    """

    moves: Moves
    value: float
    low: float
    high: float
    of: tuple[str, ...] = ()
    log: bool = False
    tank: int = 0
    key: str = ""
    light: tuple[tuple[float, float], ...] = ()
    sd: float = 0.0

    @property
    def is_measured(self) -> bool:
        """Whether readings told it."""
        return self.sd > 0

    @property
    def tag(self) -> str:
        """What tells it from the other levers of a scene, in results and their files."""
        return "|".join((str(self.tank), self.moves.name, *self.of))

    @property
    def name(self) -> str:
        """What people read."""
        return self.key if self.moves is Moves.LIGHT else str(self.moves)

    def at(self, position: np.ndarray) -> np.ndarray:
        """Values at positions of the range, 0 its low end, 1 its high end; of a measured one, at probabilities."""
        if self.is_measured:
            from scipy.special import ndtri

            factor = np.exp(self.sd * ndtri(position))
            if self.moves in OPTICAL_DEPTHS:
                return np.asarray(self.value**factor)
            return np.asarray(np.minimum(self.value * factor, WIDEST_BEAM_DEG if self.moves is Moves.BEAM else np.inf))
        if self.log:
            return np.asarray(self.low * (self.high / self.low) ** position)
        return np.asarray(self.low + (self.high - self.low) * position)

    def light_at(self, fixture: str, values: np.ndarray) -> np.ndarray:
        """What values of a beam do to the output of a fixture, through both ends of the range (log-linear between)."""
        if fixture not in self.of or not self.light:
            return np.ones(len(values))
        ends = self.light[self.of.index(fixture)]
        known = sorted({self.low: ends[0], self.value: 1.0, self.high: ends[1]}.items())
        return np.asarray(np.exp(np.interp(values, [at for at, _ in known], np.log([factor for _, factor in known]))))

    def from_value(self, values: np.ndarray) -> np.ndarray:
        """Distance of values from the one assumed, on the scale of the range."""
        return np.log(values / self.value) if self.log else values - self.value


def with_value(scene: Scene, lever: Lever, value: float) -> Scene:
    """The scene with a value in the place of an assumed one; LIGHT changes no path of light and is left to dimming."""
    if lever.tank == 0:
        return _CHANGES[lever.moves](scene, lever, value)
    index = lever.tank - 1
    entry = scene.rack[index]
    changed = entry.with_scene(_CHANGES[lever.moves](entry.scene, lever, value))
    return scene.model_copy(update={"rack": (*scene.rack[:index], changed, *scene.rack[index + 1 :])})


Change = Callable[[Scene, Lever, float], Scene]


def _table(name: str, keys: Callable[[Scene, float], Mapping[str, object]]) -> Change:
    """A change of some keys of one of the scene's tables."""

    def changed(scene: Scene, lever: Lever, value: float) -> Scene:
        return scene.model_copy(update={name: getattr(scene, name).model_copy(update=dict(keys(scene, value)))})

    return changed


def _fixtures(keys: Callable[[Scene, Fixture, float], Mapping[str, object]]) -> Change:
    """A change of some keys of the fixtures concerned."""

    def changed(scene: Scene, lever: Lever, value: float) -> Scene:
        fixtures = tuple(
            f.model_copy(update=dict(keys(scene, f, value))) if f.name in lever.of else f for f in scene.fixtures
        )
        return scene.model_copy(update={"fixtures": fixtures})

    return changed


def with_beam(fixture: Fixture, beam_deg: float) -> Fixture:
    """The fixture with another beam angle of the LEDs that have no lens of their own."""
    return fixture.model_copy(update=_beam(None, fixture, beam_deg))


def _beam(scene: Scene | None, fixture: Fixture, value: float) -> dict[str, object]:
    return {"lens": LensShape.model_construct(beam_angle=math.radians(value))}


def _height(scene: Scene, fixture: Fixture, value: float) -> dict[str, object]:
    return {"above_rim": fixture.height_above_rim_m * value}


def _place(scene: Scene, fixture: Fixture, value: float) -> dict[str, object]:
    length, depth, _ = scene.tank.inside_m
    return {"position": (length / 2, depth / 2 + value)}


def _reflector(scene: Scene, fixture: Fixture, value: float) -> dict[str, object]:
    assert fixture.reflector is not None
    return {"reflector": fixture.reflector.model_copy(update={"reflectance": value})}


def _lid(scene: Scene, lever: Lever, value: float) -> Scene:
    """The open shares, changed by one factor so that they let `value` through together."""
    assert scene.lid is not None
    factor = (value / lever.value) ** (1 / len(lever.of))
    shares = {key: min(getattr(scene.lid, key) * factor, 1.0) for key in lever.of}
    return scene.model_copy(update={"lid": scene.lid.model_copy(update=shares)})


def _panes(scene: Scene, lever: Lever, value: float) -> Scene:
    return _walls(scene, lever, {"returned_per_reflection": value})


def _backing(scene: Scene, lever: Lever, value: float) -> Scene:
    return _walls(scene, lever, {"reflectance": value})


def _walls(scene: Scene, lever: Lever, keys: Mapping[str, object]) -> Scene:
    walls = {side: scene.tank.walls[side].model_copy(update=dict(keys)) for side in lever.of}
    return scene.model_copy(update={"tank": scene.tank.model_copy(update=walls)})


def _solids(name: str) -> Change:
    def changed(scene: Scene, lever: Lever, value: float) -> Scene:
        solids = tuple(
            s.model_copy(update={"reflectance": value}) if s.name in lever.of else s for s in getattr(scene, name)
        )
        return scene.model_copy(update={name: solids})

    return changed


def _plants(keys: Callable[[Plants, float], Mapping[str, object]]) -> Change:
    def changed(scene: Scene, lever: Lever, value: float) -> Scene:
        groups = tuple(p.model_copy(update=dict(keys(p, value))) if p.name in lever.of else p for p in scene.plants)
        return scene.model_copy(update={"plants": groups})

    return changed


def _leaves(plants: Plants, value: float) -> dict[str, object]:
    optics = plants.leaf_optics
    return {
        "reflectance": float(optics.reflectance.mean()) * value,
        "transmittance": float(optics.transmittance.mean()) * value,
    }


def _leaf_area(plants: Plants, value: float) -> dict[str, object]:
    index = plants.as_planted.leaf_area_index
    assert index is not None
    if plants.kind is PlantKind.FLOATING:
        return {"cover": min(index * value, 1.0), "density": None}
    return {"leaf_area": index * value, "density": None}


def _rim(scene: Scene, value: float) -> dict[str, object]:
    assert scene.tank.rim is not None
    return {"rim": scene.tank.rim.model_copy(update={"covers": value})}


_CHANGES: dict[Moves, Change] = {
    Moves.LIGHT: lambda scene, lever, value: scene,
    Moves.BEAM: _fixtures(_beam),
    Moves.LID: _lid,
    Moves.PANES: _panes,
    Moves.TINT: _table("water", lambda scene, value: {"tannin": Tannin(a440_per_m=value)}),
    Moves.SUBSTRATE: _table("substrate", lambda scene, value: {"reflectance": value}),
    Moves.WOOD: _solids("wood"),
    Moves.STONE: _solids("stone"),
    Moves.LEAVES: _plants(_leaves),
    Moves.BODY: _fixtures(lambda scene, fixture, value: {"body_reflectance": value}),
    Moves.REFLECTOR: _fixtures(_reflector),
    Moves.BACKING: _backing,
    Moves.HOOD: _table("hood", lambda scene, value: {"reflectance": value}),
    Moves.HEIGHT: _fixtures(_height),
    Moves.PLACE: _fixtures(_place),
    Moves.LEVEL: _table("water", lambda scene, value: {"below_rim": value}),
    Moves.CLOUDINESS: _table("water", lambda scene, value: {"cloudiness": Cloudiness(scattering_per_m=value)}),
    Moves.LEAF_AREA: _plants(_leaf_area),
    Moves.RIM: _table("tank", _rim),
    Moves.DEPTH: _table("substrate", lambda scene, value: {"depth": value}),
}
