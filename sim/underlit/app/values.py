"""Values of a scene by the path of keys and numbers under which a scene file says them."""

from __future__ import annotations

from typing import Any

from underlit.scene import Scene
from underlit.scene.common import Part
from underlit.scene.keys import alternatives_of

Path = tuple[str | int, ...]


def value_at(scene: Scene, path: Path) -> Any:
    """The value at a path, in SI units; None where nothing stands on the way to it."""
    found: Any = scene
    for key in path:
        if isinstance(key, int):
            found = found[key] if key < len(found) else None
        else:
            found = getattr(found, _field(found, key))
        if found is None:
            return None
    return found


def is_said(scene: Scene, path: Path) -> bool:
    """Whether the scene, or the catalogue entry that it refers to, gives a value, in this way or another."""
    *above, last = path
    holder: Any = scene
    for depth, key in enumerate(above):
        if isinstance(key, str) and _field(holder, key) not in holder.model_fields_set:
            return False
        holder = value_at(scene, path[: depth + 1])
        if holder is None:
            return False
    keys = (str(last), *alternatives_of(holder, str(last)))
    return any(_field(holder, key) in holder.model_fields_set for key in keys)


def _field(part: Part, key: str) -> str:
    """The name of the field that a scene file calls by a key."""
    return next(name for name, field in type(part).model_fields.items() if key in (name, field.alias))
