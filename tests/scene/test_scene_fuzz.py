"""Whatever a scene file holds, the reader answers with a scene or with lines for people, never with a traceback."""

from __future__ import annotations

import copy
import tempfile
from pathlib import Path
from typing import Any

from good_scene import good_scene
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underlit.scene import Scene, SceneError, load_scene, scene_from_dict, tank_uncertainty
from underlit.scene.assumptions.scene import assumptions

SCENES = Path(__file__).parents[2] / "scenes"
CHECKED = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in nested tables and lists."""
    here = [path] if path else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return here + [place for key, inner in items for place in places(inner, (*path, key))]


PLACES = places(good_scene())
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | st.floats(allow_nan=True, allow_infinity=True)
    | st.text(max_size=8)
    | st.sampled_from(
        ["-3 cm", "0 cm", "1e300 m", "1e-300 m", "5 km", "190 deg", "-1 W", "1e-320 umol/s", "LED-B3", "clear"]
    )
)
JUNK = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


def judged(make: Any) -> None:
    problems = None
    try:
        scene = make()
    except SceneError as error:
        problems, text = error.problems, str(error)
    if problems is not None:
        assert problems
        assert len(text.splitlines()) == len(problems)
        assert all(problem.message for problem in problems)
        return
    assert isinstance(scene, Scene)
    assert 0 < tank_uncertainty(scene) < 1
    assert all(row.range_text for row in assumptions(scene))


@CHECKED
@given(
    st.lists(
        st.tuples(st.sampled_from(PLACES), st.sampled_from(["replace", "drop", "add", "rename"]), JUNK),
        min_size=1,
        max_size=3,
    )
)
def test_changed_scenes_never_make_the_reader_stumble(changes: list[tuple[tuple[Any, ...], str, Any]]) -> None:
    data = copy.deepcopy(good_scene())
    for path, how, junk in changes:
        table: Any = data
        try:
            for part in path[:-1]:
                table = table[part]
            if how == "replace":
                table[path[-1]] = junk
            elif how == "drop":
                del table[path[-1]]
            elif how == "add":
                table[path[-1]]["unheard"] = junk
            else:
                table[f"{path[-1]}x"] = table.pop(path[-1])
        except (KeyError, IndexError, TypeError, AttributeError):
            continue  # an earlier change took the place away
    judged(lambda: scene_from_dict(data))


SHIPPED = [file.read_text("utf-8") for file in sorted(SCENES.glob("*.toml"))]


@CHECKED
@given(
    st.sampled_from(SHIPPED), st.floats(0, 1), st.integers(0, 40), st.text(alphabet="[]{}=\"'.,#\n\\ ax09-", max_size=8)
)
def test_mangled_files_never_make_the_reader_stumble(text: str, where: float, cut: int, junk: str) -> None:
    start = int(where * len(text))
    mangled = text[:start] + junk + text[start + cut :]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "tank.toml"
        file.write_text(mangled, "utf-8")
        judged(lambda: load_scene(file))
