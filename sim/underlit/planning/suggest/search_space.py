"""What may change of a scene's light, and a way to hang it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from underlit.planning.chart.axes import Light
from underlit.planning.makes import by_make
from underlit.scene import Fixture, Scene
from underlit.scene.keys import alternatives_of

MOST_FIXTURES = 3


class SuggestError(ValueError):
    """Something the user can put right, in one line."""


class Weigh(StrEnum):
    """What owners weigh."""

    ZONES = "zones"
    HEADROOM = "headroom"
    LID = "lid"
    PRICE = "price"
    WATTS = "watts"


USUAL_ORDER = tuple(Weigh)


@dataclass(frozen=True)
class SearchSpace:
    """What may change. lights: fixtures that may be bought, by their names in the catalogue or scene files; most: fixtures at
    once; above_rim_m: lowest and highest hanging; turned: front to back too; channels_apart: change a fixture's mix of
    channels too, and so its colour; prices: of one, by name, in any currency; only_dimming: nothing is moved, bought or
    taken away, the dimmers alone are set.
    """

    lights: Sequence[Light] = ()
    most: int = 2
    above_rim_m: tuple[float, float] = (0.02, 0.4)
    turned: bool = False
    channels_apart: bool = False
    lid_may_go: bool = False
    only_dimming: bool = False
    prices: Mapping[str, float] = field(default_factory=dict)
    order: Sequence[Weigh] = USUAL_ORDER

    def __post_init__(self) -> None:
        """Raises SuggestError for what makes no sense."""
        low, high = self.above_rim_m
        if not 0 <= low <= high <= 3:
            raise SuggestError("give the lower height over the rim first, then the higher one, from 0 to 3 m")
        if not 1 <= self.most <= MOST_FIXTURES:
            raise SuggestError(f"from 1 to {MOST_FIXTURES} fixtures can be tried at once (got {self.most})")
        if len(set(self.order)) != len(self.order) or not self.order:
            raise SuggestError("the order must name each item once")
        if self.only_dimming and (self.lights or self.turned or self.lid_may_go):
            raise SuggestError("only the dimmers are to be set: leave out lights to buy, turning them, and the lid")
        for light in self.lights:
            if len(light.fixtures) != 1:
                raise SuggestError(f"{light.name}: give a scene with one fixture, or a fixture of the catalogue")


@dataclass(frozen=True)
class Kind:
    """A kind of fixture to hang: how it is made, how many are there already, price of one (None: not said).

    source: the scene file or entry of the catalogue it was asked for by; None for the scene's own.
    """

    name: str
    fixture: Fixture
    owned: int
    price: float | None
    source: str | None = None

    def to_buy(self, number: int) -> int:
        """How many must be bought to hang so many."""
        return max(0, number - self.owned)


@dataclass(frozen=True)
class Hanging:
    """A way to hang fixtures of one kind: all as high and turned alike, each at its place.

    above_rim_m: of the LED faces; places_m: middles from the front, or from the left where turned front to back.
    """

    kind: Kind
    turned: bool
    lid: bool
    above_rim_m: float
    places_m: tuple[float, ...]


def kinds_of(scene: Scene, space: SearchSpace) -> list[Kind]:
    """The scene's own kinds of fixture, then those that may be bought. What clips on is left where it is.

    Raises SuggestError where a price names none of them, or where there is nothing to hang.
    """
    own = by_make(fixture for fixture in scene.fixtures if fixture.clip is None)
    kinds = [Kind(same[0].name, same[0], len(same), space.prices.get(same[0].name)) for same in own]
    taken = {kind.name for kind in kinds}
    for light in (light for light in space.lights if light.fixtures[0].clip is None):
        name = light.name if light.name not in taken else f"another {light.name}"
        kinds.append(Kind(name, light.fixtures[0], 0, space.prices.get(light.name), light.source))
    unknown = sorted(set(space.prices) - {kind.name for kind in kinds} - {light.name for light in space.lights})
    if unknown:
        names = ", ".join(kind.name for kind in kinds)
        raise SuggestError(f"a price is given for {unknown[0]!r}, which is not one of the fixtures: {names}")
    if not kinds:
        raise SuggestError("there is no fixture to hang: all of them clip on; name others to try")
    return kinds


def mix_of(*fixtures: Fixture) -> np.ndarray:
    """Levels of the channels of fixtures against the brightest one, as they are set, (channels,); all 1 where all are off."""
    levels = np.array([fixture.level_of(channel) for fixture in fixtures for channel in fixture.channels])
    return levels / levels.max() if levels.max() > 0 else np.ones(len(levels))


def scene_with(scene: Scene, hanging: Hanging) -> Scene:
    """The scene with its light hung so; how far it is dimmed stays open."""
    length, depth, _ = scene.tank.inside_m
    kind, taken = hanging.kind, {part.name for part in (*scene.wood, *scene.stone)} | {g.name for g in scene.plants}
    name = kind.name if kind.name not in taken else f"{kind.name} (light)"
    hung = []
    for i, place in enumerate(hanging.places_m):
        at = (place, depth / 2) if hanging.turned else (_middle(kind, length), place)
        change = {
            "name": name if len(hanging.places_m) == 1 else f"{name} {i + 1}",
            "position": at,
            "above_rim": hanging.above_rim_m,
            **dict.fromkeys(alternatives_of(Fixture, "above_rim")),
            "turn": math.pi / 2 if hanging.turned else 0.0,
        }
        hung.append(kind.fixture.model_copy(update=change))
    changed = {"fixtures": tuple(hung), "lid": scene.lid if hanging.lid else None}
    return scene.model_copy(update=changed)


def _middle(kind: Kind, length: float) -> float:
    """From the left: where the scene hangs its own, else the middle."""
    return float(kind.fixture.place_m(length, 1.0)[0]) if kind.owned else length / 2
