"""The error of holding the head beside its place, against light whose slope is known."""

from __future__ import annotations

import numpy as np
import pytest
from fitted_tanks import scene

from underlit.planning.fit.estimate import PLACED_SD_M, STEEPEST_PER_M
from underlit.planning.fit.light import Place, Shot
from underlit.planning.fit.placing import around, placing_error
from underlit.planning.fit.readings import LidState, Setting

ON = Setting(LidState.ON)


class SlopedLight:
    """log PPFD = 4 + slope . place, at every head."""

    def __init__(self, heads: list[Place], slope: tuple[float, float, float]) -> None:
        self.heads, self.slope = heads, np.array(slope)
        self.recordings = {ON: self}

    def predict(self, shots: list[Shot], u: np.ndarray) -> tuple[np.ndarray, None, None]:
        return np.exp(4 + np.array([self.heads[shot.head] for shot in shots]) @ self.slope), None, None


def _error(slope: tuple[float, float, float], place: Place) -> float:
    heads = [place, *around(scene(), place)]
    shot = Shot(ON, 0, np.ones(1))
    return float(placing_error(SlopedLight(heads, slope), [shot], [1], np.zeros(1))[0])  # type: ignore[arg-type]


@pytest.mark.parametrize("place", [(0.22, 0.15, 0.07), (0.005, 0.295, 0.07)], ids=["open", "in a corner"])
def test_it_is_the_slope_times_how_well_a_head_is_held(place: Place) -> None:
    assert _error((2.0, -3.0, 6.0), place) == pytest.approx(PLACED_SD_M * 7.0)


def test_the_edge_of_a_shadow_counts_as_steep_and_no_more() -> None:
    assert _error((900.0, 0.0, 0.0), (0.22, 0.15, 0.07)) == pytest.approx(PLACED_SD_M * STEEPEST_PER_M)


def test_heads_around_a_place_stay_in_the_tank() -> None:
    length, depth, _ = scene().tank.inside_m
    for x, y, _ in around(scene(), (0.002, depth - 0.002, 0.07)):
        assert 0 < x < length
        assert 0 < y < depth
