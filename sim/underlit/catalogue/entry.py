"""One entry of the catalogue, and the entries that a file holds."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any

from underlit.text.problem import KeyPath, Problem, shown
from underlit.text.suggest import did_you_mean
from underlit.text.toml import UnreadableError, read_toml


class Kind(StrEnum):
    """What an entry describes, named by the key of the scene that may refer to it."""

    TANK = "tank"
    LID = "lid"
    SUBSTRATE = "substrate"
    FIXTURE = "fixture"
    WOOD = "wood"
    STONE = "stone"
    PLANTS = "plants"


class Origin(StrEnum):
    """Where an entry comes from."""

    SHIPPED = "shipped"
    OWN = "own"


@dataclass(frozen=True)
class Published:
    """A measured quantity as its source gives it, ``low`` to ``high`` in ``unit``; it is shown, but never becomes a band."""

    species: str
    quantity: str
    low: float
    high: float
    unit: str
    conditions: str
    source: str
    status: str


@dataclass(frozen=True)
class Entry:
    """A piece that a scene can refer to.

    ``sets``: the keys that it sets in the table of its kind; ``needs``: the light that a plant needs, as in a scene;
    ``source``: where the figures come from; ``lines``: the line of each key in ``file``, the entry's own keys.
    ``trade_gallons``: the US gallons in the trade name of a tank. ``hides_shipped``: a user's own entry that replaces a
    shipped one of the same name.
    """

    kind: Kind
    name: str
    about: str
    also: tuple[str, ...]
    source: Mapping[str, str]
    sets: Mapping[str, Any]
    needs: Mapping[str, Any]
    published: tuple[Published, ...]
    trade_gallons: float | None
    file: Path
    line: int
    origin: Origin
    hides_shipped: bool = False
    lines: Mapping[KeyPath, int] = field(default_factory=dict, repr=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Every name by which it is found, its own first."""
        return self.name, *self.also


SOURCE_OF_ALL = "all"
"""Key of a source that is given as one text."""
_TEXTS = {"name": "give the name by which it is found", "about": "give a sentence that says what it is"}
_KEYS = ("name", "also", "about", "source", "sets")
_MORE_KEYS = {Kind.PLANTS: ("needs", "published"), Kind.TANK: ("trade_gallons",)}
_WORD = re.compile(r"[^\W_]+(?:[.,]\d+)?")
_PUBLISHED_TEXTS = ("species", "quantity", "unit", "conditions", "source", "status")


def same_name(name: str) -> str:
    """A name as it is compared: capitals and extra spaces make no difference."""
    return " ".join(name.casefold().split())


def loose_name(name: str) -> str:
    """A name as people may write it: without capitals, spaces, hyphens, apostrophes and the plural of each word."""
    plain = name.casefold().replace("'", "").replace("\u2019", "")
    return "".join(_singular(word) for word in _WORD.findall(plain))


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("sses", "xes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


def entries_in(file: Path, origin: Origin) -> tuple[list[Entry], list[Problem]]:
    """The sound entries of a file, and a problem for each that is broken."""
    try:
        data, lines = read_toml(file)
    except UnreadableError as error:
        return [], [error.problem]
    entries: list[Entry] = []
    problems: list[Problem] = []
    for name, tables in data.items():
        if name not in list(Kind):
            said = f"not a kind of entry{did_you_mean(name, list(Kind))}"
            problems.append(Problem(said, (name,), str(file), lines.get((name,), 1)))
            continue
        if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
            said = f"must be a list of tables: write each entry under [[{name}]]"
            problems.append(Problem(said, (name,), str(file), lines.get((name,), 1)))
            continue
        for index, table in enumerate(tables):
            where = (name, index)
            found = [
                Problem(said, (*where, *key), str(file), _nearest(lines, (*where, *key)))
                for key, said in _wrong(Kind(name), table)
            ]
            problems += found[:1]
            if not found:
                entries.append(_entry(Kind(name), table, file, origin, _below(lines, where)))
    return entries, problems


def _nearest(lines: Mapping[KeyPath, int], key: KeyPath) -> int:
    while key and key not in lines:
        key = key[:-1]
    return lines.get(key, 1)


def _below(lines: Mapping[KeyPath, int], where: KeyPath) -> dict[KeyPath, int]:
    depth = len(where)
    return {key[depth:]: line for key, line in lines.items() if key[:depth] == where}


def _entry(kind: Kind, table: dict[str, Any], file: Path, origin: Origin, lines: dict[KeyPath, int]) -> Entry:
    source = table["source"]
    gallons = table.get("trade_gallons")
    return Entry(
        kind=kind,
        name=table["name"],
        about=table["about"],
        also=tuple(table.get("also", ())),
        source={SOURCE_OF_ALL: source} if isinstance(source, str) else dict(source),
        sets=table["sets"],
        needs=table.get("needs", {}),
        published=tuple(Published(**row) for row in table.get("published", ())),
        trade_gallons=None if gallons is None else float(gallons),
        file=file,
        line=lines.get((), 1),
        origin=origin,
        lines=lines,
    )


def _wrong(kind: Kind, table: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    """Key and what is wrong with it, of everything but what ``sets`` and ``needs`` hold."""
    known = (*_KEYS, *_MORE_KEYS.get(kind, ()))
    for key in table:
        if key not in known:
            hint = did_you_mean(key, known)
            yield (key,), f"unknown key{hint}; keys of a scene go into the table sets of the entry"
    yield from _wrong_texts(table)
    if not isinstance(table.get("sets"), dict):
        yield ("sets",), "must be a table of the keys that it sets in a scene"
    if not isinstance(table.get("needs", {}), dict):
        yield ("needs",), "must be a table of keys"
    gallons = table.get("trade_gallons", 1)
    if not _is_number(gallons) or gallons <= 0:
        yield ("trade_gallons",), f"must be a number above 0 (got {shown(gallons)})"
    yield from _wrong_published(table.get("published", []))


def _wrong_texts(table: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    for key, what in _TEXTS.items():
        value = table.get(key)
        if value is None:
            yield (key,), f"is missing: {what}"
        elif not _is_line(value):
            yield (key,), f"must be one line of text (got {shown(value)})"
    also = table.get("also", [])
    if not isinstance(also, list) or not all(_is_line(name) for name in also):
        yield ("also",), "must be a list of names"
    source = table.get("source")
    texts = list(source.values()) if isinstance(source, dict) else [source]
    if not texts or not all(_is_line(text) for text in texts):
        yield ("source",), "is missing: give where the figures come from, as a text or as a table of texts"


def _wrong_published(rows: object) -> Iterator[tuple[KeyPath, str]]:
    if not isinstance(rows, list):
        yield ("published",), "must be a list of tables: write each under [[plants.published]]"
        return
    numbers = ("low", "high")
    for index, row in enumerate(rows):
        where: KeyPath = ("published", index)
        if not isinstance(row, dict) or set(row) != {*_PUBLISHED_TEXTS, *numbers}:
            yield where, f"must have the keys {', '.join((*_PUBLISHED_TEXTS, *numbers))} and no others"
        elif not all(_is_line(row[key]) for key in _PUBLISHED_TEXTS) or not all(
            _is_number(row[key]) for key in numbers
        ):
            yield where, "low and high must be numbers, all others texts of one line"


def _is_line(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip()) and value.isprintable()


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < float("inf")
