"""Candidates at other settings than their own: each at its best one, and all at equal watts. Arithmetic on kept results.

Watts are taken to fall with the light, fixture by fixture.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from underlit.lowering.records import Source
from underlit.planning.candidates import Candidate, total
from underlit.planning.decision import Decision, Wanted, decided
from underlit.planning.zones import Verdict, judged
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.scene import Band


@dataclass(frozen=True)
class Side:
    """A candidate at a setting: PPFD [umol/m2/s] and verdict of each of its places, and the watts that it draws then."""

    candidate: Candidate
    values: tuple[Estimate, ...]
    verdicts: tuple[Verdict, ...]
    watts: float | None

    @cached_property
    def right(self) -> int:
        """How many zones are right."""
        return sum(verdict is Verdict.RIGHT for verdict in self.verdicts)


@dataclass(frozen=True)
class BestSide(Side):
    """A candidate at its best setting."""

    decision: Decision


@dataclass(frozen=True)
class EqualWatts:
    """All candidates dimmed to the watts of the one that draws least as it is set."""

    watts: float
    sides: tuple[Side, ...]


def best_side(c: Candidate) -> BestSide:
    """A candidate at the setting at which most of its zones are right."""
    wanted = [
        Wanted(number, place.name, _band(place.band), place.tank)
        for number, place in enumerate(c.places)
        if place.band is not None
    ]
    made = decided(c.result, wanted)
    return BestSide(*_at(c, made.levels), made)


def equal_watts(candidates: Sequence[Candidate]) -> EqualWatts | None:
    """All at equal watts; None where the watts of one are not known, or it is off."""
    watts = [c.watts for c in candidates]
    known = [w for w in watts if w]
    if len(known) < len(watts):
        return None
    least = min(known)
    sides = []
    for c, drawn in zip(candidates, known, strict=True):
        levels = {s: c.result.dimming.get(s, 1.0) * least / drawn for s in c.result.compiled.sources}
        sides.append(Side(*_at(c, levels)))
    return EqualWatts(least, tuple(sides))


def _band(limits: tuple[float, float]) -> Band:
    return Band(*limits, "", "")


def _at(
    c: Candidate, levels: Mapping[Source, float]
) -> tuple[Candidate, tuple[Estimate, ...], tuple[Verdict, ...], float | None]:
    result = c.result.dimmed(levels)
    values = (*result.zone_estimates(), *result.head_estimates())
    verdicts = tuple(
        judged(value, place.tank, None if place.band is None else _band(place.band))[0]
        for place, value in zip(c.places, values, strict=True)
    )
    return c, values, verdicts, _watts(c, result)


def _watts(c: Candidate, result: Result) -> float | None:
    """Watts at other levels than as set: each fixture's in proportion to its light."""
    found = []
    for draw in c.draws:
        was, now = (_ppf_of(each, draw.fixture) for each in (c.result, result))
        found.append(None if draw.watts is None or was <= 0 else draw.watts * now / was)
    return total(found)


def _ppf_of(result: Result, fixture: str) -> float:
    return math.fsum(
        result.source_ppf(i) for i, s in enumerate(result.compiled.sources) if fixture in (s.fixture, _full(s))
    )


def _full(source: Source) -> str:
    return f"{source.tank_name}: {source.fixture}" if source.tank_name else source.fixture
