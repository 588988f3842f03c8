"""The catalogue as a whole: the shipped entries, and those in a folder of the user."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from underlit.catalogue.entry import Entry, Kind, Origin, entries_in, loose_name, same_name
from underlit.text.problem import Problem, shown

FOLDER_VARIABLE = "UNDERLIT_CATALOGUE"
"""Environment variable that names the folder of a user's own entries."""
SHIPPED_FOLDER = Path(__file__).with_name("data")
HOBBY_WORDS = Path(__file__).with_name("hobby_words.toml")
"""Further names of shipped entries, by kind and name."""


@dataclass(frozen=True)
class Catalogue:
    """``entries``: by kind, a user's own before the shipped ones; ``problems``: what is wrong in the user's files."""

    entries: tuple[Entry, ...]
    problems: tuple[Problem, ...] = ()

    def find(self, kind: Kind, name: str) -> Entry | None:
        """The entry with that name, or with that other name; capitals and extra spaces make no difference.

        Where none has it, hyphens, spaces within it and a plural make no difference either.
        """
        of_kind = [entry for entry in self.entries if entry.kind is kind]
        for compared in (same_name, loose_name):
            wanted = compared(name)
            for entry in of_kind:
                if compared(entry.name) == wanted:
                    return entry
            for entry in of_kind:
                if wanted in map(compared, entry.also):
                    return entry
        return None

    def names(self, kind: Kind) -> list[str]:
        """Names of the entries of a kind, followed by their other names."""
        of_kind = [entry for entry in self.entries if entry.kind is kind]
        return [entry.name for entry in of_kind] + [name for entry in of_kind for name in entry.also]


def own_folder() -> Path:
    """The folder of a user's own entries; it may not exist."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named)
    import platformdirs

    return platformdirs.user_data_path("underlit", appauthor=False) / "catalogue"


def load_catalogue(folder: Path | None = None) -> Catalogue:
    """The shipped entries and those in the ``*.toml`` files of ``folder``, by default the user's own.

    What is wrong there becomes a problem and does not stop the rest.
    """
    own, problems = _own_entries(folder)
    shipped = shipped_entries()
    names = {(entry.kind, same_name(name)) for entry in shipped for name in entry.names}
    own = [replace(entry, hides_shipped=(entry.kind, same_name(entry.name)) in names) for entry in own]
    hidden = {(entry.kind, same_name(entry.name)) for entry in own}
    left = [entry for entry in shipped if (entry.kind, same_name(entry.name)) not in hidden]
    order = list(Kind)
    return Catalogue(tuple(sorted([*own, *left], key=lambda entry: order.index(entry.kind))), tuple(problems))


@cache
def shipped_entries() -> tuple[Entry, ...]:
    """The entries that come with the program."""
    entries, problems = _entries_of(sorted(SHIPPED_FOLDER.glob("*.toml")), Origin.SHIPPED)
    if problems:
        raise ValueError("\n".join(map(str, problems)))
    words = {
        (kind, name): tuple(more)
        for kind, names in tomllib.loads(HOBBY_WORDS.read_text(encoding="utf-8")).items()
        for name, more in names.items()
    }
    return tuple(replace(entry, also=(*entry.also, *words.get((str(entry.kind), entry.name), ()))) for entry in entries)


def _own_entries(folder: Path | None) -> tuple[list[Entry], list[Problem]]:
    place = own_folder() if folder is None else folder
    must_exist = folder is not None or bool(os.environ.get(FOLDER_VARIABLE))
    try:
        if not place.is_dir():
            missing = Problem("no such folder", (), str(place))
            return [], [missing] if must_exist else []
        files = sorted(path for path in place.iterdir() if path.suffix == ".toml")
    except OSError as error:
        return [], [Problem(f"cannot be read: {error.strerror or error}", (), str(place))]
    return _entries_of(files, Origin.OWN)


def _entries_of(files: Iterable[Path], origin: Origin) -> tuple[list[Entry], list[Problem]]:
    entries: list[Entry] = []
    problems: list[Problem] = []
    taken: dict[tuple[Kind, str], Entry] = {}
    for file in files:
        found, broken = entries_in(file, origin)
        problems += broken
        for entry in found:
            key = (entry.kind, same_name(entry.name))
            if key in taken:
                first = taken[key]
                said = (
                    f"the name is taken by {first.file.name}:{first.line}: give another one (got {shown(entry.name)})"
                )
                problems.append(Problem(said, (str(entry.kind),), str(file), entry.line))
                continue
            taken[key] = entry
            entries.append(entry)
    return entries, problems
