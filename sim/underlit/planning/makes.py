"""Fixtures of one make: the same thing bought more than once, however each hangs and runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

from underlit.scene import Fixture
from underlit.scene.keys import hanging_keys, running_keys

Thing = TypeVar("Thing")


def by_make(fixtures: Iterable[Fixture]) -> list[tuple[Fixture, ...]]:
    """Fixtures grouped by make, in the order in which makes first appear."""
    return grouped_by_make(fixtures, lambda fixture: fixture)


def grouped_by_make(things: Iterable[Thing], fixture_of: Callable[[Thing], Fixture]) -> list[tuple[Thing, ...]]:
    """Things that each have a fixture, grouped by its make, in the order in which makes first appear."""
    groups: list[tuple[dict[str, object], list[Thing]]] = []
    for thing in things:
        made = _made(fixture_of(thing))
        group = next((same for known, same in groups if known == made), None)
        if group is None:
            groups.append((made, [thing]))
        else:
            group.append(thing)
    return [tuple(group) for _, group in groups]


def _made(fixture: Fixture) -> dict[str, object]:
    """What a fixture is: all keys but its name and how it and its channels hang and run."""
    runs = set(running_keys(Fixture))
    made = fixture.model_dump(exclude={"name", "channels", *hanging_keys(Fixture), *runs})
    return made | {"channels": [channel.model_dump(exclude=runs) for channel in fixture.channels]}
