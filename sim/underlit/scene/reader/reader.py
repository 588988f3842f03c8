"""Read a scene: TOML, its bases, the catalogue's entries it refers to, and every problem in one line with its place."""

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
from underlit.scene.reader.validate import validated
from underlit.text.problem import KeyPath, Problem
from underlit.text.toml import UnreadableError, read_toml


def load_scene(path: str | Path) -> Scene:
    """Read and check the scene file at ``path``; paths in it are relative to it.

    Raises SceneError with all problems.
    """
    file = Path(path)
    catalogue = cache(load_catalogue)
    layer = _read_with_bases(file, (), catalogue)
    _check_own_entries(layer, catalogue)
    scene = validated(layer, str(file))
    scene._path = file
    return scene


def scene_from_dict(data: Mapping[str, Any], *, folder: str | Path = ".") -> Scene:
    """A checked scene from tables and lists as in the file, quantities as texts with units or ``Length``.

    ``folder``: what relative paths, ``base`` among them, are relative to. Raises SceneError with all problems.
    """
    catalogue = cache(load_catalogue)
    layer = filled(Layer(with_full_paths(_plain(data), Path(folder))), catalogue)
    if isinstance(layer.data.get("base"), str):
        layer = laid_on(_read_with_bases(Path(folder) / layer.data["base"], (), catalogue), layer)
    _check_own_entries(layer, catalogue)
    return validated(layer, "")


def json_schema() -> dict[str, Any]:
    """The JSON schema of a scene file, for editors."""
    schema = Scene.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "underlit scene"
    # What a base states need not be said again, and a file that is only a base may lack it.
    schema.pop("required", None)
    for kind in Kind:
        _may_refer(schema["$defs"][kind.capitalize()], kind)
    needs = schema["$defs"]["Needs"]
    _may_refer(needs, Kind.PLANTS)
    zone = schema["$defs"]["Zone"]["properties"]
    zone[FOR] = {**zone[FOR], "anyOf": [{"type": "string"}, *zone[FOR]["anyOf"]]}
    return schema


def _may_refer(table: dict[str, Any], kind: Kind) -> None:
    """Give a table of the schema the key that refers to an entry, which may say what is otherwise required."""
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
        raise SceneError([Problem("its base leads back to itself", ("base",), str(file), 1)])
    data, lines = _read(file)
    places = {key: Place(str(file), line) for key, line in lines.items()}
    layer = filled(Layer(with_full_paths(data, file.parent), places), catalogue)
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
