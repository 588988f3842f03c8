"""A scene's text, edited key by key: comments and order stay as people wrote them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from underlit.scene import Scene, SceneError, load_scene
from underlit.scene.keys import former_names, lists_of_tables, model_at, path_keys, replaced_by
from underlit.scene.reader.layers import Layer, merged
from underlit.scene.reader.renamed import with_new_names
from underlit.scene.reader.validate import OWN_RACK
from underlit.text.toml import MARK, UnreadableError, parse_toml, read_text

Key = str | int
MOST_CHARACTERS = 400_000
"""Of a scene's text; a large planned tank has some ten thousand."""
MOST_THINGS = 150
"""Of a kind in one scene."""
DRAFT = "-draft.toml"
"""Ending of the file in which a text stands while it is checked; no scene may name it."""


class DocumentError(ValueError):
    """What is wrong with a text or an edit; one line for each problem."""


class Document:
    """The text of a scene as TOML that can be edited. Raises DocumentError where the text is none."""

    def __init__(self, text: str) -> None:
        if len(text) > MOST_CHARACTERS:
            raise DocumentError(f"the scene has {len(text):,} characters; the limit is {MOST_CHARACTERS:,}")
        text = text.removeprefix(MARK)
        try:
            self._toml = tomlkit.parse(text)
        except TOMLKitError as problem:
            raise DocumentError(_fault_of(text) or str(problem)) from None

    @property
    def text(self) -> str:
        """The scene as it would be saved."""
        return tomlkit.dumps(self._toml)

    def get(self, *path: Key, default: Any = None) -> Any:
        """The plain value at a path of keys and numbers, or the default where nothing is said."""
        found: Any = self._toml
        for depth, key in enumerate(path):
            try:
                found = found[_name_in(found, path[:depth], key)]
            except (KeyError, IndexError, TypeError):
                return default
        return found.unwrap() if hasattr(found, "unwrap") else found

    def set(self, *path: Key, value: object) -> None:
        """Say a value, or nothing any more where it is None. Tables on the way are made.

        Other keys that give the same thing, or that make no sense beside it, are taken out.
        """
        *above, last = path
        holder: Any = self._toml
        for depth, following in enumerate(path[1:]):
            key = _name_in(holder, path[:depth], above[depth])
            if isinstance(key, str) and key not in holder:
                if value is None:
                    return
                if isinstance(following, int):
                    raise DocumentError(f"there is no {key} {following}")
                holder[key] = tomlkit.table()
            holder = holder[key]
        model, here = model_at(tuple(above)), str(last)
        last = _name_in(holder, tuple(above), last)
        if value is None:
            holder.pop(last, None)
        else:
            holder[last] = value if isinstance(holder.get(last), Table) else _inline(value)
        if value is not None and model is not None:
            self.clear(*above, keys=replaced_by(model, {here}))

    def clear(self, *path: Key, keys: Iterable[str]) -> None:
        """Take keys out of the table at a path."""
        for key in keys:
            self.set(*path, key, value=None)

    def add(self, table: str, values: Mapping[str, object]) -> int:
        """Add one to an array of tables; returns its number."""
        if table not in self._toml:
            self._toml[table] = tomlkit.aot()
        array = self._toml[table]
        if not isinstance(array, AoT):
            raise DocumentError(f"{table} must be a list of tables ([[{table}]])")
        made = tomlkit.table()
        made.update({key: _inline(value) for key, value in values.items()})
        array.append(made)
        return len(array) - 1

    def duplicate(self, table: str, index: int, name: str) -> int:
        """Add a copy of one of an array of tables under another name; returns its number."""
        array = self._toml[table]
        made = tomlkit.parse(tomlkit.dumps({table: [array[index]]}))[table][0]
        made["name"] = name
        array.append(made)
        return len(array) - 1

    def remove(self, table: str, index: int) -> None:
        """Take one out of an array of tables."""
        array = self._toml[table]
        del array[index]
        if not len(array):
            del self._toml[table]

    def lay_on(self, over: Document) -> None:
        """Let another document say what it says on top of this one, as a scene does on its base."""
        try:
            low, high = (with_new_names(Layer(document._toml.unwrap())) for document in (self, over))
        except SceneError as problem:
            raise DocumentError(str(problem)) from None
        plain = merged(low, high, low.data, high.data, ())
        for key, item in over._toml.items():
            both = isinstance(item, Mapping) and isinstance(self._toml.get(key), Mapping)
            self._toml[key] = tomlkit.item(plain[key]) if both else item

    def named_files(self) -> list[str]:
        """Every file that the scene names, its base too."""
        return [holder[key] for holder, key in _files_in(self._toml)]

    def rename_files(self, renamed: Callable[[str], str]) -> None:
        """Give every file that the scene names another name."""
        for holder, key in _files_in(self._toml):
            holder[key] = renamed(str(holder[key]))


def _name_in(table: Any, path: tuple[Key, ...], key: Key) -> Key:
    """The name that a text uses for a key of the table at a path: a former one, where it stands there."""
    model = model_at(path) if isinstance(key, str) else None
    if model is None or not isinstance(table, Mapping):
        return key
    return next((old for old in former_names(model, str(key)) if old in table), key)


def _inline(value: object) -> object:
    """A table on one line, anything else as it is."""
    if not isinstance(value, Mapping):
        return value
    made = tomlkit.inline_table()
    made.update(value)
    return made


def _files_in(value: Any) -> list[tuple[Any, str]]:
    """(table, key) of every value that names a file."""
    found: list[tuple[Any, str]] = []
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if (key in path_keys() or key == "base") and isinstance(inner, str):
                found.append((value, key))
            else:
                found += _files_in(inner)
    elif isinstance(value, list):
        for inner in value:
            found += _files_in(inner)
    return found


def check_files(document: Document, folder: Path) -> None:
    """Refuse a scene that names a file outside its folder, itself or by a file that it names. Raises DocumentError."""
    if document.get("base") is not None:
        # a base would be read as it stands, and may be any text that was brought here
        raise DocumentError("a scene that is opened here cannot have a base: copy what the base says into the scene")
    inside = {path.name for path in folder.iterdir() if path.is_file() and not path.is_symlink()}
    for name in document.named_files():
        if name != Path(name).name or name not in inside or name.endswith(DRAFT):
            raise DocumentError(f"the scene uses the file {name!r}, which you have not uploaded: upload it first")
    for name in _rack_files(document):
        if not name.endswith(".toml"):
            raise DocumentError(f"the rack uses the scene {name!r}, but the name of a scene must end in .toml")
        other = Document(read_text(folder / name))
        if _rack_files(other):
            raise DocumentError(f"{name}: {OWN_RACK}")
        check_files(other, folder)


def _rack_files(document: Document) -> list[str]:
    rack = document.get("rack", default=())
    return [str(tank.get("file", "")) for tank in rack if isinstance(tank, Mapping)] if isinstance(rack, list) else []


def _fault_of(text: str) -> str:
    """What is wrong with a text that is no TOML, and in which line; empty where that cannot be told."""
    try:
        parse_toml(text)
    except UnreadableError as error:
        return f"line {error.problem.line}: {error.problem.message}"
    return ""


def own_tank(scene: Scene) -> str:
    """What people call the tank of a rack that the scene itself describes: its file has a name for nobody here."""
    return scene.title or "first tank"


def check_count(document: Document) -> None:
    """Refuse a scene of more things than one tank holds: they would keep the others' light waiting. Raises DocumentError."""
    for table in lists_of_tables():
        held = document.get(table)
        if isinstance(held, list) and len(held) > MOST_THINGS:
            raise DocumentError(f"{table}: the scene has {len(held):,}; the limit is {MOST_THINGS}")


def read_scene(document: Document, path: Path) -> Scene:
    """The checked scene of a document whose text stands at a path. Raises DocumentError with all problems."""
    check_files(document, path.parent)
    check_count(document)
    try:
        return load_scene(path)
    except SceneError as problem:
        raise DocumentError(str(problem).replace(f"{path}:", "line ")) from None


def adopted(path: Path, folder: Path, above: tuple[Path, ...] = ()) -> str:
    """The text of a scene file of this machine's owner: laid on its bases, the files it names copied into a folder.

    A rack's scenes are adopted too. Raises OSError, DocumentError.
    """
    if path.resolve() in above:
        raise DocumentError(f"{path}: it refers back to itself")
    document = _with_bases(path, ())
    document.rename_files(lambda name: _copied(Path(name), folder, (*above, path.resolve())))
    return document.text


def _with_bases(path: Path, above: tuple[Path, ...]) -> Document:
    """A scene and its bases as one document, files by their full paths; comments stay but in tables that both have."""
    if path.resolve() in above:
        raise DocumentError(f"{path}: its base refers back to itself")
    document = Document(read_text(path))
    document.rename_files(lambda name: str(path.parent / name))
    base = document.get("base")
    if base is None:
        return document
    document.set("base", value=None)
    under = _with_bases(Path(base), (*above, path.resolve()))
    under.lay_on(document)
    return under


def _copied(source: Path, folder: Path, above: tuple[Path, ...]) -> str:
    """Copy a file into a folder; returns the name it has there, another one where its own is taken."""
    is_scene = source.suffix == ".toml"
    content = adopted(source, folder, above).encode() if is_scene else source.read_bytes()
    name = source.name
    for k in range(2, 1000):
        target = folder / name
        if not target.exists() or target.read_bytes() == content:
            break
        name = f"{source.stem}-{k}{source.suffix}"
    (folder / name).write_bytes(content)
    return name
