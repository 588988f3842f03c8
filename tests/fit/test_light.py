"""Recorded paths weighed anew: the tables that stand for changed values, and the light, against the changed scene
traced."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from fitted_tanks import LIGHT, TANK, scene

from checking import same
from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import CompiledScene
from underlit.planning.fit.fitting import scene_parameters
from underlit.planning.fit.light import Model, Recording, Shot, Tracing, dimming_of, lowered_for
from underlit.planning.fit.parameters import Kind, Parameter, with_values
from underlit.planning.fit.readings import LidState, Setting
from underlit.results.estimate import Estimate, mean_of_batches
from underlit.scene import Scene
from underlit.transport.tables import PACKET

ON, OFF = Setting(LidState.ON), Setting(LidState.OFF)
HEADS = [(0.22, 0.15, 0.07), (0.38, 0.06, 0.07)]
BEFORE = scene()
CHANGED = {Kind.BEAM: 80.0, Kind.LID: 0.75, Kind.GROWTH: 0.5, Kind.TINT: 2.0, Kind.BACKING: 0.5}


@pytest.fixture(scope="module", autouse=True)
def _larger_heads() -> Iterator[None]:
    """The same checks with fewer photons."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("underlit.planning.fit.light.HEAD_RADIUS_M", 0.03)
        yield


def _changed(kind: Kind) -> Scene:
    """The tank with one value as in CHANGED, said in its tables."""
    value = CHANGED[kind]
    if kind is Kind.BEAM:
        return scene(fixture=[{**LIGHT, "lens": {"beam_angle": f"{value} deg"}}])
    if kind is Kind.LID:
        return scene(lid={**TANK["lid"], "dirt": value})
    if kind is Kind.TINT:
        return scene(water={"tannin": {"a440_per_m": value}})
    panes = {side: dict(TANK["tank"][side]) for side in ("front", "back", "left", "right")}
    for side, pane in panes.items():
        if kind is Kind.GROWTH:
            pane["returned_per_reflection"] = value
        elif side == "back":
            pane["reflectance"] = value
    return scene(tank={**TANK["tank"], **panes})


def _at(kind: Kind) -> tuple[tuple[Parameter, ...], np.ndarray]:
    """The tank's parameters, and u with one of them as in CHANGED."""
    parameters = scene_parameters(BEFORE)
    u = np.array([p.u_start for p in parameters])
    k = [p.kind for p in parameters].index(kind)
    u[k] = parameters[k].u_of(CHANGED[kind])
    return parameters, u


def test_everything_that_can_be_fitted_is_found() -> None:
    found = {p.kind: p.start for p in scene_parameters(BEFORE)}
    assert set(found) == set(Kind)
    assert found[Kind.BEAM] == pytest.approx(100)
    assert found[Kind.GROWTH] == 0.3
    assert found[Kind.LID] == 0.9
    assert found[Kind.TINT] == 0.4
    assert found[Kind.BACKING] == pytest.approx(0.8)


def test_what_a_scene_lacks_is_not_fitted() -> None:
    open_tank = scene(
        lid=None, tank={"inside_size": ["45 cm", "30 cm", "30 cm"]}, fixture=[{**LIGHT, "lens": {"cone": "90 deg"}}]
    )
    assert {p.kind for p in scene_parameters(open_tank)} == {Kind.OUTPUT, Kind.GROWTH, Kind.TINT}


@pytest.mark.parametrize("kind", list(CHANGED))
def test_changed_tables_are_those_of_the_changed_scene(kind: Kind) -> None:
    parameters, u = _at(kind)
    tables = with_values(lowered_for(BEFORE, ON, HEADS).compiled, parameters, u)
    wanted = lowered_for(_changed(kind), ON, HEADS).compiled.tables
    for name in ("optics", "reflectance"):
        np.testing.assert_allclose(getattr(tables, name), getattr(wanted, name), rtol=1e-12)
    np.testing.assert_allclose(tables.surfaces["film"], wanted.surfaces["film"], rtol=1e-12)
    np.testing.assert_allclose(tables.sources["lens_exponent"], wanted.sources["lens_exponent"], rtol=1e-12)


def _traced(compiled: CompiledScene, seed: int) -> list[Estimate]:
    """PPFD of each head from the one source at full power."""
    tracer = Tracer(compiled.tables, batch_bits=14, seed=seed)
    tracer.run([32])
    rows = np.array([p[len(compiled.zones) :] for p in tracer.counts[0].points]) / (PACKET * 2.0**14)
    mean, variance, dof = mean_of_batches(rows * compiled.ppf[0] / np.array([h.area for h in compiled.heads]))
    return [Estimate(float(m), math.sqrt(v), dof) for m, v in zip(mean, variance, strict=True)]


@pytest.fixture(scope="module")
def recorded() -> Recording:
    """The tank as described and the paths in it."""
    parameters = scene_parameters(BEFORE)
    return Recording(BEFORE, ON, HEADS, parameters, np.array([p.u_start for p in parameters]), Tracing(1 << 19))


@pytest.mark.parametrize("kind", list(CHANGED))
def test_weighing_anew_is_tracing_the_changed_scene(recorded: Recording, kind: Kind) -> None:
    """The head in the middle, within 10 %, far less than the values of CHANGED move it, backing and growth apart."""
    _, u = _at(kind)
    light = recorded.light(u)
    traced = _traced(lowered_for(_changed(kind), ON, HEADS).compiled, seed=91)
    dof = 15.0
    for k in range(len(HEADS) if kind is Kind.GROWTH else 1):
        found = Estimate(float(light.value[0, k]), math.sqrt(light.variance[0, k]), dof)
        same(found, traced[k], resolves=0.12, what=f"{kind} weighed anew, head {k}")


def test_slopes_are_those_of_the_light(recorded: Recording) -> None:
    """Against central differences of the same paths: exact but for their own rounding."""
    u = recorded.u + 0.1
    model = Model(BEFORE, recorded.parameters, {ON: recorded})
    shots = [Shot(ON, k, np.array([0.7])) for k in range(len(HEADS))]
    _, slope, _ = model.predict(shots, u)
    for k in range(len(u)):
        step = np.zeros(len(u))
        step[k] = 1e-4
        (high, _, _), (low, _, _) = model.predict(shots, u + step), model.predict(shots, u - step)
        np.testing.assert_allclose(slope[:, k], (np.log(high) - np.log(low)) / 2e-4, rtol=1e-4, atol=1e-7)


def test_many_at_once_are_each_alone(recorded: Recording) -> None:
    model = Model(BEFORE, recorded.parameters, {ON: recorded})
    shots = [Shot(ON, k, np.array([0.7])) for k in (1, 0)]
    many = recorded.u + np.random.default_rng(4).normal(0, 0.2, (5, len(recorded.u)))
    alone = np.array([model.predict(shots, u)[0] for u in many])
    np.testing.assert_allclose(model.predict_many(shots, many), alone, rtol=1e-6)


def test_weights_far_from_the_tank_that_was_traced_are_uneven(recorded: Recording) -> None:
    model = Model(BEFORE, recorded.parameters, {ON: recorded})
    shots = [Shot(ON, 1, np.ones(1))]
    far = recorded.u.copy()
    far[[p.kind for p in recorded.parameters].index(Kind.BEAM)] = math.log(30.0)
    assert model.evenness(shots, recorded.u) == 1.0
    assert model.evenness(shots, far) < 0.4


def test_dimming_is_of_full_power() -> None:
    """A fixture that the scene dims to 80 %: a reading at 50 % was taken at half of full power."""
    dimmed = scene(fixture=[{**LIGHT, "dimming": 0.8}])
    sources = lowered_for(dimmed, ON, HEADS).compiled.sources
    assert dimming_of(dimmed, sources, None) == pytest.approx([0.8])
    assert dimming_of(dimmed, sources, 0.5) == pytest.approx([0.5])


def test_a_setting_takes_the_lid_off_and_moves_the_light() -> None:
    compiled = lowered_for(BEFORE, Setting(LidState.OFF, 0.20), HEADS).compiled
    assert not any(mesh.name.startswith("lid") for mesh in compiled.plain_meshes)
    assert compiled.tables.leds["position"][:, 2].min() == pytest.approx(0.30 + 0.20)
