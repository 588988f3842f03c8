"""Dimming answered from a kept result, at once: light, evenness, verdicts and DLI of every zone at any setting.

    dimmer = Dimmer(traced.lowered, traced.result)
    for zone in dimmer.reports({"bar: white": 0.6}):
        print(zone.name, zone.ppfd.value, zone.verdict)

Light adds, so everything a report says of patches is kept source by source once, and a setting only weighs it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.lowering.tallies import ZonePlace
from underlit.planning.patches import Patches, spread, zone_patches
from underlit.planning.zones import Verdict, ZoneReport, chances, daily_integrals, verdict, zone_reports
from underlit.results.estimate import Estimate
from underlit.results.result import Result


class Dimmer:
    """Answers for one traced scene; making it takes as long as a few reports, asking it milliseconds."""

    def __init__(self, lowered: Lowered, result: Result) -> None:
        self._lowered = lowered
        self._names = [s.name for s in result.compiled.sources]
        self._full = result.dimmed(dict.fromkeys(self._names, 1.0))
        # What is not known about each zone's tank does not depend on the dimming, so it is read off lit zones.
        self._at_full = zone_reports(lowered, self._full)
        self._patches = [self._by_source(place) for place in lowered.zones]

    def _by_source(self, place: ZonePlace) -> list[Patches | None]:
        dark = dict.fromkeys(self._names, 0.0)
        return [zone_patches(self._full.dimmed({**dark, name: 1.0}), place) for name in self._names]

    def reports(self, dimming: Mapping[str, float]) -> list[ZoneReport]:
        """Reports of all zones at a dimming by source name (full where not named), as `zone_reports` would give them.

        KeyError for a source that is not there.
        """
        result = self._full.dimmed(dimming)
        levels = [result.dimming[name] for name in self._names]
        found = zip(
            self._at_full, result.zones().values(), daily_integrals(self._lowered, result), self._patches, strict=True
        )
        return [self._report(full, ppfd, float(dli), patches, levels) for full, ppfd, dli, patches in found]

    def _report(
        self, full: ZoneReport, ppfd: Estimate, dli: float, by_source: list[Patches | None], levels: list[float]
    ) -> ZoneReport:
        relative = full.unknown / full.ppfd.value if full.ppfd.value > 0 else 0.0
        band, chance, limits = full.band, None, None
        if band is not None:
            limits = band.low, band.high
            chance = chances(ppfd.value, math.hypot(ppfd.standard_error, relative / 1.96 * ppfd.value), band)
        return replace(
            full,
            ppfd=ppfd,
            unknown=relative * ppfd.value,
            spread=spread(_weighed(by_source, levels), limits),
            verdict=Verdict.NO_AIM if chance is None else verdict(chance),
            chance=chance,
            dli=dli,
        )


def _weighed(by_source: list[Patches | None], levels: list[float]) -> Patches | None:
    pairs = [(p, level) for p, level in zip(by_source, levels, strict=True) if p is not None]
    if not pairs:
        return None
    values = np.sum([level * p.values for p, level in pairs], axis=0)
    without = np.sum([level * p.without for p, level in pairs], axis=0)
    return Patches(values, without, pairs[0][0].weights)
