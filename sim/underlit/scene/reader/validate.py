"""Check the tables of a scene, whole, and give every problem its place."""

from __future__ import annotations

from pydantic import ValidationError

from underlit.scene.checks.scene import check_scene
from underlit.scene.model import Scene
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.layers import Layer, Place
from underlit.scene.reader.problems import problems_of
from underlit.text.problem import KeyPath, Problem, shown


def validated(layer: Layer, file: str) -> Scene:
    """The scene that the tables make. Raises SceneError with all problems; ``file``: where those without a place stand."""
    try:
        scene = Scene.model_validate(layer.data)
    except ValidationError as error:
        raise SceneError(_placed(problems_of(error), layer, file)) from None
    found = check_scene(scene)
    if found:
        raise SceneError(_placed(found, layer, file))
    scene._entries = tuple(layer.used.values())
    return scene


def _placed(problems: list[Problem], layer: Layer, file: str) -> list[Problem]:
    """The problems with the place of their key, or of the innermost table around it that stands in a file.

    What comes from an entry of the catalogue is sound by itself: then the place is where the scene refers to it.
    """
    result = []
    for problem in problems:
        place = _place_of(problem.key, layer, file)
        message = problem.message
        if place.entry:
            message += f"; that comes from {shown(place.entry)} of the catalogue"
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
