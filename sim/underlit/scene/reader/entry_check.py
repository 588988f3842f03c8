"""Whether an entry of the catalogue is sound: a small scene is built around it and checked as any other."""

from __future__ import annotations

from typing import Any

from underlit.catalogue import Catalogue, Entry, Kind, Origin
from underlit.scene.keys import lists_of_tables
from underlit.scene.model import Scene
from underlit.scene.reader.entries import filled
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.layers import Layer, Place
from underlit.scene.reader.validate import validated
from underlit.text.problem import Problem

_ROOM = {"inside_size": ["1.5 m", "60 cm", "60 cm"]}
_PATCH = [["20 cm", "10 cm"], ["40 cm", "30 cm"]]
_ROOT = {"name": "root of the check", "shape": "branching", "size": ["30 cm", "15 cm", "15 cm"], "at": ["1 m", "30 cm"]}
_LAMP = {"name": "lamp of the check", "length": "10 cm", "output": {"watts": "9 W"}, "above_rim": "1 m"}
_ON_WOOD = "epiphytes"
_WITH_HEIGHT = ("carpet", "stems", "rosettes")


def scene_around(entry: Entry, catalogue: Catalogue) -> Scene:
    """A small scene, with a lamp, that holds the entry and gives what an entry may leave to a scene.

    Raises SceneError with what is wrong with the entry, placed in its own file.
    """
    kind = str(entry.kind)
    many = kind in lists_of_tables()
    reference = {"from": entry.name}
    data: dict[str, Any] = {"tank": _ROOM, "fixture": [_LAMP], kind: [reference] if many else reference}
    if entry.kind is Kind.TANK:
        data |= {"substrate": {"depth": "0 cm"}, "water": {"below_rim": "1 cm"}}
    if entry.kind is Kind.PLANTS:
        data["wood"] = [_ROOT]
        if entry.needs:
            data["zone"] = [{"name": "zone", "rectangle": _PATCH, "for": entry.name}]
    try:
        layer = filled(Layer(data), lambda: catalogue)
        if many:
            layer.data[kind] = [_left_to_scenes(entry.kind, layer.data[kind][0]) | layer.data[kind][0]]
        # Here the entry itself may be wrong: its keys stand in its own file, and nothing refers to it.
        places = {key: Place(place.file, place.line) for key, place in layer.places.items()}
        return validated(Layer(layer.data, places), "")
    except SceneError as error:
        raise SceneError([_named(entry, problem) for problem in error.problems]) from None


def checked(catalogue: Catalogue) -> Catalogue:
    """The same catalogue, where own entries that are not sound became problems, one line for each."""
    entries, problems = [], list(catalogue.problems)
    for entry in catalogue.entries:
        try:
            if entry.origin is Origin.OWN:
                scene_around(entry, catalogue)
        except SceneError as error:
            problems.append(error.problems[0])
        else:
            entries.append(entry)
    return Catalogue(tuple(entries), tuple(problems))


def _left_to_scenes(kind: Kind, said: dict[str, Any]) -> dict[str, Any]:
    """What a scene gives of a piece where the entry does not, such as its place."""
    if kind is Kind.FIXTURE:
        if "photometric_file" in said:
            return {} if "length" in said else {"size": ["30 cm", "20 cm", "5 cm"]}
        return {"output": {"watts": "9 W"}}
    if kind is not Kind.PLANTS or said.get("kind") == "mesh":
        return {"at": ["75 cm", "30 cm"]}
    height = {"height": "5 cm"} if said.get("kind") in _WITH_HEIGHT else {}
    return height | ({"on": _ROOT["name"]} if said.get("kind") == _ON_WOOD else {"rectangle": _PATCH})


def _named(entry: Entry, problem: Problem) -> Problem:
    place = (problem.file, problem.line) if problem.file else (str(entry.file), entry.line)
    return Problem(f"{problem.message} (in the entry {entry.name!r})", problem.key, *place)
