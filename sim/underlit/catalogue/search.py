"""Find entries by words: a kind, a need, or the beginning of any word of an entry."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache

from underlit.catalogue.entry import Entry, Kind

_WORD = re.compile(r"[^\W_]+(?:\.\d+)?")


def words_of(entry: Entry) -> frozenset[str]:
    """Every word of an entry that a search considers, in lower case."""
    texts = [str(entry.kind), *entry.names, entry.about, *_texts_in(entry.sets), *_texts_in(entry.needs)]
    texts += [row.species for row in entry.published]
    return frozenset(word for text in texts for word in _split(text))


def search(entries: Sequence[Entry], words: Sequence[str]) -> list[Entry]:
    """The entries that match all of ``words``.

    The name of a kind, or its plural, selects the kind, if that finds something; a need that some plant has selects the
    plants that have it; any other word must be the beginning of a word of the entry.
    """
    kinds = {kind for word in words if (kind := kind_named(word)) is not None}
    of_kind = [entry for entry in entries if entry.kind in kinds]
    others = [word for word in words if kind_named(word) is None]
    return _matching(of_kind, others, entries) or _matching(entries, words, entries)


def _matching(some: Sequence[Entry], words: Sequence[str], entries: Sequence[Entry]) -> list[Entry]:
    needs = {_need(entry) for entry in entries} - {""}
    return [entry for entry in some if all(_matches(entry, word.casefold(), needs) for word in words)]


def words_found_nowhere(entries: Sequence[Entry], words: Sequence[str]) -> list[str]:
    """Those of ``words`` that no entry has."""
    return [word for word in words if not search(entries, [word])]


@cache
def kind_named(word: str) -> Kind | None:
    """The kind that a word names, in the singular or plural."""
    plain = word.casefold()
    return next((kind for kind in Kind if plain in (kind, f"{kind}s", kind.removesuffix("s"))), None)


def _matches(entry: Entry, word: str, needs: set[str]) -> bool:
    if word in needs:
        return _need(entry) == word
    parts = _split(word)
    return bool(parts) and all(any(known.startswith(part) for known in words_of(entry)) for part in parts)


def _need(entry: Entry) -> str:
    return str(entry.needs.get("need", ""))


def _split(text: str) -> list[str]:
    return _WORD.findall(text.casefold())


def _texts_in(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key != "source":
                yield from _texts_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts_in(inner)
