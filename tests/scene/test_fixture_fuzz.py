"""Whatever is said of fixtures, the reader answers with a scene or with lines for people, never with a traceback."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_scene_fuzz import JUNK, judged, places

from underlit.scene import scene_from_dict

GALLERY = Path(__file__).parents[2] / "docs" / "gallery" / "fixtures" / "fixtures.toml"
LISTED = tomllib.loads(GALLERY.read_text("utf-8"))["fixture"]
PLACES = [(index, place) for index, said in enumerate(LISTED) for place in places(said)]
KEYS = [
    "form",
    "length",
    "size",
    "leds",
    "cluster",
    "optic",
    "reflector",
    "clip",
    "output",
    "schedule",
    "step",
    "dimming_curve",
]


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(PLACES),
    st.sampled_from(["replace", "drop", "swap"]),
    JUNK,
    st.sampled_from(KEYS),
    st.integers(0, 6),
)
def test_changed_fixtures_never_make_the_reader_stumble(
    where: tuple[int, tuple[Any, ...]], how: str, junk: Any, key: str, other: int
) -> None:
    index, place = where
    said = copy.deepcopy(LISTED[index])
    table: Any = said
    for part in place[:-1]:
        table = table[part]
    if how == "replace":
        table[place[-1]] = junk
    elif how == "drop":
        del table[place[-1]]
    else:
        # a key of another fixture of the gallery, or none
        said.pop(key, None)
        if key in LISTED[other]:
            said[key] = copy.deepcopy(LISTED[other][key])
    judged(lambda: scene_from_dict({"tank": {"inside_size": ["90 cm", "45 cm", "45 cm"]}, "fixture": [said]}))
