"""What the readings cannot tell apart, and which next reading would tell most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.aquascape.plants import Grown
from underlit.planning.fit.estimate import PLACED_SD_M, Fitted, reading_sigma
from underlit.planning.fit.light import Model, Place, Shot, dimming_of
from underlit.planning.fit.readings import LidState, Setting
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


@dataclass(frozen=True)
class NextReading:
    """A reading worth taking: where [m], with the lid on or off, and what it should show [umol/m2/s].

    narrowing: factor on the volume of what is still possible (the square root of the covariance's determinant), below
    1; errors: standard error of each u after it, (parameters,).
    """

    at: Place
    lid: LidState
    ppfd: float
    narrowing: float
    errors: np.ndarray


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
    covariance: np.ndarray, u: np.ndarray, model: Model, first: dict[Setting, int], count: int
) -> list[NextReading]:
    """The candidates that would narrow the parameters most, best first, each with those before it taken.

    covariance: (parameters, parameters) to which the parameters at u are known; model: one with the candidates' heads, in
    each setting those from index `first` on.

    A reading of slope j (of log PPFD by u) and error sigma divides the covariance's determinant by 1 + j C j / sigma^2:
    the largest is taken, and C is what it then is (sequential D-optimal design, Fedorov 1972).
    """
    shots = []
    for setting, begin in first.items():
        dimming = dimming_of(model.scene, model.recordings[setting].sources, None)
        shots += [Shot(setting, k, dimming) for k in range(begin, len(model.recordings[setting].heads))]
    value, slope, _ = model.predict(shots, u)
    places = [model.recordings[shot.setting].heads[shot.head] for shot in shots]
    sigma = reading_sigma(np.maximum(value, 1e-9), _placing(shots, places, value))
    rows = slope / sigma[:, None]
    worth = value > TOO_DARK
    chosen: list[NextReading] = []
    for _ in range(min(count, int(worth.sum()))):
        gain = 1 + np.einsum("nk,kl,nl->n", rows, covariance, rows)
        best = int(np.argmax(np.where(worth, gain, 0.0)))
        along = covariance @ rows[best]
        covariance = covariance - np.outer(along, along) / gain[best]
        errors = np.sqrt(np.diag(covariance))
        chosen.append(
            NextReading(places[best], shots[best].setting.lid, float(value[best]), float(gain[best] ** -0.5), errors)
        )
        worth[best] = False
    return chosen


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
