"""The corrected scene is read again as the tank that was found, and its light goes into another tank without it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fitted_tanks import LIGHT, scene, toml

from underlit.planning.fit import corrected_text, fit, made_reading, read_readings
from underlit.planning.fit.corrected import NotCarriedError, carried_text
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.light import lowered_for
from underlit.planning.fit.parameters import Kind, with_values
from underlit.planning.fit.readings import LidState, Setting
from underlit.scene import load_scene

ON = Setting(LidState.ON)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Found:
    """A fit of a scene file to two readings."""
    file = tmp_path_factory.mktemp("tank") / "tank.toml"
    file.write_text(toml(), encoding="utf-8")
    (file.parent / "read.csv").write_text("name,value\nmiddle,70\ncorner,30\n", encoding="utf-8")
    loaded = load_scene(file)
    return fit(loaded, read_readings(file.parent / "read.csv", loaded), photons=1 << 16, advice=0)


def test_the_corrected_scene_is_the_tank_that_was_found(found: Found, tmp_path: Path) -> None:
    out = tmp_path / "elsewhere" / "corrected.toml"
    out.parent.mkdir()
    out.write_text(corrected_text(found.fitted, out, note="by a test"), encoding="utf-8")
    again = lowered_for(load_scene(out), ON, []).compiled
    wanted = with_values(
        lowered_for(found.fitted.model.scene, ON, []).compiled, found.fitted.parameters, found.fitted.u
    )
    np.testing.assert_allclose(again.tables.optics, wanted.optics, rtol=1e-5)
    np.testing.assert_allclose(again.tables.reflectance, wanted.reflectance, rtol=1e-5)
    np.testing.assert_allclose(again.tables.surfaces["film"], wanted.surfaces["film"], rtol=1e-5)
    np.testing.assert_allclose(again.tables.sources["lens_exponent"], wanted.sources["lens_exponent"], rtol=1e-5)
    assert again.ppf[0] == pytest.approx(40 * found.fitted.value(0), rel=1e-5)


def test_the_light_is_carried_and_the_tank_is_not(found: Found, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    tank = {"inside_size": ["80 cm", "40 cm", "50 cm"]}
    other.write_text(toml(tank=tank, lid={"dirt": 0.5}, fixture=[{**LIGHT, "name": "mine", "above_rim": "20 cm"}]))
    out = tmp_path / "carried.toml"
    out.write_text(carried_text(found.fitted, load_scene(other), out), encoding="utf-8")
    carried = load_scene(out)
    (light,) = carried.fixtures
    assert light.name == "mine"
    assert light.above_rim == 0.2
    assert light.claimed_ppf == pytest.approx(40 * found.fitted.value(0), rel=1e-5)
    beam = next(k for k, p in enumerate(found.fitted.parameters) if p.kind is Kind.BEAM)
    assert np.degrees(light.lens.beam_angle) == pytest.approx(found.fitted.value(beam), abs=1e-3)
    assert carried.lid.dirt == 0.5
    assert carried.tank.inside_m == (0.8, 0.4, 0.5)
    assert carried.water.tannin.absorption_440_per_m == 0.4


def test_a_light_that_is_none_of_the_fitted_ones_is_refused(found: Found, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    second = {**LIGHT, "name": "second", "output": {"ppf": "10 umol/s"}, "above_rim": "20 cm"}
    other.write_text(toml(fixture=[{**LIGHT, "name": "first"}, second]))
    with pytest.raises(
        NotCarriedError, match="fixture 'first' is not one of the fitted fixtures; give it one of their names: 'bar'"
    ):
        carried_text(found.fitted, load_scene(other), tmp_path / "out.toml")


def test_a_guessed_size_stays(tmp_path: Path) -> None:
    """A bar whose length is guessed from its watts keeps that length, whatever output was found."""
    file = tmp_path / "tank.toml"
    file.write_text(toml(fixture=[{"name": "bar", "output": {"watts": "20 W"}, "above_rim": "6 cm"}]))
    loaded = load_scene(file)
    got = fit(loaded, [made_reading(loaded, "a", (0.2, 0.15, 0.07), 20.0)], photons=1 << 16, advice=0)
    out = tmp_path / "out.toml"
    out.write_text(corrected_text(got.fitted, out))
    assert load_scene(out).fixtures[0].size == pytest.approx(loaded.fixtures[0].size)


def test_a_scene_in_code_has_no_file_to_correct() -> None:
    loaded = scene()
    got = fit(loaded, [made_reading(loaded, "a", (0.2, 0.15, 0.07), 40.0)], photons=1 << 16, advice=0)
    with pytest.raises(ValueError, match="not read from a file"):
        corrected_text(got.fitted, Path("x.toml"))
