"""How plantings grow and what trimming leaves: their height and leaf area some weeks later.

The rule serves people who plan ahead rather than botanists. Trimming comes first: it cuts to a height and takes leaf area in
proportion. Then a planting gains the same height each week, up to its greatest height or to the water surface. Leaf area grows
with height where leaves stand all along the plant (stems, ribbons); elsewhere it doubles in a stated time, up to that of a closed
stand. Without added CO2 all plants grow at half speed, except floating ones, which take it from the air.

All rates are common practice, no source; plants grow at half to twice these, depending on light, nutrients and kind. One limit
is published: the guideline for tests with duckweed (OECD 221) expects fronds to double within 2.5 days in the best
conditions (from memory); those in a tank take about twice that.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Form(StrEnum):
    """What plants of a kind look like."""

    ROUND = "round"
    GRASS = "grass"
    CLOVER = "clover"
    OPPOSITE = "opposite"
    WHORL = "whorl"
    FINE = "fine"
    LOW = "low"
    BROAD = "broad"
    RIBBON = "ribbon"
    PADS = "pads"
    DUCKWEED = "duckweed"
    THICK_LEAVES = "thick leaves"
    MOSS = "moss"


class LeafAreaGoes(StrEnum):
    """What the leaf area follows as a planting grows."""

    WITH_HEIGHT = "with height"
    BY_DOUBLING = "by doubling"


@dataclass(frozen=True)
class Growth:
    """Growth with added CO2: height per week [m], time in which leaf area doubles [weeks], greatest height [m] and greatest
    leaf area index (for floating plants the share covered) that a planting reaches.
    """

    height_m_per_week: float
    doubling_weeks: float
    tallest_m: float
    fullest: float
    leaf_area: LeafAreaGoes = LeafAreaGoes.BY_DOUBLING


SLOWER_WITHOUT_CO2 = 0.5
RATES_ARE_KNOWN_TO = 2.0
"""Plants grow at the assumed rate divided by this, up to that rate times this."""

GROWTH = {
    Form.ROUND: Growth(0.003, 3.0, 0.06, 6.0),
    Form.GRASS: Growth(0.005, 3.0, 0.15, 6.0),
    Form.CLOVER: Growth(0.004, 3.0, 0.10, 6.0),
    Form.OPPOSITE: Growth(0.04, 0.0, 1.0, 15.0, LeafAreaGoes.WITH_HEIGHT),
    Form.WHORL: Growth(0.05, 0.0, 1.0, 15.0, LeafAreaGoes.WITH_HEIGHT),
    Form.FINE: Growth(0.06, 0.0, 1.0, 15.0, LeafAreaGoes.WITH_HEIGHT),
    Form.LOW: Growth(0.003, 6.0, 0.12, 6.0),
    Form.BROAD: Growth(0.008, 8.0, 0.40, 6.0),
    Form.RIBBON: Growth(0.03, 0.0, 1.5, 12.0, LeafAreaGoes.WITH_HEIGHT),
    Form.PADS: Growth(0.0, 2.0, 0.0, 0.95),
    Form.DUCKWEED: Growth(0.0, 0.7, 0.0, 0.95),
    Form.THICK_LEAVES: Growth(0.002, 16.0, 0.25, 5.0),
    Form.MOSS: Growth(0.002, 6.0, 0.06, 8.0),
}
FLOATING = (Form.PADS, Form.DUCKWEED)


@dataclass(frozen=True)
class Stand:
    """The state of a planting: height [m] (None where the form has none) and leaf area index (None: follows from the plants)."""

    height_m: float | None
    leaf_area_index: float | None


def trimmed(stand: Stand, to_m: float | None) -> Stand:
    """What trimming to a height [m] leaves; a lower planting stays as it is."""
    if to_m is None or stand.height_m is None or stand.height_m <= to_m:
        return stand
    share = to_m / stand.height_m
    return Stand(to_m, None if stand.leaf_area_index is None else stand.leaf_area_index * share)


def grown_on(
    stand: Stand, growth: Growth, *, weeks: float, speed: float, room_m: float = float("inf")
) -> tuple[Stand, float | None]:
    """The stand so many weeks later, and its leaf area divided by that of today (None where it has no leaf area index).

    speed: factor on all rates; room_m: height under the water surface [m]. Growing never makes anything smaller.
    """
    height = stand.height_m
    if height is not None:
        height = max(height, min(height + growth.height_m_per_week * speed * weeks, growth.tallest_m, room_m))
    if stand.leaf_area_index is None:
        return Stand(height, None), None
    if growth.leaf_area is LeafAreaGoes.WITH_HEIGHT:
        assert height is not None
        assert stand.height_m is not None
        factor = height / stand.height_m
    else:
        factor = 2.0 ** min(speed * weeks / growth.doubling_weeks, 60.0)
    index = max(stand.leaf_area_index, min(stand.leaf_area_index * factor, growth.fullest))
    return Stand(height, index), index / stand.leaf_area_index
