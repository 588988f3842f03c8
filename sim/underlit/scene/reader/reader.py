"""Read a scene: TOML, its bases, the entries of the catalogue, the other tanks of a rack, and every problem in one line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from underlit.catalogue import Catalogue, Kind, load_catalogue
from underlit.scene.model import Scene
from underlit.scene.reader.entries import FOR, FROM, filled
from underlit.scene.reader.entry_check import scene_around
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.layers import Layer, Place, laid_on, with_full_paths
from underlit.scene.reader.renamed import with_new_names
from underlit.scene.reader.validate import validated
from underlit.text.problem import KeyPath, Problem
from underlit.text.toml import UnreadableError, read_toml


def load_scene(path: str | Path) -> Scene:
    """Read and check the scene file at a path, TOML; all lengths in metres, angles in radians.

    Paths in it are relative to its folder. `Scene.notes` says what people should know about it. SceneError with all
    problems of the file, its bases, its rack and the entries it refers to, one line each.
    """
    return _load(Path(path), _load_in_rack)


def _load_in_rack(path: Path) -> Scene:
    """Read the scene of another tank of a rack; it may have no rack itself."""
    return _load(path, None)


def _load(file: Path, read_tank: Callable[[Path], Scene] | None) -> Scene:
    catalogue = cache(load_catalogue)
    layer = _read_with_bases(file, (), catalogue)
    _check_own_entries(layer, catalogue)
    scene = validated(layer, str(file), read_tank)
    scene._path = file
    return scene


def scene_from_dict(data: Mapping[str, Any], *, folder: str | Path = ".") -> Scene:
    """A checked scene from data as in a scene file: tables, lists, and texts with units ("36 in") or `Length`.

    Paths in it, that of its ``base`` too, are relative to the folder; its ``path`` is None. SceneError with all
    problems, one line each.
    """
    catalogue = cache(load_catalogue)
    layer = filled(with_new_names(Layer(with_full_paths(_plain(data), Path(folder)))), catalogue)
    if isinstance(layer.data.get("base"), str):
        layer = laid_on(_read_with_bases(Path(folder) / layer.data["base"], (), catalogue), layer)
    _check_own_entries(layer, catalogue)
    return validated(layer, "", _load_in_rack)


def json_schema() -> dict[str, Any]:
    """The JSON schema of a scene file, for editors."""
    schema = Scene.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "underlit scene"
    # A file need not repeat what its base gives, and a file that is only a base may lack it.
    schema.pop("required", None)
    for kind in Kind:
        _may_refer(schema["$defs"][kind.capitalize()], kind)
    needs = schema["$defs"]["Needs"]
    _may_refer(needs, Kind.PLANTS)
    zone = schema["$defs"]["Zone"]["properties"]
    zone[FOR] = {**zone[FOR], "anyOf": [{"type": "string"}, *zone[FOR]["anyOf"]]}
    return schema


def _may_refer(table: dict[str, Any], kind: Kind) -> None:
    """Give a table of the schema the key that refers to an entry, which may give what is otherwise required."""
    said = f"the name of an entry of the catalogue; `underlit catalogue {kind}` lists them"
    table["properties"][FROM] = {"type": "string", "description": said}
    required = table.pop("required", None)
    if required:
        table["anyOf"] = [{"required": [FROM]}, {"required": required}]


def _check_own_entries(layer: Layer, catalogue: Callable[[], Catalogue]) -> None:
    """Raise SceneError for what is wrong with a user's own entries that the scene refers to."""
    for used in layer.used.values():
        entry = catalogue().find(Kind(used.kind), used.name) if used.own else None
        if entry is not None:
            scene_around(entry, catalogue())


def _read_with_bases(file: Path, above: tuple[Path, ...], catalogue: Callable[[], Catalogue]) -> Layer:
    full = file.resolve()
    if full in above:
        raise SceneError([Problem("its base refers back to it: name another file", ("base",), str(file), 1)])
    data, lines = _read(file)
    places = {key: Place(str(file), line) for key, line in lines.items()}
    layer = filled(with_new_names(Layer(with_full_paths(data, file.parent), places)), catalogue)
    base = data.get("base")
    if base is None:
        return layer
    where = places.get(("base",), Place(str(file), 1))
    if not isinstance(base, str):
        raise SceneError([Problem("must be the name of a scene file", ("base",), where.file, where.line)])
    if not (file.parent / base).is_file():
        raise SceneError([Problem(f"no such scene file (got {base!r})", ("base",), where.file, where.line)])
    return laid_on(_read_with_bases(file.parent / base, (*above, full), catalogue), layer)


def _read(file: Path) -> tuple[dict[str, Any], dict[KeyPath, int]]:
    try:
        return read_toml(file)
    except UnreadableError as error:
        raise SceneError([error.problem]) from None


def _plain(value: Any) -> Any:
    """Mappings as dicts and tuples as lists, so that a scene in code may use either."""
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    return str(value) if isinstance(value, Path) else value
