"""A corrected scene remembers what was measured: the next fit goes on from there, and only the light is carried along."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fitted_tanks import LIGHT, scene, toml

from underlit.planning.fit import corrected_text, fit, read_readings
from underlit.planning.fit.belief import belief
from underlit.planning.fit.corrected import carried_text
from underlit.planning.fit.fitting import NOTHING_NEW, Found, scene_parameters
from underlit.planning.fit.parameters import Kind
from underlit.planning.fit.remembered import METER_SD, remembered_covariance
from underlit.scene import Scene, load_scene

PHOTONS = 1 << 16


def _fitted(file: Path, rows: str) -> Found:
    loaded = load_scene(file)
    readings = file.with_name("read.csv")
    readings.write_text(f"name,value,lid\n{rows}\n", encoding="utf-8")
    return fit(loaded, read_readings(readings, loaded), photons=PHOTONS, advice=0)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Found:
    """A fit to three readings."""
    file = tmp_path_factory.mktemp("tank") / "tank.toml"
    file.write_text(toml(), encoding="utf-8")
    return _fitted(file, "middle,130,on\ncorner,84,on\nmiddle,166,off")


@pytest.fixture
def corrected(first: Found, tmp_path: Path) -> Path:
    """The corrected scene."""
    out = tmp_path / "corrected.toml"
    out.write_text(corrected_text(first.fitted, out, file="read.csv"), encoding="utf-8")
    return out


def _known(loaded: Scene) -> dict[Kind, float]:
    parameters = scene_parameters(loaded)
    return dict(zip((p.kind for p in parameters), belief(loaded, parameters).sd, strict=True))


def test_what_was_found_is_what_is_believed_of_the_corrected_scene(first: Found, corrected: Path) -> None:
    loaded = load_scene(corrected)
    assert loaded.notes == []
    assert loaded.measured is not None
    assert loaded.measured.readings == 3
    believed = belief(loaded, scene_parameters(loaded))
    assert believed.measured.all()
    wanted = remembered_covariance(first.fitted)
    np.testing.assert_allclose(believed.covariance, wanted, rtol=2e-3, atol=2e-5)
    np.testing.assert_allclose(believed.mean[1:], first.fitted.u[1:], atol=1e-4)


def test_the_error_of_the_meter_is_in_the_output(first: Found) -> None:
    """Readings of one meter say no more of the output than the meter is good for."""
    output = [p.kind for p in first.fitted.parameters].index(Kind.OUTPUT)
    u, weight = first.fitted.draws.u[:, output], first.fitted.draws.weight
    scatter = float(weight @ (u - first.fitted.u[output]) ** 2)
    assert remembered_covariance(first.fitted)[output, output] == pytest.approx(scatter + METER_SD**2)


def test_a_value_changed_by_hand_counts_as_believed_and_is_said(corrected: Path) -> None:
    changed = corrected.with_name("changed.toml")
    changed.write_text('base = "corrected.toml"\n[lid]\ndirt = 0.7\n', encoding="utf-8")
    loaded, prior = load_scene(changed), _known(scene(lid={"dirt": 0.7, "condensation": 0.97}))
    (note,) = loaded.notes
    assert "dirt on the lid was measured as" in note
    assert "now says 0.7" in note
    known = _known(loaded)
    assert known[Kind.LID] == prior[Kind.LID]
    assert known[Kind.OUTPUT] < 0.8 * prior[Kind.OUTPUT]


def test_a_removed_light_is_said(corrected: Path) -> None:
    changed = corrected.with_name("changed.toml")
    changed.write_text(
        'base = "corrected.toml"\n[[fixture]]\nname = "another"\noutput = { watts = "20 W" }\n', encoding="utf-8"
    )
    notes = load_scene(changed).notes
    assert len(notes) == 2
    assert all("the scene has none any more" in note for note in notes)


def test_readings_count_once(corrected: Path) -> None:
    with pytest.raises(ValueError, match=NOTHING_NEW):
        _fitted(corrected, "middle,130,on\ncorner,84,on")
    again = _fitted(corrected, "middle,130,on\ncorner,84,on\ncorner,112,off")
    assert again.counted_before == 2
    assert [r.reading.ppfd for r in again.fitted.residuals] == [112.0]
    out = corrected.with_name("again.toml")
    out.write_text(corrected_text(again.fitted, out), encoding="utf-8")
    measured = load_scene(out).measured
    assert measured is not None
    assert measured.readings == 4
    assert [round(taken.ppfd) for taken in measured.taken] == [130, 84, 166, 112]


def test_two_fits_find_what_one_fit_to_all_readings_finds(first: Found, corrected: Path, tmp_path: Path) -> None:
    """But for the meter's error, which the second fit takes for scatter, and the bend of what the first left possible."""
    more = "corner,112,off\nmiddle,134,on\ncorner,88,on"
    second = _fitted(corrected, more).fitted
    file = tmp_path / "tank.toml"
    file.write_text(toml(), encoding="utf-8")
    at_once = _fitted(file, f"middle,130,on\ncorner,84,on\nmiddle,166,off\n{more}").fitted
    for k, parameter in enumerate(at_once.parameters):
        u = second.u[k] + first.fitted.u[k] * (parameter.kind is Kind.OUTPUT)  # a factor on what the first fit found
        assert abs(u - at_once.u[k]) < 0.5 * at_once.sd[k], parameter.name
        assert 0.8 < second.sd[k] / at_once.sd[k] < 1.3, parameter.name


@pytest.mark.parametrize(
    ("water", "carried"), [(False, ["output", "beam angle"]), (True, ["output", "beam angle", "tannin tint"])]
)
def test_only_the_light_is_carried_and_the_water_if_asked(
    first: Found, tmp_path: Path, water: bool, carried: list[str]
) -> None:
    other = tmp_path / "other.toml"
    other.write_text(toml(lid={"dirt": 0.5}, fixture=[{**LIGHT, "name": "mine"}]), encoding="utf-8")
    out = tmp_path / "carried.toml"
    out.write_text(carried_text(first.fitted, load_scene(other), out, water=water), encoding="utf-8")
    loaded = load_scene(out)
    measured = loaded.measured
    assert measured is not None
    assert [str(p.what) for p in measured.parameters] == carried
    assert measured.parameters[0].of == ("mine",)
    assert measured.taken == ()
    kinds = [p.kind for p in first.fitted.parameters]
    which = [kinds.index(Kind(kind)) for kind in carried]
    parameters = scene_parameters(loaded)
    own = [[p.kind for p in parameters].index(Kind(kind)) for kind in carried]
    wanted = remembered_covariance(first.fitted)[np.ix_(which, which)]
    np.testing.assert_allclose(belief(loaded, parameters).covariance[np.ix_(own, own)], wanted, rtol=2e-3, atol=2e-5)


def test_what_another_tank_knew_of_itself_stays(first: Found, corrected: Path, tmp_path: Path) -> None:
    """A light carried into a tank that was read before: its own lid and panes are known as they were."""
    out = tmp_path / "carried.toml"
    out.write_text(carried_text(first.fitted, load_scene(corrected), out), encoding="utf-8")
    loaded = load_scene(out)
    assert loaded.notes == []
    assert _known(loaded) == pytest.approx(_known(load_scene(corrected)), rel=1e-3)
