"""Read the files that a scene names, before its tables are checked: the one place that opens them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from underlit.photometry.files import read_photometry
from underlit.scene.common import Part
from underlit.scene.keys import file_type, table_in
from underlit.scene.named_files import MeshFile, NamedFile, NumberFile, PhotometricFile
from underlit.scene.reader.mesh_file import read_mesh
from underlit.spectra.number_table import read_number_table
from underlit.text.problem import KeyPath, Problem, shown

READERS: dict[type[NamedFile[Any]], Callable[[Path], Any]] = {
    NumberFile: read_number_table,
    MeshFile: read_mesh,
    PhotometricFile: read_photometry,
}
MOST_KEPT = 32
"""Files that are kept: whoever edits a scene reads it again at every step."""


def with_files(value: Any, model: type[Part] | None) -> Any:
    """The same tables with each name of a file replaced by the file as it was read; ``model`` is that of the table."""
    if isinstance(value, list):
        return [with_files(inner, model) for inner in value]
    if not isinstance(value, dict) or model is None:
        return value
    read = {}
    for key, inner in value.items():
        kind = file_type(model, key)
        if kind is not None and isinstance(inner, str):
            read[key] = _file(kind, Path(inner))
        else:
            read[key] = with_files(inner, table_in(model, key))
    return read


def file_faults(value: Any, path: KeyPath = ()) -> Iterator[Problem]:
    """A problem for each file in the tables that could not be read."""
    if isinstance(value, NamedFile):
        if value.fault:
            yield Problem(f"{value.fault} (got {shown(str(value))})", path)
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from file_faults(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from file_faults(inner, (*path, index))


def _file(kind: type[NamedFile[Any]], path: Path) -> NamedFile[Any]:
    reader = READERS[kind]
    try:
        if not path.is_file():
            return kind(path, reader(path))
        state = path.stat()
        return kind(path, _kept(reader, path, state.st_mtime_ns, state.st_size))
    except OSError as problem:
        return kind(path, fault=f"the file cannot be read: {problem.strerror or problem}")
    except ValueError as problem:
        return kind(path, fault=str(problem))


@lru_cache(MOST_KEPT)
def _kept(reader: Callable[[Path], Any], path: Path, changed_ns: int, size: int) -> Any:
    return reader(path)
