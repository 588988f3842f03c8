"""Fill the tables of a scene from the entries of the catalogue to which they refer, before anything is validated.

``from = "40 breeder"`` in a table adds the keys of that entry where the table does not give them. ``for`` of a zone names
a plant, or is a table with a ``from``, and takes what that plant needs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from underlit.catalogue import Catalogue, Entry, Kind, Origin
from underlit.scene.keys import lists_of_tables
from underlit.scene.notices import UsedEntry
from underlit.scene.reader.errors import SceneError
from underlit.scene.reader.layers import Layer, Place, Places, merged, with_full_paths
from underlit.scene.reader.renamed import with_new_names
from underlit.text.problem import KeyPath, Problem, shown
from underlit.text.suggest import did_you_mean

FROM = "from"
"""The key by which a table refers to an entry."""
FOR = "for"
"""The key of a zone that names the plant it is meant for."""
NEEDS = "needs"
"""The key of plants that says what light they need, in a scene and in an entry."""


def filled(layer: Layer, catalogue: Callable[[], Catalogue]) -> Layer:
    """The layer with every table that refers to an entry laid on it; ``catalogue`` is asked only when one does.

    Raises SceneError with a problem for each name that is not in the catalogue.
    """
    problems: list[Problem] = []
    for path, kind in _references(layer.data):
        layer = _fill_at(layer, path, kind, catalogue, problems)
    if problems:
        raise SceneError(problems)
    return layer


def may_refer(path: KeyPath) -> bool:
    """Whether the table at a path may refer to an entry."""
    names = [part for part in path if isinstance(part, str)]
    return names == ["zone", FOR] or (len(names) == 1 and names[0] in list(Kind))


def _references(data: dict[str, Any]) -> Iterator[tuple[KeyPath, Kind]]:
    """Path and kind of every table that may refer to an entry, and of every zone's ``for``."""
    for kind in Kind:
        if kind in lists_of_tables():
            yield from (((str(kind), index), kind) for index, _ in _tables_of(data.get(kind)))
        elif isinstance(data.get(kind), dict):
            yield (str(kind),), kind
    for index, zone in _tables_of(data.get("zone")):
        if zone.get(FOR) is not None:
            yield ("zone", index, FOR), Kind.PLANTS


def _tables_of(value: object) -> Iterator[tuple[int, dict[str, Any]]]:
    if isinstance(value, list):
        yield from ((index, table) for index, table in enumerate(value) if isinstance(table, dict))


def _fill_at(
    layer: Layer, path: KeyPath, kind: Kind, catalogue: Callable[[], Catalogue], problems: list[Problem]
) -> Layer:
    table = _at(layer.data, path)
    key = (*path, FROM) if isinstance(table, dict) else path
    if not isinstance(table, dict):
        table = {FROM: table}
    if FROM not in table:
        return layer
    table = dict(table)
    try:
        entry = _entry_named(catalogue(), kind, table.pop(FROM))
        layer_of = _needs_layer_of if path[-1] == FOR else _layer_of
        low = layer_of(entry, path, catalogue())
    except SceneError as error:
        where = _nearest(layer.places, key)
        problems += [Problem(p.message, key, where.file, where.line) if not p.file else p for p in error.problems]
        return layer
    table = merged(low, layer, _at(low.data, path), table, path)
    used = UsedEntry(path, kind, entry.name, entry.file, entry.origin is Origin.OWN, entry.hides_shipped)
    return Layer(
        _with(layer.data, path, table),
        low.places | layer.places,
        layer.used | {path: used},
        low.renamed + layer.renamed,
    )


def _entry_named(catalogue: Catalogue, kind: Kind, name: object) -> Entry:
    if not isinstance(name, str):
        raise SceneError([Problem(f"must be the name of an entry of the catalogue (got {shown(name)})")])
    entry = catalogue.find(kind, name)
    if entry is not None:
        return entry
    hint = did_you_mean(name, catalogue.names(kind))
    if not hint.startswith("; did you mean"):
        hint = f"; `underlit catalogue {kind}` lists them"
    said = Problem(f"the catalogue has no {kind} of that name{hint} (got {shown(name)})")
    # The entry may be one of the user's own that cannot be read.
    raise SceneError([said, *catalogue.problems])


def _layer_of(entry: Entry, path: KeyPath, catalogue: Catalogue, above: tuple[Entry, ...] = ()) -> Layer:
    """What an entry sets in the table at ``path``, over what the entry to which it may refer itself sets there."""
    sets = with_full_paths(dict(entry.sets), entry.file.parent)
    inner_name = sets.pop(FROM, None)
    if entry.kind in lists_of_tables():
        sets["name"] = entry.name
    if entry.needs:
        sets[NEEDS] = dict(entry.needs)
    places = {(*path, *key): place for key, place in _places(entry, "sets").items()}
    places |= {(*path, NEEDS, *key): place for key, place in _places(entry, NEEDS).items()}
    own = with_new_names(Layer(sets, places), path)
    if inner_name is not None:
        inner = _layer_under(entry, inner_name, path, catalogue, (*above, entry))
        data = merged(inner, own, _at(inner.data, path), own.data, path)
        own = Layer(data, inner.places | own.places, {}, inner.renamed + own.renamed)
    if NEEDS in own.data:
        own.data[NEEDS] = {**own.data[NEEDS], "plant": entry.name}
    return replace(own, data=_with({}, path, own.data))


def _layer_under(
    entry: Entry, inner_name: object, path: KeyPath, catalogue: Catalogue, above: tuple[Entry, ...]
) -> Layer:
    """What the entry to which ``entry`` refers sets. Raises SceneError where there is none, or it refers back."""
    key: KeyPath = ("sets", FROM)
    line = entry.lines.get(key, entry.line)
    try:
        inner = _entry_named(catalogue, entry.kind, inner_name)
    except SceneError as error:
        raise SceneError([Problem(error.problems[0].message, key, str(entry.file), line)]) from None
    if inner in above:
        raise SceneError([Problem("the entry refers back to itself: name another one", key, str(entry.file), line)])
    return _layer_of(inner, path, catalogue, above)


def _needs_layer_of(entry: Entry, path: KeyPath, catalogue: Catalogue) -> Layer:
    """What a plant needs, as the table at ``path``."""
    whole = _layer_of(entry, path, catalogue)
    needs = _at(whole.data, path).get(NEEDS)
    if not needs:
        raise SceneError(
            [Problem(f"the catalogue does not say how much light {shown(entry.name)} needs: give need or band")]
        )
    inside = (*path, NEEDS)
    places = {
        (*path, *key[len(inside) :]): place for key, place in whole.places.items() if key[: len(inside)] == inside
    }
    return Layer(_with({}, path, needs), places, {}, whole.renamed)


def _places(entry: Entry, part: str) -> Places:
    """Places of the keys in a table of an entry, counted from that table."""
    return {
        key[1:]: Place(str(entry.file), line, entry.name) for key, line in entry.lines.items() if key and key[0] == part
    }


def _nearest(places: Places, key: KeyPath) -> Place:
    while key and key not in places:
        key = key[:-1]
    return places.get(key, Place("", 0))


def _at(data: Any, path: KeyPath) -> Any:
    for part in path:
        data = data[part]
    return data


def _with(data: Any, path: KeyPath, value: Any) -> Any:
    """The same tables with ``value`` at ``path``; arrays that are not there are tables by their index."""
    if not path:
        return value
    part, rest = path[0], path[1:]
    if isinstance(data, list):
        return [_with(inner, rest, value) if index == part else inner for index, inner in enumerate(data)]
    return {**data, part: _with(data.get(part, {}), rest, value)}
