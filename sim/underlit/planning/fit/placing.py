"""How much a reading is off where the head was held a little beside its place: from how steep the light is there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from underlit.planning.fit.estimate import PLACED_SD_M, STEEPEST_PER_M
from underlit.planning.fit.light import Model, Place, Shot
from underlit.scene.model import Scene

STEP_M = 0.015
"""From a reading's place to the heads around it that tell how steep the light is."""
AROUND = 5


def around(scene: Scene, place: Place, *, in_tank: bool = True) -> list[Place]:
    """Places left, right, before, behind and above a place, in the tank or in the open [m]."""
    x, y, z = place
    length, depth = scene.tank.inside_m[:2] if in_tank else (np.inf, np.inf)
    near = 1e-3 if in_tank else -np.inf
    sideways = [(max(near, x - STEP_M), y, z), (min(length - near, x + STEP_M), y, z)]
    across = [(x, max(near, y - STEP_M), z), (x, min(depth - near, y + STEP_M), z)]
    return [*sideways, *across, (x, y, z + STEP_M)]


def placing_error(model: Model, shots: Sequence[Shot], first: Sequence[int], u: np.ndarray) -> np.ndarray:
    """Relative error of each reading by its place, (n,); first: index of the first of the heads `around` each, (n,)."""
    error = np.zeros(len(shots))
    at_place = np.log(np.maximum(model.predict(shots, u)[0], 1e-9))
    for n, (shot, begin) in enumerate(zip(shots, first, strict=True)):
        beside = [Shot(shot.setting, begin + k, shot.dimming) for k in range(AROUND)]
        light = np.log(np.maximum(model.predict(beside, u)[0], 1e-9))
        places = np.array([model.recordings[shot.setting].heads[b.head] for b in beside])
        here = np.array(model.recordings[shot.setting].heads[shot.head])
        slopes = np.array([
            (light[1] - light[0]) / (places[1, 0] - places[0, 0]),
            (light[3] - light[2]) / (places[3, 1] - places[2, 1]),
            (light[4] - at_place[n]) / (places[4, 2] - here[2]),
        ])  # fmt: skip
        error[n] = PLACED_SD_M * np.linalg.norm(np.clip(slopes, -STEEPEST_PER_M, STEEPEST_PER_M))
    return error
