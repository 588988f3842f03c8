"""Why zones stay unmet: what no light in reach can give them, in numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.planning.suggest.dimming import Bands
from underlit.planning.suggest.responses import Response


@dataclass(frozen=True)
class OutOfReach:
    """A zone that gets at most `most` [umol/m2/s] from so many fixtures, wherever they hang, and wants `low`."""

    zone: str
    most: float
    low: float
    fixtures: int


@dataclass(frozen=True)
class TooAlike:
    """Two zones whose light cannot differ enough: `brighter` gets at most `at_most` times the light of `dimmer`, and their
    bands want at least `wanted`.
    """

    brighter: str
    dimmer: str
    at_most: float
    wanted: float


def conflicts(
    responses: Sequence[Response], bands: Bands, zones: Sequence[str], unmet: Sequence[str], fixtures: int
) -> list[OutOfReach | TooAlike]:
    """What stands against the unmet zones, at every place and height that was traced.

    Light adds, so the ratio of two zones' light under any fixtures lies between the smallest and the largest ratio that
    any channel at any place gives.
    """
    if not responses:
        return []
    found: list[OutOfReach | TooAlike] = []
    nodes = np.concatenate([response.nodes.reshape(-1, len(zones)) for response in responses])
    whole = np.concatenate([response.nodes.sum(axis=1) for response in responses])
    for name in unmet:
        z = zones.index(name)
        most = fixtures * float(whole[:, z].max())
        if most < bands.low[z]:
            found.append(OutOfReach(name, most, float(bands.low[z]), fixtures))
            continue
        for b in range(len(zones)):
            if b == z:
                continue
            for bright, dim in ((z, b), (b, z)):
                most_ratio = float((nodes[:, bright] / np.maximum(nodes[:, dim], 1e-9)).max())
                wanted = float(bands.low[bright] / bands.high[dim])
                said = TooAlike(zones[bright], zones[dim], most_ratio, wanted)
                if most_ratio < wanted and said not in found:
                    found.append(said)
    return found
