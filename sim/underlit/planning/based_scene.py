"""Scene files that are written for people: a scene as the base, and the tables that changed.

Tables of a base are merged but arrays of tables replaced, so fixtures are written out whole.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from underlit.scene import Scene
from underlit.scene.keys import path_keys
from underlit.text.file_name import named_for
from underlit.text.toml import read_toml
from underlit.text.toml_writer import toml_text


def based_scene(base: Path, out: Path, tables: dict[str, Any], note: str = "") -> str:
    """The text of a scene file at `out` on a base; note: lines for people at its top."""
    said = "".join(f"# {line}\n" for line in note.splitlines())
    return said + toml_text({"base": relative(base, out.parent), **tables})


def rack_places(rack: Scene, changed: Iterable[int], out: Path) -> dict[int, Path]:
    """Where the files of a rack go of which some tanks change, by number of the tank: its own, always there, to `out`."""
    return {0: out} | {k: out.with_stem(named_for(out.stem, rack.rack[k - 1].name)) for k in sorted(changed) if k > 0}


def rack_texts(rack: Scene, changed: Mapping[int, dict[str, Any]], out: Path, note: str = "") -> dict[Path, str]:
    """The texts of those files, each on the file of its tank as base; that of the rack names the changed ones.

    rack: the scene as its file says it; changed: tables by number of the tank. ValueError where a scene was not read from a
    file.
    """
    places, texts = rack_places(rack, changed, out), {}
    for number, path in places.items():
        base = rack.tank_scenes[number].path
        if base is None:
            raise ValueError("the scene was not read from a file, so nothing can be based on it")
        tables = dict(changed.get(number, {}))
        if number == 0 and len(places) > 1:
            tables["rack"], _ = array_tables(base, out.parent, "rack")
            for other in [k for k in places if k > 0]:
                tables["rack"][other - 1]["file"] = places[other].name
        texts[path] = based_scene(base, path, tables, note)
    return texts


def array_tables(path: Path, to: Path, key: str = "fixture") -> tuple[list[dict[str, Any]], Path]:
    """The tables of a key (fixture, rack) in the topmost file that has any, paths in them as seen from the folder `to`; and
    that file.
    """
    data, _ = read_toml(path)
    if isinstance(data.get(key), list):
        return [_moved(table, path.parent, to) for table in data[key]], path
    return array_tables(path.parent / data["base"], to, key)


def _moved(value: Any, folder: Path, to: Path, key: str = "") -> Any:
    """The same tables with their paths, relative to `folder`, made relative to `to`."""
    if isinstance(value, dict):
        return {name: _moved(inner, folder, to, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_moved(inner, folder, to) for inner in value]
    return relative(folder / value, to) if key in path_keys() and isinstance(value, str) and value else value


def relative(path: Path, folder: Path) -> str:
    """A path as seen from a folder, with forward slashes; absolute where they are on different drives."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()
