"""Names: of the catalogue's entries, and new ones for what is added."""

from __future__ import annotations

from collections.abc import Collection

from underlit.catalogue import Kind, load_catalogue


def entries(kind: Kind) -> dict[str, str]:
    """Names of the catalogue's entries of a kind, for a list to choose from."""
    return {entry.name: entry.name for entry in load_catalogue().entries if entry.kind is kind}


def another_name(name: str, taken: Collection[str]) -> str:
    """The name, with a number where it is taken."""
    if name not in taken:
        return name
    return next(f"{name} {k}" for k in range(2, len(taken) + 3) if f"{name} {k}" not in taken)
