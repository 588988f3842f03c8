"""Check the tables of a scene, whole, and give every problem its place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from underlit.scene.checks.scene import check_scene
from underlit.scene.model import Scene
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.files import file_faults, with_files
from underlit.scene.reader.layers import Layer, Place
from underlit.scene.reader.problems import problems_of
from underlit.scene.standing import measured_notes
from underlit.scene.tank.water import Water
from underlit.text.problem import KeyPath, Problem, shown

OWN_RACK = "a scene that has a rack itself cannot stand in a rack"


def validated(layer: Layer, file: str, read_tank: Callable[[Path], Scene] | None = None) -> Scene:
    """The scene that the tables make. Raises SceneError with all problems.

    ``file``: where problems without a place stand; ``read_tank`` reads the scene file of another tank of a rack and raises
    SceneError where it cannot be used.
    """
    data = with_files(layer.data, Scene)
    try:
        scene = Scene.model_validate(data, context={"water": _water(data)})
    except ValidationError as error:
        raise SceneError(_placed(_with_faults(problems_of(error), data), layer, file)) from None
    found = _with_faults([*_read_rack(scene, read_tank), *check_scene(scene)], data)
    if found:
        raise SceneError(_placed(found, layer, file))
    scene._entries, scene._renamed = tuple(layer.used.values()), layer.renamed
    scene._not_as_measured = tuple(measured_notes(scene))
    scene._pane_rule = scene.pane_rule  # a copy without its zones or plants is still of this tank
    return scene


def _water(data: dict[str, Any]) -> Water:
    """The water of a scene, in which its lights were read under water; the usual one as long as there are faults in it."""
    try:
        return Water.model_validate(data.get("water", {}))
    except ValidationError:
        return Water()


def _with_faults(found: list[Problem], data: dict[str, Any]) -> list[Problem]:
    """The problems, and one for each file that could not be read and that none of them tells."""
    told = {problem.key for problem in found}
    return [*found, *(fault for fault in file_faults(data) if fault.key not in told)]


def _read_rack(scene: Scene, read_tank: Callable[[Path], Scene] | None) -> list[Problem]:
    """Put the scene of each other tank of a rack in its place; returns what keeps one from being read."""
    problems = []
    for index, tank in enumerate(scene.rack):
        where: KeyPath = ("rack", index, "file")
        if read_tank is None:
            problems.append(Problem(OWN_RACK, where))
        elif not tank.file.is_file():
            problems.append(Problem(f"no such scene file (got {shown(str(tank.file))})", where))
        else:
            try:
                tank._scene = read_tank(tank.file)
            except SceneError as error:
                said = f"that scene cannot be used: {error.problems[0]} (got {shown(str(tank.file))})"
                problems.append(Problem(said, where))
    return problems


def _placed(problems: list[Problem], layer: Layer, file: str) -> list[Problem]:
    """The problems with the place of their key, or of the innermost table around it that stands in a file.

    An entry of the catalogue is sound by itself: a problem with what it sets stands where the scene refers to it.
    """
    result = []
    for problem in problems:
        place = _place_of(problem.key, layer, file)
        message = problem.message
        if place.entry:
            message += f"; this comes from {shown(place.entry)} of the catalogue"
            place = _reference(problem.key, layer, file)
        result.append(Problem(message, problem.key, place.file, place.line))
    return sorted(result, key=lambda problem: problem.file == file and problem.line)


def _place_of(key: KeyPath, layer: Layer, file: str) -> Place:
    while key and key not in layer.places:
        key = key[:-1]
    return layer.places.get(key, Place(file, 1 if file else 0))


def _reference(key: KeyPath, layer: Layer, file: str) -> Place:
    while key and key not in layer.used:
        key = key[:-1]
    return _place_of((*key, "from"), layer, file)
