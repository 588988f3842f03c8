"""Keys that have a new name: files may still use the former one, and are told so in one line."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from underlit.scene.common import Part
from underlit.scene.keys import model_at, table_in
from underlit.scene.notices import RenamedKey
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.layers import Layer
from underlit.text.problem import KeyPath, Problem


def with_new_names(layer: Layer, path: KeyPath = ()) -> Layer:
    """The layer with every key under its present name, in the table at ``path`` and all tables inside.

    Raises SceneError where a table has a key under both names.
    """
    walk = _Walk(layer)
    data = walk.table(layer.data, path, model_at(path))
    if walk.problems:
        raise SceneError(walk.problems)
    places = dict(layer.places)
    for one in sorted(walk.found, key=lambda found: -len(found.key)):
        places = {_moved(key, one): place for key, place in places.items()}
    return replace(layer, data=data, places=places, renamed=(*layer.renamed, *walk.found))


def _moved(key: KeyPath, renamed: RenamedKey) -> KeyPath:
    depth = len(renamed.key)
    return (*renamed.key[:-1], renamed.new, *key[depth:]) if key[:depth] == renamed.key else key


class _Walk:
    """Goes through the tables of a layer and notes the keys under former names, by their paths in the file."""

    def __init__(self, layer: Layer) -> None:
        self.places = layer.places
        self.found: list[RenamedKey] = []
        self.problems: list[Problem] = []

    def table(self, value: Any, path: KeyPath, model: type[Part] | None) -> Any:
        """The value at a path with new names in its tables; ``model`` is that of the table."""
        if isinstance(value, list):
            return [self.table(inner, (*path, index), model) for index, inner in enumerate(value)]
        if not isinstance(value, dict) or model is None:
            return value
        result: dict[str, Any] = {}
        for key, inner in value.items():
            here, new = (*path, key), model.renamed.get(key, key)
            if new != key:
                self._note(here, new, twice=new in value)
            result[new] = self.table(inner, here, table_in(model, new))
        return result

    def _note(self, key: KeyPath, new: str, *, twice: bool) -> None:
        place = self.places.get(key)
        where = ("", 0) if place is None else (place.file, place.line)
        if twice:
            said = f"is given twice ({key[-1]}, {new}): remove {key[-1]}, the former name"
            self.problems.append(Problem(said, key, *where))
        self.found.append(RenamedKey(key, new, *where))
