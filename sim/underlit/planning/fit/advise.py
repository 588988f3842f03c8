"""What the readings cannot tell apart, and which next reading would tell most."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.aquascape.plants import Grown
from underlit.lowering.scene import Lowered
from underlit.planning.fit.estimate import PLACED_SD_M, Fitted, reading_sigma
from underlit.planning.fit.goals import Goal, goal_slopes, goals_of
from underlit.planning.fit.light import Model, Place, Shot, dimming_of
from underlit.planning.fit.parameters import Kind
from underlit.planning.fit.readings import LidState, Setting, open_place
from underlit.planning.fit.remembered import METER_SD, taken_before
from underlit.planning.makes import by_make
from underlit.scene.aquascape.plants import PlantKind
from underlit.scene.model import Scene
from underlit.scene.targets import SPOT_ABOVE_SUBSTRATE_M

NOT_TOLD_APART = 0.75
"""Correlation from which readings do not tell two parameters apart."""
UNCONSTRAINED = 0.85
"""Standard error over that before any reading, above which readings do not constrain a parameter."""
CLEAR_OF_PLANTS_M = 0.02
TOO_DARK = 2.0
"""PPFD below which no meter reads well."""
FROM_PANES_M = 0.05
"""Candidates keep this far from the panes: a hand must hold the head there."""


NEAR_M = 0.04
"""A place this near to one that was read is not proposed."""
OPEN_BELOW_M = 0.30
"""How far below a light a head is held in the open: single LEDs do not show, and an arm reaches it."""


@dataclass(frozen=True)
class NextReading:
    """A reading worth taking: where [m], how the tank is set up, and what it should show [umol/m2/s].

    narrowing: what is left, below 1, of the range that the typical zone's light may lie in, with those before it taken;
    errors: standard error of each u then, (parameters,).
    """

    at: Place
    setting: Setting
    ppfd: float
    narrowing: float
    errors: np.ndarray

    @property
    def lid(self) -> LidState:
        """Whether the lid is on."""
        return self.setting.lid


@dataclass(frozen=True)
class Choice:
    """Where readings may be taken, and what for: places in the tank [m], with the lid on or off; in the open; the zones."""

    places: tuple[Place, ...]
    in_the_open: tuple[tuple[Setting, Place], ...]
    goals: tuple[Goal, ...]

    @property
    def heads(self) -> list[Place]:
        """In the tank: the places, then those of the goals."""
        return [*self.places, *(point for goal in self.goals for point in goal.points)]


def choice_of(lowered: Lowered) -> Choice:
    """Where readings may be taken in a scene as described."""
    scene = lowered.scene
    return Choice(tuple(candidates(scene, lowered.plantings)), tuple(_in_the_open(scene)), goals_of(lowered))


def _in_the_open(scene: Scene) -> Iterator[tuple[Setting, Place]]:
    """One place below each make of light that shines straight down."""
    for same in by_make(scene.tank_scenes[scene.light_number].fixtures):
        if not same[0].tilt and same[0].clip is None:
            name = same[0].name
            yield Setting(LidState.OFF, under=name), open_place(scene, name, OPEN_BELOW_M)


def candidates(scene: Scene, grown: Sequence[Grown]) -> list[Place]:
    """Places where a reading could be taken: a grid over the tank, over the substrate and half way up, clear of plants
    [m].
    """
    from shapely import contains_xy

    length, depth, _ = scene.tank.inside_m
    level = scene.water_level_m
    room = scene.tank.inside_outline.polygon.buffer(-FROM_PANES_M * 0.99)
    places = []
    # whole centimetres are easier to find with a ruler
    columns = np.linspace(FROM_PANES_M, length - FROM_PANES_M, 5).round(2).tolist()
    rows = np.linspace(FROM_PANES_M, depth - FROM_PANES_M, 3).round(2).tolist()
    for x in columns:
        for y in rows:
            if contains_xy(room, x, y):
                low = float(scene.bed_heights_m(np.array(x), np.array(y))) + SPOT_ABOVE_SUBSTRATE_M
                places += [(x, y, low), (x, y, low + round((level - low) / 2, 2))]
    return [place for place in places if not _in_plants(scene, grown, place)]


def _in_plants(scene: Scene, grown: Sequence[Grown], place: Place) -> bool:
    """Whether rooted plants stand at a place and up to its height: what a head reads there is luck."""
    from shapely import Point, Polygon

    rooted = {plants.name for plants in scene.plants if plants.kind is not PlantKind.FLOATING}
    return any(
        Polygon(group.outline).buffer(CLEAR_OF_PLANTS_M).contains(Point(place[:2]))
        for group in grown
        if group.name in rooted and group.outline is not None and place[2] < group.top + CLEAR_OF_PLANTS_M
    )


def correlated(fitted: Fitted) -> list[tuple[int, int, float]]:
    """Pairs of parameters that the readings cannot tell apart, with their correlation, the strongest first."""
    c = fitted.correlation
    pairs = [(i, j, float(c[i, j])) for i in range(len(c)) for j in range(i) if abs(c[i, j]) >= NOT_TOLD_APART]
    return sorted(pairs, key=lambda pair: -abs(pair[2]))


def unconstrained(fitted: Fitted) -> list[int]:
    """Parameters that the readings do not constrain."""
    share = fitted.sd / fitted.prior_sd
    return [k for k in range(len(share)) if share[k] >= UNCONSTRAINED]


def next_readings(
    covariance: np.ndarray, u: np.ndarray, model: Model, first: Mapping[Setting, int], choice: Choice,
    read: Iterable[tuple[Setting, Place]], count: int,
) -> list[NextReading]:  # fmt: skip
    """The readings that would narrow the zones' light most, best first, each with those before it taken.

    covariance: (parameters, parameters) to which the parameters at u are known; model: one with the choice's heads, in each
    setting those from index `first` on; read: what was read already, which is not proposed again.

    The output of each make of light is a goal as well, for it may be carried to another tank. A reading of slope r (of log PPFD
    by u, over its error) lowers the variance of a goal's logarithm, whose slope is g, by (g C r)^2 / (1 + r C r), and C becomes
    C - C r r C / (1 + r C r). The error of the meter stays in all of them.
    """
    places, shots = _shots(model, first, choice)
    value, slope, _ = model.predict(shots, u)
    in_tank = {setting: begin + len(choice.places) for setting, begin in first.items() if not setting.under}
    output = np.eye(len(u))[[p.kind is Kind.OUTPUT for p in model.parameters]]
    goals = np.concatenate([goal_slopes(model, choice.goals, in_tank, u), output])
    sigma = reading_sigma(np.maximum(value, 1e-9), _placing(shots, places, value))
    rows = slope / sigma[:, None]
    worth = (value > TOO_DARK) & ~_was_read(shots, places, list(read))
    chosen: list[NextReading] = []
    for _ in range(min(count, int(worth.sum()))):
        gain = 1 + np.einsum("nk,kl,nl->n", rows, covariance, rows)
        known = METER_SD**2 + np.einsum("zk,kl,zl->z", goals, covariance, goals)
        left = known[:, None] - (goals @ covariance @ rows.T) ** 2 / gain
        ranges = np.sqrt(left).mean(axis=0)
        best = int(np.argmin(np.where(worth, ranges, np.inf)))
        along = covariance @ rows[best]
        covariance = covariance - np.outer(along, along) / gain[best]
        narrowing = float(ranges[best] / np.sqrt(known).mean())
        errors = np.sqrt(np.diag(covariance))
        chosen.append(NextReading(places[best], shots[best].setting, float(value[best]), narrowing, errors))
        worth &= ~_was_read(shots, places, [(shots[best].setting, places[best])])
    return chosen


def _shots(model: Model, first: Mapping[Setting, int], choice: Choice) -> tuple[list[Place], list[Shot]]:
    """All candidates: places and shots."""
    places, shots = [], []
    for setting, begin in first.items():
        dimming = dimming_of(model.scene, model.recordings[setting].sources, None, setting.under)
        own = [at for known, at in choice.in_the_open if known == setting] if setting.under else list(choice.places)
        places += own
        shots += [Shot(setting, begin + k, dimming) for k in range(len(own))]
    return places, shots


def _was_read(shots: Sequence[Shot], places: Sequence[Place], read: Sequence[tuple[Setting, Place]]) -> np.ndarray:
    """Which candidates lie at a place that was read with the lid so, (n,) bool."""
    return np.array([
        any((known.lid, known.under) == (shot.setting.lid, shot.setting.under) and math.dist(at, place) <= NEAR_M
            for known, at in read)
        for shot, place in zip(shots, places, strict=True)
    ], bool)  # fmt: skip


def read_before(scene: Scene) -> list[tuple[Setting, Place]]:
    """Where readings were taken that are in a scene's values."""
    return [(Setting(LidState(taken.lid), taken.above_rim, taken.under), taken.at) for taken in taken_before(scene)]


def _placing(shots: list[Shot], places: list[Place], value: np.ndarray) -> np.ndarray:
    """Relative error of a reading that is taken `PLACED_SD_M` beside its place, (n,): where light is steep, little can
    be read.

    The steepest way from each candidate to another of its setting is taken.
    """
    at, bright = np.array(places), np.log(np.maximum(value, 1e-9))
    error = np.zeros(len(shots))
    for setting in {shot.setting for shot in shots}:
        own = np.array([shot.setting == setting for shot in shots])
        apart = np.linalg.norm(at[own, None] - at[None, own], axis=2)
        steep = np.abs(bright[own, None] - bright[None, own]) / np.where(apart > 0, apart, np.inf)
        error[own] = PLACED_SD_M * steep.max(axis=1, initial=0.0)
    return error


def most_narrowed(fitted: Fitted, after: np.ndarray) -> int:
    """The parameter that a next reading narrows most: index of the largest fall of its standard error."""
    return int(np.argmin(after / fitted.sd))
