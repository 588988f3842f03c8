"""Why zones stay unmet: what no light in reach can give them, in numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.planning.suggest.dimming import Bands
from underlit.planning.suggest.responses import ChannelLight


@dataclass(frozen=True)
class OutOfReach:
    """A zone that gets at most `most` [umol/m2/s] and wants `low`: from so many fixtures, wherever they hang, or where that is
    None from the lights as they hang.
    """

    zone: str
    most: float
    low: float
    fixtures: int | None


@dataclass(frozen=True)
class TooMuch:
    """A zone that the lights of other tanks alone give at least `least` [umol/m2/s], and that wants at most `high`."""

    zone: str
    least: float
    high: float


@dataclass(frozen=True)
class TooAlike:
    """Two zones whose light cannot differ enough: `brighter` gets at most `at_most` times the light of `dimmer`, and their
    bands want at least `wanted`. as_they_hang: by any dimming; else wherever the lights hang.
    """

    brighter: str
    dimmer: str
    at_most: float
    wanted: float
    as_they_hang: bool

    @property
    def short(self) -> float:
        """By how many times the ratio falls short; above 1 the two cannot both be met."""
        return self.wanted / max(self.at_most, 1e-9)


Conflict = OutOfReach | TooMuch | TooAlike


def conflicts(
    known: Sequence[ChannelLight], bands: Bands, zones: Sequence[str], unmet: Sequence[str], *, fixtures: int | None
) -> list[Conflict]:
    """What stands against the unmet zones with all that is known of the light, the strongest for each.

    known: of one fixture at each place and height that was traced; or, where fixtures is None, of all as they hang.

    Light adds, so the ratio of two zones' light under any fixtures lies between the smallest and the largest ratio that
    any channel at any place gives, or that the light of other tanks gives.
    """
    found: list[Conflict] = []
    besides = np.array([light.besides for light in known])
    parts = np.concatenate([*(light.full for light in known), besides])
    parts = parts[parts.any(axis=1)]
    most = (fixtures or 1) * np.max([light.full.sum(axis=0) for light in known], axis=0) + besides.max(axis=0)
    for name in unmet:
        z = zones.index(name)
        if most[z] < bands.low[z]:
            found.append(OutOfReach(name, float(most[z]), float(bands.low[z]), fixtures))
            continue
        if besides[:, z].min() > bands.high[z]:
            found.append(TooMuch(name, float(besides[:, z].min()), float(bands.high[z])))
            continue
        apart = [_too_alike(parts, bands, zones, pair, fixtures is None) for b in range(len(zones)) if b != z
                 for pair in ((z, b), (b, z))]  # fmt: skip
        worst = max(apart, key=lambda one: one.short, default=None)
        if worst is not None and worst.short > 1 and worst not in found:
            found.append(worst)
    return found


def _too_alike(
    parts: np.ndarray, bands: Bands, zones: Sequence[str], pair: tuple[int, int], as_they_hang: bool
) -> TooAlike:
    bright, dim = pair
    most = float((parts[:, bright] / np.maximum(parts[:, dim], 1e-9)).max(initial=0.0))
    return TooAlike(zones[bright], zones[dim], most, float(bands.low[bright] / bands.high[dim]), as_they_hang)
