"""What the models say of their keys, as forms, writers and the reader ask for it."""

from __future__ import annotations

import pytest

from underlit.scene import Fixture, Scene, SceneError, Substrate, scene_from_dict
from underlit.scene.aquascape.ground import Heights
from underlit.scene.common import Role
from underlit.scene.keys import (
    alternatives_of,
    file_type,
    hanging_keys,
    keys_at,
    keys_with,
    lists_of_tables,
    model_at,
    models,
    path_keys,
    replaced_by,
    running_keys,
)
from underlit.scene.lights.channel import Channel
from underlit.scene.tank.tank import Tank, Wall
from underlit.scene.tank.water import Water


def test_the_other_ways_to_give_a_thing() -> None:
    assert alternatives_of(Water, "below_rim") == ("above_bottom",)
    assert alternatives_of(Substrate, "back_depth") == ("depth", "heights")
    assert set(alternatives_of(Tank, "nominal_size")) == {"inside_size", "outline", "height", "inside", "outside"}
    assert alternatives_of(Fixture, "turn") == ()


def test_what_a_file_drops_of_its_base() -> None:
    assert replaced_by(Fixture, ["photometric_file", "above_water"]) == {
        "above_rim", "leds", "lens", "cluster", "optic", "reflector", "form",
    }  # fmt: skip
    assert replaced_by(Tank, ["outline", "height", "shape"]) >= {"nominal_size", "bow", "room_corner"}
    assert replaced_by(Substrate, ["front_depth", "back_depth"]) == {"depth", "heights"}


def test_keys_by_what_they_say() -> None:
    assert running_keys(Channel) == ("dimming", "dimming_curve", "step", "schedule")
    assert running_keys(Fixture) == (*running_keys(Channel), "photoperiod")
    assert set(hanging_keys(Fixture)) == {"clip", "above_rim", "above_water", "position", "turn", "tilt"}
    assert {"room_corner", "brace", "inside"} <= set(keys_with(Tank, Role.SIZE))
    assert "returned_per_reflection" not in keys_with(Wall, Role.MATERIAL)
    assert set(keys_with(Substrate, Role.MATERIAL)) == {"material", "reflectance"}


def test_tables_and_their_keys_by_path() -> None:
    assert model_at(("substrate", "heights")) is Heights
    assert model_at(("fixture", 0, "channel", 3)) is Channel
    assert model_at(("fixture", 0, "turn")) is None
    assert keys_at(("nowhere",)) == []
    assert set(lists_of_tables()) == {key for key in keys_at(()) if key in "fixture wood stone plants zone spot rack"}
    assert path_keys() == {"mesh", "file", "photometric_file"}
    names_no_file = [
        (model.__name__, key)
        for model in models()
        for key, field in model.scene_fields().items()
        if key in path_keys() and file_type(model, key) is None and "Path" not in str(field.annotation)
    ]
    assert names_no_file == [], "whoever moves the files of a scene goes by the keys alone"
    assert Scene.scene_fields()["fixture"] is Scene.model_fields["fixtures"]


@pytest.mark.parametrize(
    ("tank", "said"),
    [
        ({}, "the size of the tank is missing: give nominal_size, inside_size, outline or inside"),
        ({"height": "30 cm"}, "tank.height: needs outline as well (corners of the inside seen from above"),
    ],
)
def test_what_is_missing_is_named(tank: dict[str, str], said: str) -> None:
    with pytest.raises(SceneError) as refused:
        scene_from_dict({"tank": tank})
    assert said in str(refused.value)
