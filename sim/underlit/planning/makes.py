"""Fixtures of one make: the same thing bought more than once, however each hangs and runs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from underlit.scene import Fixture
from underlit.scene.keys import hanging_keys, running_keys


def by_make(fixtures: Iterable[Fixture]) -> list[tuple[Fixture, ...]]:
    """Fixtures grouped by make, in the order in which makes first appear."""
    groups: list[tuple[dict[str, Any], list[Fixture]]] = []
    for fixture in fixtures:
        made = _made(fixture)
        group = next((same for known, same in groups if known == made), None)
        if group is None:
            groups.append((made, [fixture]))
        else:
            group.append(fixture)
    return [tuple(group) for _, group in groups]


def _made(fixture: Fixture) -> dict[str, Any]:
    """What a fixture is: all keys but its name and how it and its channels hang and run."""
    runs = set(running_keys(Fixture))
    made = fixture.model_dump(exclude={"name", "channels", *hanging_keys(Fixture), *runs})
    return made | {"channels": [channel.model_dump(exclude=runs) for channel in fixture.channels]}
