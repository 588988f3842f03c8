"""What a scene file may say of what was measured, and what it may not."""

from __future__ import annotations

from typing import Any

import pytest

from underlit.scene import SceneError, assumptions, scene_from_dict, tank_uncertainty
from underlit.scene.assumptions.lever import Moves
from underlit.scene.measured import Kind
from underlit.scene.standing import standing

OUTPUT: dict[str, Any] = {"what": "output", "of": ["bar"], "value": 40.0, "sd": 0.06}
TINT: dict[str, Any] = {"what": "tannin tint", "value": 0.4, "sd": 0.5}
SCENE: dict[str, Any] = {
    "tank": {"inside_size": ["45 cm", "30 cm", "30 cm"], "panes": "overgrown"},
    "water": {"tannin": {"a440_per_m": 0.4}},
    "fixture": [{"name": "bar", "output": {"ppf": "40 umol/s"}}],
}


def _measured(*parameters: dict[str, Any], correlation: list[list[float]]) -> dict[str, Any]:
    return {"date": "2026-03-01", "readings": 6, "parameter": list(parameters), "correlation": correlation}


def _scene(measured: dict[str, Any]) -> Any:
    return scene_from_dict({**SCENE, "measured": measured})


def test_what_stands_has_the_covariance_of_the_file() -> None:
    stands = standing(_scene(_measured(OUTPUT, TINT, correlation=[[1.0, -0.5], [-0.5, 1.0]])))
    assert [p.what for p in stands.parameters] == [Kind.OUTPUT, Kind.TINT]
    assert stands.covariance[0, 1] == pytest.approx(-0.5 * 0.06 * 0.5)
    assert stands.covariance[1, 1] == pytest.approx(0.25)


def test_what_the_scene_says_otherwise_leaves_its_row_and_column() -> None:
    other = {**TINT, "value": 0.5}
    scene = _scene(_measured(other, OUTPUT, correlation=[[1.0, -0.5], [-0.5, 1.0]]))
    stands = standing(scene)
    assert [p.what for p in stands.parameters] == [Kind.OUTPUT]
    assert stands.covariance.tolist() == [[pytest.approx(0.0036)]]
    assert scene.notes == ["tannin tint was measured as 0.5, but the scene now says 0.4: it does not count as measured"]


@pytest.mark.parametrize(
    ("measured", "said"),
    [
        (_measured(OUTPUT, TINT, correlation=[[1.0, 0.5], [0.2, 1.0]]), "must be symmetric, with 1 along its diagonal"),
        (_measured(OUTPUT, TINT, correlation=[[2.0, 0.5], [0.5, 1.0]]), "must be symmetric, with 1 along its diagonal"),
        (_measured(OUTPUT, TINT, correlation=[[1.0, 1.5], [1.5, 1.0]]), "negative eigenvalue"),
        (_measured(OUTPUT, TINT, correlation=[[1.0]]), "must have 2 rows of 2 numbers"),
        (_measured(TINT, TINT, correlation=[[1.0, 0.0], [0.0, 1.0]]), "the same thing is given twice"),
        (_measured({**TINT, "of": ["bar"]}, correlation=[[1.0]]), "names the fixtures or panes"),
        (_measured({**OUTPUT, "of": []}, correlation=[[1.0]]), "names the fixtures or panes"),
        (
            _measured({**TINT, "what": "growth on the panes", "of": ["top"]}, correlation=[[1.0]]),
            "there is no such pane",
        ),
        (_measured({**TINT, "what": "weather"}, correlation=[[1.0]]), "measured.parameter[0].what"),
        (_measured({**TINT, "sd": 0.0}, correlation=[[1.0]]), "measured.parameter[0].sd"),
    ],
)
def test_what_cannot_be_is_refused(measured: dict[str, Any], said: str) -> None:
    with pytest.raises(SceneError) as problem:
        _scene(measured)
    assert said in str(problem.value)


def test_a_measured_output_is_listed_with_what_is_left_of_its_range() -> None:
    scene = _scene(_measured(OUTPUT, correlation=[[1.0]]))
    row, *others = assumptions(scene)
    assert (row.key, row.measured, row.source) == ("fixture.output", True, "6 readings on 2026-03-01")
    assert row.value_text == "40 umol/s, measured"
    assert row.range_text == "35.6-45 umol/s"
    said = {other.key for other in others}
    assert not {"fixture.output", "fixture.light_loss_factors.temperature"} & said
    of_the_light_alone = sum(
        other.mean_square
        for other in assumptions(scene_from_dict(SCENE))
        if other.key.startswith("fixture") and all(lever.moves is Moves.LIGHT for lever in other.levers)
    )
    assert of_the_light_alone > (0.15**2 + 0.10**2) / 3
    wanted = tank_uncertainty(scene_from_dict(SCENE)) ** 2 - of_the_light_alone + 0.06**2
    assert tank_uncertainty(scene) ** 2 == pytest.approx(wanted)


def test_what_acts_on_all_light_alike_is_in_an_output_that_was_read_in_this_tank() -> None:
    elsewhere = _measured(OUTPUT, correlation=[[1.0]])
    here = {**elsewhere, "reading": [{"at": ["20 cm", "15 cm", "7 cm"], "ppfd": "60 umol/m2/s", "lid": "off"}]}
    moved = [{row.key for row in assumptions(_scene(m)) if row.relative_low is not None} for m in (elsewhere, here)]
    assert moved[0] - moved[1] == {"water surface", "tank.glass", "tank.glass_thickness"}
    assert moved[1] < moved[0]


def test_an_output_that_was_changed_is_open_again() -> None:
    changed = _scene(_measured({**OUTPUT, "value": 41.0}, correlation=[[1.0]]))
    assert [row for row in assumptions(changed)] == assumptions(scene_from_dict(SCENE))


def test_errors_that_go_together_count_together() -> None:
    """Readings under the lid know the light that comes through better than either the output or the lid."""

    def known(correlation: float) -> float:
        lid = {"what": "dirt on the lid", "value": 0.8, "sd": 0.4}
        measured = _measured(OUTPUT, lid, correlation=[[1.0, correlation], [correlation, 1.0]])
        return tank_uncertainty(scene_from_dict({**SCENE, "lid": {"dirt": 0.8}, "measured": measured}))

    # more output and more dirt leave the light as it was
    assert known(0.9) < known(0.0) < known(-0.9)
