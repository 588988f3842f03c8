"""What readings told of a scene, among what it leaves open: how far it may still differ, and what that does to the light.

How the mean PPFD on the substrate follows each value was found by tracing shipped scenes; the traces are named in `scene.py`
and `lights.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from underlit.scene.assumptions.assumption import Assumption
from underlit.scene.assumptions.lever import Lever, Moves
from underlit.scene.measured import OF_LIGHTS, Kind, MeasuredParameter
from underlit.scene.model import Scene
from underlit.scene.standing import standing, value_in

KEYS = {
    Kind.OUTPUT: ("fixture.output", "umol/s"),
    Kind.BEAM: ("fixture.lens", "deg"),
    Kind.LID: ("lid.dirt", ""),
    Kind.GROWTH: ("tank.*.returned_per_reflection", ""),
    Kind.TINT: ("water.tannin", "per m at 440 nm"),
    Kind.BACKING: ("tank.*.reflectance", ""),
}
"""The key of a scene file that says what was measured, and the unit in which its value is shown."""
MOVES = {
    Kind.OUTPUT: Moves.LIGHT,
    Kind.BEAM: Moves.BEAM,
    Kind.LID: Moves.LID,
    Kind.GROWTH: Moves.PANES,
    Kind.TINT: Moves.TINT,
    Kind.BACKING: Moves.BACKING,
}
BEAM_SLOPE, GROWTH_SLOPE, BACKING_SLOPE = -0.65, -0.17, -0.04
"""Of the logarithm of the mean PPFD by u: a spot of 60 for 30 deg and a bar of 110 for 120; panes that return .1 for .4;
a backing."""
TINT_SLOPE_AT_18_IN = -0.06
"""The same of an ordinary tint, in water of 18 in."""


def measured_rows(scene: Scene) -> Iterator[Assumption]:
    """A row for each value that was measured, with what is left of its range."""
    said = scene.measured
    for parameter in standing(scene).parameters:
        key, unit = KEYS[parameter.what]
        low, high = parameter.interval
        text = f"{parameter.value:.3g} {unit}, measured".replace(" ,", ",")
        moves = math.sqrt(3) * abs(_slope(scene, parameter)) * parameter.sd
        span = f"{low:.3g}-{high:.3g} {unit}".strip()
        assert said is not None
        yield Assumption(key, text, span, -moves, moves, said.text, measured=True, levers=(_lever(scene, parameter),))


def measured_correlation(scene: Scene) -> np.ndarray:
    """Between the errors of the measured levers of all tanks of a rack, in their order, (n, n)."""
    blocks = [standing(each).covariance for each in scene.tank_scenes]
    found, first = np.eye(sum(len(block) for block in blocks)), 0
    for block in blocks:
        last, sd = first + len(block), np.sqrt(np.diag(block))
        found[first:last, first:last] = block / np.outer(sd, sd)
        first = last
    return found


def _lever(scene: Scene, parameter: MeasuredParameter) -> Lever:
    """What moves when a measured value is wrong; of an output, a factor."""
    value = value_in(scene, parameter.what, parameter.of)
    assert value is not None
    low, high = (
        (end / parameter.value for end in parameter.interval) if parameter.what is Kind.OUTPUT else parameter.interval
    )
    of = ("dirt",) if parameter.what is Kind.LID else parameter.of
    value = 1.0 if parameter.what is Kind.OUTPUT else value
    return Lever(MOVES[parameter.what], value, low, high, of=of, sd=parameter.sd)


def measured_mean_square(scene: Scene) -> float:
    """Mean square relative departure of the mean PPFD by all that was measured, whose errors go together."""
    stands = standing(scene)
    slopes = [_slope(scene, parameter) for parameter in stands.parameters]
    return float(slopes @ stands.covariance @ slopes) if slopes else 0.0


def measured_lights(scene: Scene) -> frozenset[str]:
    """Names of the fixtures whose output was measured: with its age, its dirt and its warmth on that day."""
    return frozenset(name for p in standing(scene).parameters if p.what is Kind.OUTPUT for name in p.of)


def _slope(scene: Scene, parameter: MeasuredParameter) -> float:
    """Of the logarithm of the mean PPFD by u, about."""
    ppf = [(fixture.claimed_ppf, fixture.name in parameter.of) for fixture in scene.fixtures]
    share = sum(one for one, own in ppf if own) / sum(one for one, _ in ppf) if parameter.what in OF_LIGHTS else 1.0
    tint = TINT_SLOPE_AT_18_IN * scene.water_level_m / 0.457 * parameter.value / 0.4
    return {
        Kind.OUTPUT: share,
        Kind.BEAM: BEAM_SLOPE * share,
        Kind.LID: math.log(min(parameter.value, 1.0)),
        Kind.GROWTH: GROWTH_SLOPE,
        Kind.TINT: tint,
        Kind.BACKING: BACKING_SLOPE,
    }[parameter.what]
