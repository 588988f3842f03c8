"""Another tank's place in a `World`: what is added lies moved, under names of its own, and leaves maps and planes alone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from underlit.lowering.world import Grid, Mesh, World

SHARED = frozenset(["past the tank"])
"""Ledger lines that are the room's, not one tank's."""
KEYS_OF_ONE_TANK = 2**40
"""Random-number keys of a tank's sources stay below this."""


def of_tank(tank: str, name: str) -> str:
    """What a part of another tank of the rack is called."""
    return f"{tank}: {name}"


def has_the_map(bed: Mesh) -> bool:
    """Whether a bed or terrace is the scene's own tank's, the one with a map; those of other tanks count face by face."""
    return re.search(of_tank("", r"(substrate|terrace \d+)$"), bed.name) is None


class PlacedWorld(World):
    """A tank's corner of a world: everything goes into the world itself, moved by an offset (3,) [m] and named after it."""

    def __init__(self, world: World, name: str, offset: Sequence[float], number: int) -> None:
        self._into, self._tank, self._offset = world, name, np.asarray(offset, dtype=np.float64)
        self._first_key = (number + 1) * KEYS_OF_ONE_TANK
        self._sources_before = len(world._sources)
        self.notes = []

    def _named(self, name: str) -> str:
        return name if name in SHARED else of_tank(self._tank, name)

    def _renamed(self, keywords: dict[str, Any], *keys: str) -> dict[str, Any]:
        return keywords | {key: self._named(keywords[key]) for key in keys if keywords.get(key) is not None}

    def tell_notes(self) -> None:
        """Pass on what was noted of this tank, under its name."""
        self._into.notes.extend(self._named(note) for note in self.notes)

    def bucket(self, name: str) -> int:
        """Ledger line of that name, the tank's own."""
        return self._into.bucket(self._named(name))

    def medium(self, name: str, *args: Any, **keywords: Any) -> int:
        """A medium of this tank."""
        return self._into.medium(self._named(name), *args, **keywords)

    def opaque(self, name: str, *args: Any, **keywords: Any) -> int:
        """An opaque surface of this tank."""
        return self._into.opaque(self._named(name), *args, **self._renamed(keywords, "bucket"))

    def leaf(self, name: str, *args: Any, **keywords: Any) -> int:
        """A leaf surface of this tank."""
        return self._into.leaf(self._named(name), *args, **self._renamed(keywords, "bucket"))

    def interface(self, name: str, *args: Any, **keywords: Any) -> int:
        """An interface between media of this tank, or one and the room's air."""
        return self._into.interface(self._named(name), *args, **self._renamed(keywords, "bucket", "exit"))

    def part(self, name: str) -> int:
        """Index of a part of this tank."""
        return self._into.part(self._named(name))

    def add_mesh(self, part: str, vertices: np.ndarray, faces: np.ndarray, surface: int, **keywords: Any) -> None:
        """Triangles of this tank, given in its frame [m]."""
        self._into.add_mesh(
            self._named(part), vertices + self._offset, faces, surface, **self._renamed(keywords, "name")
        )

    def add_template(self, vertices: np.ndarray, faces: np.ndarray, surface: int) -> int:
        """A mesh kept once, to be placed by `add_instances`."""
        return self._into.add_template(vertices, faces, surface)

    def add_instances(self, part: str, template: int, origins: np.ndarray, *args: Any, **keywords: Any) -> None:
        """Copies of a template, placed in this tank's frame [m]."""
        self._into.add_instances(self._named(part), template, origins + self._offset, *args, **keywords)

    def add_source(self, name: str, positions: Any, **keywords: Any) -> int:
        """A source of this tank's lights; its random numbers are its own."""
        key = keywords.pop("key", None)
        if key is None:
            key = len(self._into._sources) - self._sources_before
        keywords = self._renamed(keywords, "fixture", "exit")
        moved = np.asarray(positions, dtype=np.float64) + self._offset
        return self._into.add_source(self._named(name), moved, key=self._first_key + key, **keywords)

    def add_head(self, name: str, centre: Sequence[float], **keywords: Any) -> int:
        """A meter head in this tank."""
        return self._into.add_head(self._named(name), (np.asarray(centre) + self._offset).tolist(), **keywords)

    def add_surface_zone(self, name: str, part: str, **keywords: Any) -> int:
        """A zone on a part of this tank."""
        return self._into.add_surface_zone(self._named(name), self._named(part), **self._moved(keywords))

    def add_height_zone(self, name: str, z: float, **keywords: Any) -> int:
        """A zone at a height over this tank's bottom [m]."""
        return self._into.add_height_zone(self._named(name), z + float(self._offset[2]), **self._moved(keywords))

    def _moved(self, keywords: dict[str, Any]) -> dict[str, Any]:
        outline = keywords.get("outline")
        return keywords if outline is None else keywords | {"outline": np.asarray(outline) + self._offset[:2]}

    def add_planes(self, grid: Grid) -> None:
        """Light planes are those of the scene's own tank."""

    def add_map(self, part: str, grid: Grid) -> None:
        """The map of the bed is that of the scene's own tank."""
