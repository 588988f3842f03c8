"""What the app's inputs write into a scene, and what they show where the scene says nothing."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

pytest.importorskip("nicegui")

from underlit.app.document import Document, DocumentError
from underlit.app.sections.edit.start import Answers, scene_text
from underlit.app.sections.edit.tank import (
    BY_NUMBERS,
    CUSTOM,
    NO_LID,
    take_backing,
    take_lid,
    take_panes,
    take_size,
    take_slope,
    take_substrate,
)
from underlit.app.sections.edit.zones import take_target
from underlit.app.values import Path as At
from underlit.app.values import is_said, value_at
from underlit.scene import Scene, scene_from_dict

LIGHT: dict[str, Any] = {"fixture": [{"length": "60 cm"}]}
CORNER = """
[tank]
shape = "corner"
nominal_size = ["60 cm", "60 cm", "45 cm"]
side_pane = "25 cm"
room_corner = "back right"
glass_thickness = "8 mm"
[[tank.brace]]
at = "30 cm"
[[fixture]]
length = "40 cm"
"""


def scene_of(document: Document) -> Scene:
    """What the text means."""
    return scene_from_dict(tomllib.loads(document.text))


# -- the start ------------------------------------------------------------------------------------------------
def test_the_start_writes_what_was_answered_and_nothing_else() -> None:
    """No height of the light, no age of the tank, no substrate, no target that nobody gave."""
    said = tomllib.loads(scene_text(Answers(tank="40 breeder", watts=24.0), "cm"))
    assert said == {
        "title": "40 breeder",
        "tank": {"from": "40 breeder"},
        "fixture": [{"output": {"watts": "24 W"}}],
    }


def test_every_answer_of_the_start_is_written() -> None:
    answers = Answers(
        "40 breeder", None, 2400.0, 90.0, "", "glass top in use", "black paint", "yes", "no", {"in front": "medium"}
    )
    said = tomllib.loads(scene_text(answers, "cm"))
    assert said["fixture"] == [{"output": {"lumens": "2400 lm"}, "length": "90 cm"}]
    assert said["lid"] == {"from": "glass top in use"}
    assert said["tank"]["back"] == {"behind": "paint", "colour": "black"}
    assert (said["added_co2"], said["settled"]) == (True, False)
    (zone,) = said["zone"]
    assert zone["need"] == "medium"
    scene = scene_from_dict(said)
    (x0, y0), (x1, y1) = scene.zones[0].rectangle or ((0, 0), (0, 0))
    length, depth, _ = scene.tank.inside_m
    assert (x0 / length, x1 / length) == pytest.approx((0.02, 0.98), abs=0.001)
    assert (y0 / depth, y1 / depth) == pytest.approx((0.02, 0.35), abs=0.002)


@pytest.mark.parametrize(
    ("answers", "asked"),
    [(Answers(watts=24.0), "choose a tank"), (Answers(tank="40 breeder"), "watts, lumens or length")],
)
def test_the_start_asks_for_what_it_needs(answers: Answers, asked: str) -> None:
    with pytest.raises(DocumentError, match=asked):
        scene_text(answers, "cm")


# -- what is assumed ------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("said", "path", "given"),
    [
        ({}, ("fixture", 0, "above_rim"), False),
        ({"fixture": [{"length": "60 cm", "above_rim": "9 cm"}]}, ("fixture", 0, "above_rim"), True),
        ({"fixture": [{"length": "60 cm", "above_water": "9 cm"}]}, ("fixture", 0, "above_rim"), True),
        (
            {"fixture": [{"length": "60 cm", "channel": [{"dimming": 0.5}]}]},
            ("fixture", 0, "channel", 0, "dimming"),
            True,
        ),
        ({}, ("fixture", 0, "channel", 0, "dimming"), False),
        ({}, ("water", "below_rim"), False),
        ({"water": {"above_bottom": "20 cm"}}, ("water", "below_rim"), True),
        ({}, ("tank", "back", "behind"), False),
        ({"tank": {"back": {"behind": "open air"}}}, ("tank", "back", "behind"), True),
        ({}, ("tank", "nominal_size"), True),
        ({"lid": {}}, ("lid", "condensation"), False),
        ({"lid": {"from": "clean glass top"}}, ("lid", "condensation"), True),
        ({}, ("lid", "condensation"), False),
        ({}, ("settled",), False),
        ({"settled": True}, ("settled",), True),
        ({"substrate": {"front_depth": "2 cm", "back_depth": "5 cm"}}, ("substrate", "depth"), True),
        ({"substrate": {"from": "black sand"}}, ("substrate", "material"), True),
        ({}, ("substrate", "material"), False),
    ],
)
def test_what_nobody_gave_is_known_as_assumed(said: dict[str, Any], path: At, given: bool) -> None:
    """A value is given by the scene, by the catalogue entry that it refers to, or in another way to say the same."""
    tank = {"from": "40 breeder"} | said.get("tank", {})
    scene = scene_from_dict(LIGHT | said | {"tank": tank})
    assert is_said(scene, path) is given


def test_a_field_shows_the_value_that_was_taken() -> None:
    scene = scene_from_dict(LIGHT | {"tank": {"from": "40 breeder"}, "lid": {}})
    assert value_at(scene, ("lid", "condensation")) == pytest.approx(0.97)
    assert value_at(scene, ("fixture", 0, "photoperiod")) == pytest.approx(8.0)
    assert value_at(scene, ("tank", "glass")) == "clear"
    assert value_at(scene, ("fixture", 1, "photoperiod")) is None
    assert value_at(scene, ("hood", "height")) is None


# -- one way to give a thing ----------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("table", "path", "value"),
    [
        ('[water]\nabove_bottom = "20 cm"', ("water", "below_rim"), "3 cm"),
        ('[substrate]\nfront_depth = "2 cm"\nback_depth = "6 cm"', ("substrate", "depth"), "4 cm"),
        ('[[zone]]\nname = "z"\nplants = "p"\nneed = "medium"', ("zone", 0, "band"), [20, 40]),
        ('[tank]\nshape = "bow front"\nbow = "8 cm"', ("tank", "shape"), "box"),
    ],
)
def test_a_value_takes_the_place_of_other_ways_to_give_it(table: str, path: At, value: Any) -> None:
    document = Document(table)
    document.set(*path, value=value)
    held = document.get(*path[:-1])
    named = {"name", "plants"} & set(held)
    assert set(held) == {path[-1], *named}
    assert document.get(*path) == value


def test_a_dimmer_takes_the_place_of_a_step() -> None:
    document = Document('[[fixture]]\nstep = 40\ndimming_curve = [[0, 0.0], [100, 1.0]]\nlength = "60 cm"\n')
    document.set("fixture", 0, "dimming", value=0.5)
    assert document.get("fixture", 0, "step") is None
    assert document.get("fixture", 0, "dimming_curve") is not None


def test_another_trade_size_leaves_nothing_of_the_old_shape() -> None:
    """A box has no panes of a corner tank; glass and what stands behind it are as they were."""
    document = Document(CORNER)
    take_size(document, "40 breeder")
    assert document.get("tank") == {"glass_thickness": "8 mm", "from": "40 breeder"}
    scene = scene_of(document)
    assert scene.tank.is_box
    assert scene.tank.rim is not None, "as the catalogue has it"


def test_a_custom_size_begins_with_the_tank_as_it_is() -> None:
    document = Document('[tank]\nfrom = "40 breeder"\nglass = "low-iron"\n[[fixture]]\nlength = "60 cm"\n')
    before = scene_of(document)
    take_size(document, CUSTOM)
    assert document.get("tank", "from") is None
    assert scene_of(document).tank == before.tank


def test_another_backing_keeps_what_grows_on_the_pane() -> None:
    document = Document(
        '[tank.back]\nbehind = "sheet"\ncolour = "white"\nair_gap = "2 mm"\nreturned_per_reflection = 0.3\n'
    )
    take_backing(document, "paint black", side="back")
    assert document.get("tank", "back") == {"returned_per_reflection": 0.3, "behind": "paint", "colour": "black"}
    take_backing(document, "open air", side="back")
    take_backing(document, "sheet mirror", side="left")
    assert document.get("tank", "back") == {"returned_per_reflection": 0.3, "behind": "open air"}
    assert document.get("tank", "left") == {"behind": "sheet", "colour": "mirror"}


def test_a_word_for_all_panes_replaces_what_was_said_of_one() -> None:
    document = Document(
        '[tank]\ninside_size = ["30 cm", "20 cm", "20 cm"]\n[tank.back]\nbehind = "paint"\ncolour = "black"\n'
        "returned_per_reflection = 0.3\n[[fixture]]\nlength = '20 cm'\n"
    )
    take_panes(document, "overgrown")
    assert document.get("tank", "back") == {"behind": "paint", "colour": "black"}
    scene = scene_of(document)
    assert {scene.returned_per_reflection(side) for side in ("front", "back", "left", "right")} == {0.25}
    take_panes(document, BY_NUMBERS)
    assert document.get("tank", "panes") == "overgrown"


def test_substrate_lid_and_target_leave_nothing_of_the_old_ones() -> None:
    document = Document(
        '[substrate]\nmaterial = "gravel"\nreflectance = 0.2\ndepth = "3 cm"\n[lid]\nthickness = "6 mm"\n'
        '[[zone]]\nname = "z"\nplants = "p"\nband = [20, 40]\n'
    )
    take_substrate(document, "black sand")
    assert document.get("substrate") == {"depth": "3 cm", "from": "black sand"}
    take_slope(document, ["2 cm", "5 cm"])
    assert document.get("substrate") == {"from": "black sand", "front_depth": "2 cm", "back_depth": "5 cm"}
    take_lid(document, "glass top in use")
    assert document.get("lid") == {"from": "glass top in use"}
    take_lid(document, NO_LID)
    assert document.get("lid") is None
    for word, key in (("medium", "need"), ("", ""), ("demanding", "need")):
        take_target(document, 0, word)
        assert set(document.get("zone", 0)) == {"name", "plants"} | ({key} if key else set())
