"""Read a scene: TOML, its bases, validation, and every problem in one line with its place in the file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from underlit.scene.checks import check_scene
from underlit.scene.errors import SceneError
from underlit.scene.model import Scene
from underlit.scene.problems import problems_of
from underlit.text.problem import KeyPath, Problem
from underlit.text.toml import UnreadableError, read_toml

PATH_KEYS = ("mesh", "file", "photometric_file")

Places = dict[KeyPath, tuple[str, int]]


def load_scene(path: str | Path) -> Scene:
    """Read and check the scene file at ``path``; paths in it are relative to it.

    Raises SceneError with all problems.
    """
    file = Path(path)
    data, places = _read_with_bases(file, ())
    scene = _validated(data, places, str(file))
    scene._path = file
    return scene


def scene_from_dict(data: Mapping[str, Any], *, folder: str | Path = ".") -> Scene:
    """A checked scene from tables and lists as in the file, quantities as texts with units or ``Length``.

    ``folder``: what relative paths, ``base`` among them, are relative to. Raises SceneError with all problems.
    """
    tables = _with_full_paths(_plain(data), Path(folder))
    places: Places = {}
    if isinstance(tables.get("base"), str):
        base, places = _read_with_bases(Path(folder) / tables["base"], ())
        tables, places = _merged(base, places, tables, {})
    return _validated(tables, places, "")


def json_schema() -> dict[str, Any]:
    """The JSON schema of a scene file, for editors."""
    schema = Scene.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "underlit scene"
    # What a base states need not be said again, and a file that is only a base may lack it.
    schema.pop("required", None)
    return schema


def _validated(data: dict[str, Any], places: Places, file: str) -> Scene:
    try:
        scene = Scene.model_validate(data)
    except ValidationError as error:
        raise SceneError(_placed(problems_of(error), places, file)) from None
    found = check_scene(scene)
    if found:
        raise SceneError(_placed(found, places, file))
    return scene


def _placed(problems: list[Problem], places: Places, file: str) -> list[Problem]:
    """The problems with the place of their key, or of the innermost table around it that stands in a file."""
    result = []
    for problem in problems:
        key = problem.key
        while key and key not in places:
            key = key[:-1]
        where, line = places.get(key, (file, 1 if file else 0))
        result.append(Problem(problem.message, problem.key, where, line))
    return sorted(result, key=lambda problem: problem.file == file and problem.line)


def _read_with_bases(file: Path, above: tuple[Path, ...]) -> tuple[dict[str, Any], Places]:
    full = file.resolve()
    if full in above:
        raise SceneError([Problem("its base leads back to itself", ("base",), str(file), 1)])
    data, lines = _read(file)
    places: Places = {key: (str(file), line) for key, line in lines.items()}
    data = _with_full_paths(data, file.parent)
    base = data.get("base")
    if base is None:
        return data, places
    if not isinstance(base, str):
        where = places.get(("base",), (str(file), 1))
        raise SceneError([Problem("must be the name of a scene file", ("base",), *where)])
    if not (file.parent / base).is_file():
        where = places.get(("base",), (str(file), 1))
        raise SceneError([Problem(f"no such scene file (got {base!r})", ("base",), *where)])
    under, under_places = _read_with_bases(file.parent / base, (*above, full))
    return _merged(under, under_places, data, places)


def _read(file: Path) -> tuple[dict[str, Any], dict[KeyPath, int]]:
    try:
        return read_toml(file)
    except UnreadableError as error:
        raise SceneError([error.problem]) from None


def _merged(
    under: dict[str, Any], under_places: Places, over: dict[str, Any], over_places: Places, prefix: KeyPath = ()
) -> tuple[dict[str, Any], Places]:
    """``over`` laid on ``under``: tables merge, everything else, arrays of tables too, replaces."""
    data, places = dict(under), dict(under_places)
    for key, value in over.items():
        path = (*prefix, key)
        if isinstance(value, dict) and isinstance(data.get(key), dict):
            data[key], places = _merged(data[key], places, value, over_places, path)
        else:
            data[key] = value
            depth = len(path)
            places = {known: place for known, place in places.items() if known[:depth] != path}
    if not prefix:
        places.update(over_places)
    return data, places


def _with_full_paths(value: Any, folder: Path, key: str = "") -> Any:
    """The same tables with the paths under ``PATH_KEYS`` taken from ``folder``."""
    if isinstance(value, dict):
        return {name: _with_full_paths(inner, folder, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_with_full_paths(inner, folder) for inner in value]
    if key in PATH_KEYS and isinstance(value, str) and value:
        return str(folder / value)
    return value


def _plain(value: Any) -> Any:
    """Mappings as dicts and tuples as lists, so that a scene in code may use either."""
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    return str(value) if isinstance(value, Path) else value
