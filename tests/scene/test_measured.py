"""What a scene file may say of what was measured, and what it may not."""

from __future__ import annotations

from typing import Any

import pytest

from underlit.scene import SceneError, scene_from_dict
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
