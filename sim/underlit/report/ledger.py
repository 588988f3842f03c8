"""The ledger: where the light goes, in a few lines that add up to 100 %."""

from __future__ import annotations

import math

from underlit.results.result import Result

HIDDEN = {"emitted", "roulette_loss", "roulette_gain"}
LOST = "unaccounted for"
REST = "other"
WORDS = {
    "lost": LOST,
    "inside_solid": "inside wood or stone",
    "water": "absorbed by the water",
    "tank glass": "absorbed by the tank's glass",
    "lid": "absorbed by the lid's glass",
    "dirt on the lid": "dirt and condensation on the lid",
    "backings": "background and the surface under the tank",
    "fixtures": "back onto the lights",
    "past the tank": "past the tank, into the room",
}

Line = tuple[str, float]


def light_ledger(result: Result) -> list[Line]:
    """(words, share of the emitted light) for every line that holds any, largest first, what is unaccounted for last."""
    lines: dict[str, float] = {}
    for name, share in result.ledger().items():
        if name in HIDDEN or (share == 0.0 and name != "lost"):
            continue
        tank, colon, rest = name.rpartition(": ")
        words = WORDS.get(name) or tank + colon + WORDS.get(rest, rest)
        lines[words] = lines.get(words, 0.0) + share
    lost = lines.pop(LOST, 0.0)
    return [*sorted(lines.items(), key=lambda line: -line[1]), (LOST, lost)]


def with_rest(lines: list[Line], digits: int = 1) -> list[Line]:
    """The lines, with two or more that would print as 0 taken together; what is unaccounted for keeps its own line."""
    least = 0.5 / 10 ** (digits + 2)
    small = [line for line in lines if line[1] < least and line[0] != LOST]
    if len(small) < 2:
        return lines
    kept = [line for line in lines if line not in small]
    return [*kept[:-1], (REST, math.fsum(share for _, share in small)), kept[-1]]


def as_percentages(lines: list[Line], digits: int = 1) -> list[Line]:
    """Shares as percentages rounded so that they add to exactly 100 (largest remainder); all 0 where there is no light."""
    unit = 10**digits
    total = math.fsum(share for _, share in lines)
    if total <= 0:
        return [(name, 0.0) for name, _ in lines]
    exact = [share / total * 100 * unit for _, share in lines]
    floors = [math.floor(e) for e in exact]
    order = sorted(range(len(lines)), key=lambda i: floors[i] - exact[i])
    for i in order[: 100 * unit - sum(floors)]:
        floors[i] += 1
    return [(name, n / unit) for (name, _), n in zip(lines, floors, strict=True)]
