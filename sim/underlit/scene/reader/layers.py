"""Tables of a scene laid on each other: a file on its base, and both on the entries of the catalogue they refer to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from underlit.text.problem import KeyPath

PATH_KEYS = ("mesh", "file", "photometric_file")

ALTERNATIVES: dict[str, tuple[tuple[tuple[str, ...], ...], ...]] = {
    "tank": ((("nominal_size",), ("inside_size",), ("outline", "height"), ("inside", "outside")),),
    "water": ((("below_rim",), ("above_bottom",)),),
    "tannin": ((("name",), ("a440_per_m",)),),
    "cloudiness": ((("name",), ("scattering_per_m",)),),
    "lid": ((("pane",), ("sliding",), ("hinged",)),),
    "substrate": ((("depth",), ("front_depth", "back_depth"), ("heights",)),),
    "heights": ((("rows",), ("file",)),),
    "fixture": (
        (("above_rim",), ("above_water",)), (("length",), ("size",)), (("clip",), ("position",)),
        (("leds",), ("cluster",)), (("photoperiod",), ("schedule",)), (("dimming",), ("step",)),
    ),
    "leds": ((("rows", "columns", "row_pitch", "column_pitch"), ("rings",), ("pattern",)),),
    "lens": ((("name",), ("beam_angle",), ("cone",), ("table",)),),
    "output": ((("efficacy",), ("ppf",), ("lumens",), ("reads", "below", "under_water"), ("reading",)),),
    "wood": ((("shape", "size"), ("mesh", "unit")),),
    "stone": ((("shape", "size"), ("mesh", "unit")),),
    "plants": (
        (("outline",), ("rectangle",), ("circle",)), (("density",), ("leaf_area",), ("cover",), ("spacing",)),
        (("band",), ("need",), ("needs",)),
    ),
    "zone": (
        (("outline",), ("rectangle",), ("circle",), ("plants",), ("hardscape",)), (("band",), ("need",), ("for",)),
    ),
    "for": ((("need",), ("band",)),),
    "needs": ((("need",), ("band",)),),
}  # fmt: skip
"""Keys of a table that say the same thing in different ways: the way said above replaces the ways said below."""

_SHAPE_KEYS = ("shape", "bow", "side_pane", "room_corner")
DISPLACES: dict[str, dict[str, tuple[str, ...]]] = {
    "tank": {
        "shape": _SHAPE_KEYS[1:],
        "outline": _SHAPE_KEYS,
        "inside": (*_SHAPE_KEYS, "glass_thickness", "bottom_thickness", "rim", "brace", "euro_brace"),
    },
    "fixture": {"photometric_file": ("leds", "lens", "cluster", "optic", "reflector", "form")},
}
"""Keys of a table that, said above, leave no sense to others said below."""


class Place(NamedTuple):
    """Where a key stands; ``entry`` names the entry of the catalogue that it came from, empty for a scene's own."""

    file: str
    line: int
    entry: str = ""


Places = dict[KeyPath, Place]


@dataclass(frozen=True)
class UsedEntry:
    """An entry that a scene refers to, and from where."""

    key: KeyPath
    kind: str
    name: str
    file: Path
    own: bool
    hides_shipped: bool

    @property
    def note(self) -> str:
        """What to tell of it: that a user's own entry stands in for a shipped one. Empty where there is nothing."""
        if not self.hides_shipped:
            return ""
        return f'{self.kind} "{self.name}" is your own entry in {self.file}; the shipped one of that name is not used'


@dataclass
class Layer:
    """Tables, where their keys stand, and the entries they were filled from, by the table they fill."""

    data: dict[str, Any]
    places: Places = field(default_factory=dict)
    used: dict[KeyPath, UsedEntry] = field(default_factory=dict)


def laid_on(under: Layer, over: Layer) -> Layer:
    """``over`` on ``under``: tables merge, everything else, arrays of tables too, replaces.

    A table that refers to an entry drops what the same table below was filled with from another.
    """
    below = Layer(under.data, dict(under.places), dict(under.used))
    data = merged(below, over, below.data, over.data, ())
    return Layer(data, below.places | over.places, below.used | over.used)


def merged(below: Layer, above: Layer, low: dict[str, Any], high: dict[str, Any], path: KeyPath) -> dict[str, Any]:
    """The table ``high`` on the table ``low``, both at ``path``; what is replaced is forgotten in ``below``."""
    result = _without_entry(below, low, path) if path in above.used else dict(low)
    for key in _replaced_ways(path, high):
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


def _replaced_ways(path: KeyPath, high: Mapping[str, Any]) -> list[str]:
    """Keys that have no place below what ``high`` says."""
    table = next((part for part in reversed(path) if isinstance(part, str)), "")
    replaced = [key for said, keys in DISPLACES.get(table, {}).items() if said in high for key in keys]
    for ways in ALTERNATIVES.get(table, ()):
        if any(key in high for way in ways for key in way):
            replaced += [key for way in ways if not any(key in high for key in way) for key in way]
    return replaced


def _without_entry(below: Layer, low: dict[str, Any], path: KeyPath) -> dict[str, Any]:
    """The table without what an entry filled in; a table stays where the scene itself says something in it."""
    kept: dict[str, Any] = {}
    for key, value in low.items():
        here = (*path, key)
        from_entry = bool(below.places.get(here, Place("", 0)).entry)
        if from_entry and isinstance(value, dict):
            value = _without_entry(below, value, here)
            from_entry = not value
        if from_entry:
            _forget(below, here)
        else:
            kept[key] = value
    return kept


def _forget(layer: Layer, path: KeyPath) -> None:
    depth = len(path)
    for table in (layer.places, layer.used):
        for key in [key for key in table if key[:depth] == path]:
            del table[key]


def with_full_paths(value: Any, folder: Path, key: str = "") -> Any:
    """The same tables with the paths under ``PATH_KEYS`` taken from ``folder``."""
    if isinstance(value, dict):
        return {name: with_full_paths(inner, folder, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [with_full_paths(inner, folder) for inner in value]
    if key in PATH_KEYS and isinstance(value, str) and value:
        return str(folder / value)
    return value
