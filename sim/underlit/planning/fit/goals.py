"""What readings are taken for: the light of the zones. A few heads in each zone stand for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.lowering.tallies import ZonePlace
from underlit.planning.fit.light import Model, Place, Shot, dimming_of
from underlit.planning.fit.readings import LidState, Setting
from underlit.scene.model import Scene

POINTS = 6
"""Heads that stand for a zone; fewer where there are many zones."""
MOST_POINTS = 30
OVER_BED_M = 0.01


@dataclass(frozen=True)
class Goal:
    """A zone and the heads that stand for it [m]."""

    name: str
    points: tuple[Place, ...]


def goals_of(lowered: Lowered) -> tuple[Goal, ...]:
    """The zones of a scene; the whole substrate where it has none."""
    places = [place for place in lowered.own_zones if not place.is_whole_bed] or list(lowered.own_zones[:1])
    each = max(1, min(POINTS, MOST_POINTS // len(places)))
    return tuple(Goal(place.own_name, _points(lowered.scene, place, each)) for place in places)


def _points(scene: Scene, place: ZonePlace, count: int) -> tuple[Place, ...]:
    """Points spread over a zone: the middles of cells of the smallest grid that has enough of them inside."""
    from shapely import Polygon, contains_xy

    tank = scene.tank.inside_outline.polygon
    region = tank if place.outline is None else Polygon(place.outline).intersection(tank)
    low, front, high, back = region.bounds
    for side in range(1, 8):
        x = low + (high - low) * (np.arange(side + 1) + 0.5) / (side + 1)
        y = front + (back - front) * (np.arange(side) + 0.5) / side
        across, deep = (grid.ravel() for grid in np.meshgrid(x, y))
        inside = contains_xy(region, across, deep)
        if inside.sum() >= count:
            break
    points = list(zip(across[inside].tolist(), deep[inside].tolist(), strict=True))
    chosen = (
        [points[i] for i in np.unique(np.linspace(0, len(points) - 1, count).round().astype(int))] if points else []
    )
    chosen = chosen or [region.representative_point().coords[0]]
    return tuple((px, py, _height(scene, place, px, py)) for px, py in chosen)


def _height(scene: Scene, place: ZonePlace, x: float, y: float) -> float:
    return place.z if place.z is not None else float(scene.bed_heights_m(np.array(x), np.array(y))) + OVER_BED_M


def as_used(scene: Scene) -> Setting:
    """How the tank runs day by day."""
    return Setting(LidState.OFF if scene.lid is None else LidState.ON)


def goal_slopes(model: Model, goals: Sequence[Goal], first: Mapping[Setting, int], u: np.ndarray) -> np.ndarray:
    """Slope of the logarithm of each goal's light by u, (goals, parameters): with the lid on and off, for both are decided on.

    first: index of the first of the goals' heads in each setting; goals without light are left out.
    """
    slopes = []
    for setting, begin in first.items():
        dimming = dimming_of(model.scene, model.recordings[setting].sources, None)
        start = begin
        for goal in goals:
            shots = [Shot(setting, start + k, dimming) for k in range(len(goal.points))]
            value, slope, _ = model.predict(shots, u)
            if value.sum() > 0:
                slopes.append(value @ slope / value.sum())
            start += len(goal.points)
    return np.array(slopes).reshape(len(slopes), len(model.parameters))
