"""The ledger: where the light goes, in a few lines that add up to 100 %."""

from __future__ import annotations

import math

from underlit.lowering.records import Line as LedgerLine
from underlit.results.result import Result
from underlit.transport.tables import Bucket

HIDDEN = frozenset({Bucket.EMITTED, Bucket.ROULETTE_LOSS, Bucket.ROULETTE_GAIN})
LOST = "unaccounted for"
REST = "other"
WORDS = {
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
    lost = 0.0
    for number, (line, share) in enumerate(zip(result.compiled.lines, result.line_shares(), strict=True)):
        if number == Bucket.LOST:
            lost = share
        elif number not in HIDDEN and share != 0.0:
            words = words_of(line)
            lines[words] = lines.get(words, 0.0) + share
    return [*sorted(lines.items(), key=lambda line: -line[1]), (LOST, lost)]


def words_of(line: LedgerLine) -> str:
    """What people read for a line of the ledger, after the name of its tank where that has one."""
    words = line.own_name if line.part else WORDS.get(line.what, line.what)
    return f"{line.tank_name}: {words}" if line.tank_name else words


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
