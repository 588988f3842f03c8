"""What is believed of a scene's parameters together: as measured where readings told, by `PRIORS` where none did."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from underlit.planning.fit.parameters import Parameter
from underlit.scene.measured import MeasuredParameter
from underlit.scene.model import Scene
from underlit.scene.standing import Standing, standing


class Belief(NamedTuple):
    """A normal distribution of u: mean, (parameters,); covariance, (parameters, parameters); which were measured."""

    mean: np.ndarray
    covariance: np.ndarray
    measured: np.ndarray

    @property
    def sd(self) -> np.ndarray:
        """Standard deviations, (parameters,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def whitening(self) -> np.ndarray:
        """W, so that W (u - mean) has independent errors of 1: W^T W is the inverse of the covariance."""
        return np.linalg.inv(np.linalg.cholesky(self.covariance))


def belief(scene: Scene, parameters: Sequence[Parameter]) -> Belief:
    """What is believed of some of a scene's parameters (`parameters_of`).

    What was measured in one tank of a rack goes together as its file says; the tanks' files know nothing of each other.
    """
    stand = [standing(each) for each in scene.tank_scenes]
    found: list[tuple[int, int] | None] = []
    for parameter in parameters:
        one = _measured(stand, parameter)
        found.append(None if one in found else one)
    covariance = np.diag([p.u_sd**2 for p in parameters])
    for i, one in enumerate(found):
        for j, other in enumerate(found):
            if one is not None and other is not None:
                (tank, row), (same, column) = one, other
                covariance[i, j] = stand[tank].covariance[row, column] if tank == same else 0.0
    mean = np.array([p.u_start for p in parameters])
    return Belief(mean, covariance, np.array([one is not None for one in found], bool))


def _measured(stand: Sequence[Standing], parameter: Parameter) -> tuple[int, int] | None:
    """The tank and the number in it of what was measured of a parameter; of a make in several tanks the first counts."""
    for tank, told in enumerate(stand):
        for row, measured in enumerate(told.parameters):
            if measured.what is parameter.kind and _is_of(measured, parameter, tank):
                return tank, row
    return None


def _is_of(measured: MeasuredParameter, parameter: Parameter, tank: int) -> bool:
    if parameter.lights:
        return any(light.tank == tank and light.part in measured.of for light in parameter.lights)
    return tank == 0 and set(parameter.of) <= set(measured.of)
