"""Estimates against closed forms, with light that is known exactly: log PPFD straight in the parameters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fitted_tanks import scene

from underlit.planning.fit.advise import Choice, NextReading, correlated, next_readings, unconstrained
from underlit.planning.fit.estimate import MODEL_SD, READING_SD, Fitted, UnlitError, estimate
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.light import Shot
from underlit.planning.fit.parameters import Kind, Parameter
from underlit.planning.fit.readings import LidState, Reading, Setting
from underlit.planning.fit.remembered import METER_SD
from underlit.report.fit.words import sentences

ON, OFF = Setting(LidState.ON), Setting(LidState.OFF)
OUTPUT = Parameter(Kind.OUTPUT, 1.0, ("bar",), (0,))
BEAM = Parameter(Kind.BEAM, 100.0, ("bar",), (0,))
LID = Parameter(Kind.LID, 0.9)


class StraightModel:
    """log PPFD = log(base) + slopes . (u - u_start), exactly, without simulation error."""

    def __init__(self, parameters: tuple[Parameter, ...], base: np.ndarray, slopes: np.ndarray) -> None:
        self.parameters, self.base, self.slopes = parameters, base, slopes
        self.scene = scene()
        self.start = np.array([p.u_start for p in parameters])

    def predict(self, shots: list[Shot], u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        rows = [shot.head for shot in shots]
        slopes = self.slopes[rows]
        return self.base[rows] * np.exp(slopes @ (u - self.start)), slopes, np.zeros(len(rows))

    def predict_many(self, shots: list[Shot], u: np.ndarray) -> np.ndarray:
        return np.array([self.predict(shots, row)[0] for row in u])

    def evenness(self, shots: list[Shot], u: np.ndarray) -> float:
        return 1.0


def _fit(parameters: tuple[Parameter, ...], base: list[float], slopes: list[list[float]], read: list[float]) -> Fitted:
    model = StraightModel(parameters, np.array(base), np.array(slopes))
    shots = [Shot(ON, k, np.ones(1)) for k in range(len(base))]
    readings = [Reading(f"spot {k + 1}", (0.1 + 0.02 * k, 0.1, 0.07), value, ON) for k, value in enumerate(read)]
    return estimate(model, readings, shots)  # type: ignore[arg-type]


def test_output_alone_is_the_weighted_mean() -> None:
    """Of the readings' logarithms and what was believed, each by the inverse of its variance (bright: rounding is
    nothing)."""
    base, factors = [1000.0, 2000.0, 4000.0], [0.80, 0.84, 0.88]
    fitted = _fit((OUTPUT,), base, [[1.0]] * 3, [b * f for b, f in zip(base, factors, strict=True)])
    sigma = math.hypot(READING_SD, MODEL_SD)
    weight, prior = 3 / sigma**2, 1 / OUTPUT.prior.sd**2
    assert fitted.u[0] == pytest.approx(weight * np.log(factors).mean() / (weight + prior), rel=1e-4)
    assert fitted.sd[0] == pytest.approx((weight + prior) ** -0.5, rel=1e-4)
    low, high = fitted.interval(0)
    assert math.log(high / low) == pytest.approx(2 * 1.96 * fitted.sd[0], rel=0.1), "by draws"


def test_readings_without_noise_give_the_truth_back_as_far_as_beliefs_allow() -> None:
    """What was believed draws by its known share; readings of the believed tank draw nowhere."""
    slopes = [[1.0, -0.5, -0.1], [1.0, 0.4, -0.1], [1.0, -0.2, -0.1], [1.0, 0.1, 0.0], [1.0, -0.4, 0.0]]
    base, parameters = np.array([900.0, 400.0, 700.0, 950.0, 800.0]), (OUTPUT, BEAM, LID)
    at_start = _fit(parameters, base.tolist(), slopes, base.tolist())
    np.testing.assert_allclose(at_start.u, [p.u_start for p in parameters], atol=1e-6)
    shift = np.array([-0.2, 0.1, 0.3])
    fitted = _fit(parameters, base.tolist(), slopes, (base * np.exp(np.array(slopes) @ shift)).tolist())
    sigma = np.sqrt(READING_SD**2 + MODEL_SD**2 + (0.3 / (base * np.exp(np.array(slopes) @ shift))) ** 2)
    rows = np.array(slopes) / sigma[:, None]
    gain = np.linalg.solve(rows.T @ rows + np.diag([1 / p.u_sd**2 for p in parameters]), rows.T @ rows)
    np.testing.assert_allclose(fitted.u - [p.u_start for p in parameters], gain @ shift, atol=1e-5)
    assert fitted.stretch == 1.0


def test_one_place_cannot_tell_output_from_lid() -> None:
    """All readings under the lid at one place: output and lid are one number, and the sentence says so."""
    depth = -math.log(0.9)
    fitted = _fit((OUTPUT, LID), [60.0] * 5, [[1.0, -depth]] * 5, [45.0, 46.0, 44.0, 45.0, 46.0])
    assert unconstrained(fitted) == [1]
    said = " ".join(sentences(Found(fitted, (), 0.0)))
    assert said == "These readings do not constrain the dirt on the lid: the scene's own value stands."
    wide = Parameter(Kind.LID, 0.7)
    fitted = _fit((OUTPUT, wide), [60.0] * 5, [[1.0, math.log(0.7)]] * 5, [45.0, 46.0, 44.0, 45.0, 46.0])
    assert correlated(fitted)[0][:2] == (1, 0)
    assert "These readings cannot tell the output of bar from the dirt on the lid" in " ".join(
        sentences(Found(fitted, (), 0.0))
    )


def test_a_reading_with_and_one_without_the_lid_tell_them_apart() -> None:
    depth = math.log(0.7)
    wide = Parameter(Kind.LID, 0.7)
    fitted = _fit(
        (OUTPUT, wide), [600.0, 860.0] * 3, [[1.0, depth], [1.0, 0.0]] * 3, [450.0, 640.0, 460.0, 650.0, 440.0, 660.0]
    )
    assert not correlated(fitted)
    assert not unconstrained(fitted)


def test_where_light_is_steep_a_reading_counts_less() -> None:
    """Two readings that disagree, one with 20 % by its place: the estimate is their mean by inverse variances."""
    model = StraightModel((OUTPUT,), np.array([1000.0, 1000.0]), np.array([[1.0], [1.0]]))
    shots = [Shot(ON, k, np.ones(1)) for k in range(2)]
    readings = [Reading("calm", (0.1, 0.1, 0.07), 900.0, ON), Reading("steep", (0.2, 0.1, 0.07), 1100.0, ON)]
    fitted = estimate(model, readings, shots, np.array([0.0, 0.2]))  # type: ignore[arg-type]
    weight = 1 / (READING_SD**2 + MODEL_SD**2 + np.array([0.0, 0.2]) ** 2)
    prior = 1 / OUTPUT.prior.sd**2
    assert fitted.u[0] == pytest.approx(weight @ np.log([0.9, 1.1]) / (weight.sum() + prior), rel=1e-3)


def test_a_place_without_light_in_the_model_is_named() -> None:
    model = StraightModel((OUTPUT,), np.array([0.0]), np.array([[1.0]]))
    reading = Reading("inside the wood", (0.1, 0.1, 0.07), 5.0, ON)
    with pytest.raises(UnlitError, match=r"reading 1 \(inside the wood\): the model has no light there"):
        estimate(model, [reading], [Shot(ON, 0, np.ones(1))])  # type: ignore[arg-type]


def test_a_shaded_reading_is_set_aside_and_named() -> None:
    base = [100.0, 80.0, 60.0, 90.0, 70.0, 85.0, 95.0]
    read = [0.9 * b for b in base]
    read[6] *= 0.6
    fitted = _fit((OUTPUT,), base, [[1.0]] * 7, read)
    (aside,) = fitted.set_aside
    assert aside.reading.name == "spot 7"
    assert fitted.value(0) == pytest.approx(0.9, rel=0.02)
    said = sentences(Found(fitted, (), 0.0))[0]
    assert "reading 7 (spot 7) is 40 % lower than the other readings allow. Possible causes: shade" in said


def test_readings_that_scatter_widen_the_interval() -> None:
    base = [100.0] * 8
    calm = _fit((OUTPUT,), base, [[1.0]] * 8, [98.0, 102.0] * 4)
    wild = _fit((OUTPUT,), base, [[1.0]] * 8, [82.0, 118.0] * 4)
    assert calm.stretch == 1.0
    assert wild.stretch > 2
    assert wild.sd[0] > 1.5 * calm.sd[0]


def test_leverage_adds_up_to_what_the_readings_decide() -> None:
    """Its sum is the trace of C J^T J: the number of parameters less what beliefs hold."""
    slopes = np.array([[1.0, 0.5], [1.0, -0.5], [1.0, 0.1]])
    fitted = _fit((OUTPUT, BEAM), [500.0] * 3, slopes.tolist(), [450.0] * 3)
    held = np.trace(fitted.covariance @ np.diag([1 / p.u_sd**2 for p in (OUTPUT, BEAM)]))
    assert sum(r.leverage for r in fitted.residuals) == pytest.approx(2 - held, rel=1e-6)


def test_the_next_reading_is_the_one_that_tells_most_of_the_output() -> None:
    """Under one lid only: a reading without it tells most, by the closed form C - C j j C / (sigma^2 + j C j)."""
    depth = math.log(0.7)
    wide = Parameter(Kind.LID, 0.7)
    fitted = _fit((OUTPUT, wide), [600.0] * 4, [[1.0, depth]] * 4, [450.0] * 4)

    class Spots:
        sources = ()

        def __init__(self, heads: list[tuple[float, float, float]]) -> None:
            self.heads = heads

    model = StraightModel((OUTPUT, wide), np.array([600.0, 860.0]), np.array([[1.0, depth], [1.0, 0.0]]))
    place = (0.1, 0.1, 0.07)
    model.recordings = {ON: Spots([place]), OFF: Spots([place, place])}  # type: ignore[attr-defined]

    def proposed(read: list[tuple[Setting, tuple[float, float, float]]]) -> list[NextReading]:
        choice = Choice((place,), (), ())
        return next_readings(fitted.covariance, fitted.u, model, {ON: 0, OFF: 1}, choice, read, 2)  # type: ignore[arg-type]

    best = proposed([])[0]
    assert best.lid is LidState.OFF
    sigma2 = READING_SD**2 + MODEL_SD**2 + (0.3 / best.ppfd) ** 2
    before = fitted.covariance[0, 0]
    after = before - before**2 / (sigma2 + before)
    assert best.narrowing == pytest.approx(math.sqrt((METER_SD**2 + after) / (METER_SD**2 + before)), rel=1e-6)
    assert [n.lid for n in proposed([(OFF, (0.1, 0.12, 0.07))])] == [LidState.ON], "that place was read without the lid"
