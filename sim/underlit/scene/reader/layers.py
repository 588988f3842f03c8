"""Tables of a scene laid on each other: a file on its base, and both on the entries of the catalogue to which they refer."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from underlit.scene.keys import model_at, path_keys, replaced_by
from underlit.scene.notices import RenamedKey, UsedEntry
from underlit.text.problem import KeyPath


class Place(NamedTuple):
    """Where a key stands; ``entry`` names the entry of the catalogue that it came from, empty for the keys of a scene."""

    file: str
    line: int
    entry: str = ""


Places = dict[KeyPath, Place]


@dataclass
class Layer:
    """Tables, where their keys stand, the entries that filled them, by the table filled, and keys under former names."""

    data: dict[str, Any]
    places: Places = field(default_factory=dict)
    used: dict[KeyPath, UsedEntry] = field(default_factory=dict)
    renamed: tuple[RenamedKey, ...] = ()


def laid_on(under: Layer, over: Layer) -> Layer:
    """``over`` on ``under``: tables merge, everything else, arrays of tables too, replaces.

    A table that refers to an entry drops what the same table below was filled with from another.
    """
    below = Layer(under.data, dict(under.places), dict(under.used))
    data = merged(below, over, below.data, over.data, ())
    return Layer(data, below.places | over.places, below.used | over.used, under.renamed + over.renamed)


def merged(below: Layer, above: Layer, low: dict[str, Any], high: dict[str, Any], path: KeyPath) -> dict[str, Any]:
    """The table ``high`` on the table ``low``, both at ``path``; what is replaced is forgotten in ``below``."""
    result = _without_entry(below, low, path) if path in above.used else dict(low)
    model = model_at(path)
    for key in () if model is None else replaced_by(model, high):
        if key in result:
            del result[key]
            _forget(below, (*path, key))
    for key, value in high.items():
        here = (*path, key)
        if isinstance(value, dict) and isinstance(result.get(key), dict):
            result[key] = merged(below, above, result[key], value, here)
        else:
            result[key] = value
            _forget(below, here)
    return result


def _without_entry(below: Layer, low: dict[str, Any], path: KeyPath) -> dict[str, Any]:
    """The table without what an entry filled in; a table stays where the scene itself says something in it."""
    result: dict[str, Any] = {}
    for key, value in low.items():
        here = (*path, key)
        from_entry = bool(below.places.get(here, Place("", 0)).entry)
        if from_entry and isinstance(value, dict):
            value = _without_entry(below, value, here)
            from_entry = not value
        if from_entry:
            _forget(below, here)
        else:
            result[key] = value
    return result


def _forget(layer: Layer, path: KeyPath) -> None:
    depth = len(path)
    for table in (layer.places, layer.used):
        for key in [key for key in table if key[:depth] == path]:
            del table[key]


def with_full_paths(value: Any, folder: Path, key: str = "") -> Any:
    """The same tables with the paths of files taken from ``folder``."""
    if isinstance(value, dict):
        return {name: with_full_paths(inner, folder, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [with_full_paths(inner, folder) for inner in value]
    if key in path_keys() and isinstance(value, str) and value:
        return str(folder / value)
    return value
