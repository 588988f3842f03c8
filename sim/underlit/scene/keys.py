"""What the keys of a scene are to each other. The models say it; whoever edits, fills or writes scenes asks here.

Keys are named as in a scene file (``channel``, not ``channels``). ``part`` is a model or one of its instances.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from underlit.scene.common import Part, Role
from underlit.scene.model import Scene
from underlit.scene.named_files import NamedFile
from underlit.text.problem import KeyPath

Held = TypeVar("Held")


def alternatives_of(part: type[Part] | Part, key: str) -> tuple[str, ...]:
    """The other ways to give what a key gives: drop these when the key is set."""
    return tuple(
        other
        for choice in part.one_of
        if any(key in way for way in choice.ways)
        for way in choice.ways
        if key not in way
        for other in way
    )


def replaced_by(part: type[Part], given: Iterable[str]) -> set[str]:
    """The keys that make no sense below, in a base or an entry, where a file gives ``given``."""
    said = set(given)
    dropped = {other for key in said for other in (*alternatives_of(part, key), *part.displaces.get(key, ()))}
    return dropped - said


def keys_with(part: type[Part] | Part, role: Role) -> tuple[str, ...]:
    """The keys of a part that bear a role, in the order of the model."""
    return tuple(key for key, field in part.scene_fields().items() if role in field.metadata)


def running_keys(part: type[Part] | Part) -> tuple[str, ...]:
    """The keys of a fixture or channel that say how bright it runs, and when."""
    return keys_with(part, Role.RUNS)


def hanging_keys(part: type[Part] | Part) -> tuple[str, ...]:
    """The keys of a fixture that say where it hangs and which way it is turned."""
    return keys_with(part, Role.HANGS)


def former_names(part: type[Part] | Part, key: str) -> tuple[str, ...]:
    """The names that a key had before; files may still use them."""
    return tuple(old for old, new in part.renamed.items() if new == key)


def keys_at(path: KeyPath) -> list[str]:
    """The keys that a scene file may use in the table at a path; none where there can be no table."""
    model = model_at(path)
    return [] if model is None else list(model.scene_fields())


def model_at(path: KeyPath) -> type[Part] | None:
    """The model of the table at a path of keys and numbers, such as ``("fixture", 0, "lens")``."""
    model: type[Part] | None = Scene
    for part in path:
        if isinstance(part, int) or model is None:
            continue
        model = table_in(model, part)
    return model


def table_in(model: type[Part], key: str) -> type[Part] | None:
    """The model of the table, or of each of the tables, that a key of a part holds; None where it holds a plain value."""
    field = model.scene_fields().get(key)
    return None if field is None else _model_in(field.annotation)


@cache
def lists_of_tables() -> tuple[str, ...]:
    """The keys of a scene that hold several tables, each under ``[[key]]``."""
    return tuple(
        key
        for key, field in Scene.scene_fields().items()
        if get_origin(field.annotation) is tuple and _model_in(field.annotation) is not None
    )


@cache
def path_keys() -> frozenset[str]:
    """The keys, wherever they stand, that name a file; the base of a scene is not among them."""
    return frozenset(
        key
        for model in models()
        for key, field in model.scene_fields().items()
        if file_type(model, key) is not None or _held(field.annotation, Path)
    )


@cache
def models() -> tuple[type[Part], ...]:
    """The models of all tables of a scene, the scene's own first."""
    found: list[type[Part]] = [Scene]
    for model in found:
        inside = (table_in(model, key) for key in model.scene_fields())
        found += [inner for inner in dict.fromkeys(inside) if inner is not None and inner not in found]
    return tuple(found)


def file_type(model: type[Part], key: str) -> type[NamedFile[Any]] | None:
    """What kind of file a key of a part names, for the reader to read; None where it names none."""
    field = model.scene_fields().get(key)
    return None if field is None else next(iter(_held(field.annotation, NamedFile)), None)


def _model_in(annotation: object) -> type[Part] | None:
    return next(iter(_held(annotation, Part)), None)


def _held(annotation: object, wanted: type[Held]) -> list[type[Held]]:
    """The types in an annotation that are of a kind."""
    if isinstance(annotation, type) and issubclass(annotation, wanted):
        return [annotation]
    return [found for inner in get_args(annotation) for found in _held(inner, wanted)]
