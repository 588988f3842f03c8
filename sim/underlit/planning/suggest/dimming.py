"""The best setting of channels for zones with bands: light adds, so this is arithmetic on stored results.

What is weighed, each before the next: zones met; how far they lie inside their bands, up to where a verdict is sure;
headroom, up to met at 70 % of full power; the highest channel as low as that leaves, which dims fixtures evenly;
channels of a fixture alike; how little the rest is off.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

EASY_SETTING = 0.7
"""A light that meets its zones at 50-70 % ages without falling short; common practice, no source."""
_SURE = 1.2816
"""Standard normal quantile of 90 %: both ends of a band kept to that leave the verdict `right` at 80 %."""
_INSIDE, _HEADROOM, _HIGHEST, _OFF, _UNLIKE = 10.0, 1.0, 0.05, 0.005, 0.02
_EPS = 1e-7


@dataclass(frozen=True)
class Bands:
    """What zones should have [umol/m2/s]: low, high (zones,) float64; tank_uncertainty: relative standard uncertainty, (zones,)
    or of all.

    given: light that no setting changes, from lights of other tanks of a rack (zones,) [umol/m2/s]; None where there is none.
    """

    low: np.ndarray
    high: np.ndarray
    tank_uncertainty: float | np.ndarray
    given: np.ndarray | None = None

    @property
    def sure(self) -> tuple[np.ndarray, np.ndarray]:
        """The part of each band where both its ends are kept to 90 %; its middle where there is no such part."""
        low, high = (
            self.low / np.maximum(1 - _SURE * self.tank_uncertainty, 0.05),
            self.high / (1 + _SURE * self.tank_uncertainty),
        )
        middle = (self.low + self.high) / 2
        empty = low > high
        return np.where(empty, middle, low), np.where(empty, middle, high)

    @property
    def besides(self) -> np.ndarray:
        """The light that no setting changes, (zones,) [umol/m2/s]."""
        return np.zeros(len(self.low)) if self.given is None else self.given

    def beside(self, given: np.ndarray) -> Bands:
        """The same bands where so much light (zones,) is there already [umol/m2/s]."""
        return replace(self, given=given)

    def met(self, values: np.ndarray) -> np.ndarray:
        """Whether means (..., zones) lie in their bands."""
        return (values >= self.low * (1 - _EPS)) & (values <= self.high * (1 + _EPS))


@dataclass(frozen=True)
class Setting:
    """shares: of full power by channel (channels,); values: PPFD of the zones then [umol/m2/s]; met: which are in their
    bands; inside: how far they lie in, 0 at an edge, 1 where sure.
    """

    shares: np.ndarray
    values: np.ndarray
    met: np.ndarray
    inside: float

    @property
    def highest(self) -> float:
        """The highest channel's share of full power."""
        return float(self.shares.max(initial=0.0))


def set_channels(response: np.ndarray, bands: Bands, mixes: Sequence[np.ndarray], *, channels_apart: bool) -> Setting:
    """The best setting of fixtures whose channels stand one after the other in `response`, (channels, zones).

    mixes: levels of each fixture's channels against its brightest; kept unless channels_apart.
    """
    fixture_of = np.repeat(np.arange(len(mixes)), [len(mix) for mix in mixes])
    if channels_apart:
        return best_setting(response, bands, fixture_of)
    mixing = np.zeros((len(mixes), len(response)))
    mixing[fixture_of, np.arange(len(response))] = np.concatenate(mixes)
    levels = best_setting(mixing @ response, bands, np.arange(len(mixes))).shares
    return setting_of(levels @ mixing, response, bands)


def best_setting(response: np.ndarray, bands: Bands, fixture_of: np.ndarray) -> Setting:
    """The best shares of full power, exactly: every largest set of zones that can be met together is weighed.

    response: PPFD of each zone from each channel alone at full power, (channels, zones) [umol/m2/s]; fixture_of: the fixture
    of each channel, (channels,) int.
    """
    weighed = [_best_for(met, response, bands, fixture_of) for met in largest_sets(response, bands)]
    _, shares = max(weighed, key=lambda one: one[0])
    return setting_of(shares, response, bands)


def largest_sets(response: np.ndarray, bands: Bands) -> list[tuple[int, ...]]:
    """All sets of zones, as many as can be met together by one setting, each rising. Branch and bound over the zones."""
    apart = _cannot_share(response, bands)
    zones = [z for z in range(response.shape[1]) if not apart[z, z]]
    found: list[tuple[int, ...]] = [()]

    def grow(chosen: tuple[int, ...], left: list[int]) -> None:
        if len(chosen) + len(left) < len(found[0]):
            return
        if not left:
            if len(chosen) > len(found[0]):
                found.clear()
            found.append(chosen)
            return
        first, rest = left[0], left[1:]
        more = (*chosen, first)
        if not any(apart[first, z] for z in chosen) and _can_meet(more, response, bands):
            grow(more, rest)
        grow(chosen, rest)

    grow((), zones)
    return sorted(set(found))


def _cannot_share(response: np.ndarray, bands: Bands) -> np.ndarray:
    """(zones, zones) bool: pairs that no setting meets both of; on the diagonal, zones that none meets.

    The ratio of two zones' light lies between the smallest and the largest ratio that any channel alone gives.
    """
    most = response.sum(axis=0)
    low, high = bands.low - bands.besides, bands.high - bands.besides
    apart = np.zeros((len(most), len(most)), bool)
    for a in range(len(most)):
        apart[a, a] = most[a] < low[a] or high[a] < 0
        for b in range(a):
            least = float((response[:, a] * low[b] - high[a] * response[:, b]).min())
            greatest = float((response[:, a] * high[b] - low[a] * response[:, b]).max())
            apart[a, b] = apart[b, a] = least > 0 or greatest < 0
    return apart


def _limits(met: tuple[int, ...], response: np.ndarray, bands: Bands) -> tuple[np.ndarray, np.ndarray]:
    """Rows and upper bounds, rows @ shares <= bounds, that keep zones in their bands, in units of the bands' upper ends."""
    z = list(met)
    light, low = (response[:, z] / bands.high[z]).T, bands.low[z] / bands.high[z]
    given = bands.besides[z] / bands.high[z]
    return np.concatenate([-light, light]), np.concatenate([given - low, 1.0 - given])


def _can_meet(met: tuple[int, ...], response: np.ndarray, bands: Bands) -> bool:
    from scipy.optimize import linprog

    rows, bounds = _limits(met, response, bands)
    return bool(linprog(np.zeros(len(response)), A_ub=rows, b_ub=bounds, bounds=(0.0, 1.0)).status == 0)


class _Unknowns(NamedTuple):
    """Where the unknowns of the linear problem stand: shares by channel, how far inside, headroom, the highest share, off by
    zone, level by fixture, unlike its fixture's level by channel.
    """

    shares: slice
    inside: slice
    headroom: slice
    highest: slice
    off: slice
    level: slice
    unlike: slice


def _best_for(
    met: tuple[int, ...], response: np.ndarray, bands: Bands, fixture_of: np.ndarray
) -> tuple[float, np.ndarray]:
    """(gain, shares) of the best setting that meets a set of zones: a linear problem."""
    from scipy.optimize import linprog

    channels, zones = response.shape
    sizes = (channels, 1, 1, 1, zones, int(fixture_of.max()) + 1, channels)
    at = _Unknowns(*(slice(sum(sizes[:i]), sum(sizes[: i + 1])) for i in range(len(sizes))))
    terms = [*_zone_rows(at, met, response, bands), *_channel_rows(at, fixture_of)]
    rows = np.zeros((len(terms), sum(sizes)))
    for row, (_, factors) in zip(rows, terms, strict=True):
        for where, factor in factors:
            row[where] = factor
    cost = np.zeros(sum(sizes))
    cost[at.inside], cost[at.off], cost[at.unlike] = -_INSIDE, _OFF, _UNLIKE
    # headroom is of use only where something is met; else come as near as full power does
    if met:
        cost[at.headroom], cost[at.highest] = -_HEADROOM, _HIGHEST
    limits = [(0.0, None if at.off.start <= i < at.off.stop else 1.0) for i in range(len(cost))]
    solved = linprog(cost, A_ub=rows, b_ub=np.array([bound for bound, _ in terms]), bounds=limits)
    if solved.x is None:
        raise RuntimeError(f"no setting found: {solved.message}")
    return -float(solved.fun), np.clip(solved.x[at.shares], 0.0, 1.0)


_Row = tuple[float, tuple[tuple[int | slice, object], ...]]
"""An upper bound and the factors of unknowns: their sum is at most that."""


def _zone_rows(at: _Unknowns, met: tuple[int, ...], response: np.ndarray, bands: Bands) -> Iterator[_Row]:
    """Zones to be met lie inside their bands; the others count how far they are off. In units of a band's upper end."""
    sure_low, sure_high = (edge / bands.high for edge in bands.sure)
    for z in range(response.shape[1]):
        light, low, given = (part / bands.high[z] for part in (response[:, z], bands.low[z], bands.besides[z]))
        if z in met:
            yield given - low, ((at.shares, -light), (at.inside, sure_low[z] - low))
            yield 1.0 - given, ((at.shares, light), (at.inside, 1.0 - sure_high[z]))
        else:
            yield given - low, ((at.shares, -light), (at.off.start + z, -1.0))
            yield 1.0 - given, ((at.shares, light), (at.off.start + z, -1.0))


def _channel_rows(at: _Unknowns, fixture_of: np.ndarray) -> Iterator[_Row]:
    """What headroom, the highest share and likeness mean."""
    yield 1.0, ((at.highest, 1.0), (at.headroom, 1.0 - EASY_SETTING))
    for c, fixture in enumerate(fixture_of):
        share, own, unlike = at.shares.start + c, at.level.start + int(fixture), at.unlike.start + c
        yield 0.0, ((share, 1.0), (at.highest, -1.0))
        yield 0.0, ((share, 1.0), (own, -1.0), (unlike, -1.0))
        yield 0.0, ((share, -1.0), (own, 1.0), (unlike, -1.0))


def setting_of(shares: np.ndarray, response: np.ndarray, bands: Bands) -> Setting:
    """What given shares (channels,) do."""
    values = shares @ response + bands.besides
    met = bands.met(values)
    return Setting(shares, values, met, _inside(values[met], met, bands))


def _inside(values: np.ndarray, met: np.ndarray, bands: Bands) -> float:
    sure_low, sure_high = (edge[met] for edge in bands.sure)
    low, high = bands.low[met], bands.high[met]
    with np.errstate(divide="ignore", invalid="ignore"):
        from_low = np.where(sure_low > low, (values - low) / (sure_low - low), 1.0)
        from_high = np.where(high > sure_high, (high - values) / (high - sure_high), 1.0)
    return float(np.clip(np.minimum(from_low, from_high), 0.0, 1.0).min(initial=1.0))
