"""A suggestion: a way to hang and set the light, verified by a full trace, and how owners weigh it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlit.planning.chart.target import LOWEST_SETTING
from underlit.planning.decision import Decision
from underlit.planning.ends import Ends, ends_of
from underlit.planning.suggest.dimming import EASY_SETTING, Bands, set_channels, setting_of
from underlit.planning.suggest.reach import Reach, reach_of
from underlit.planning.suggest.responses import channel_light, full_power_trace
from underlit.planning.suggest.search_space import Hanging, Weigh, mix_of, scene_with
from underlit.planning.zones import Verdict, ZoneReport, zone_reports
from underlit.results.result import Result
from underlit.run import Traced
from underlit.scene import Scene

SOME_HEADROOM = 0.85
FINEST_STEP = 0.01
"""Dimmers are set in whole per cents."""
HARD_TO_HOLD = f"few dimmers hold less than {100 * LOWEST_SETTING:.0f} %; hang it higher or choose a weaker light"


@dataclass(frozen=True)
class ChannelSetting:
    """How far a channel of a fixture is dimmed: share of full power."""

    fixture: str
    channel: str
    share: float


@dataclass(frozen=True)
class Suggestion:
    """hanging: None where the light hangs as the scene says. settings: by channel; zones: those with a band, as verified;
    elsewhere: those of the other tanks of its rack, named after their tanks.

    buys: fixtures to buy; cost: of those, None where a price is not said; watts: drawn at the setting, None where not said.
    ends: of the tank, against its middle, see `planning.ends`. result: the full trace, dimmed so. together: all lights are
    set by one factor. decision: where only dimming was asked, of a tank that stands alone.
    """

    scene: Scene
    hanging: Hanging | None
    settings: tuple[ChannelSetting, ...]
    zones: tuple[ZoneReport, ...]
    elsewhere: tuple[ZoneReport, ...]
    lid_kept: bool
    buys: int
    cost: float | None
    watts: float | None
    reach: Reach
    ends: Ends | None
    result: Result
    together: bool = False
    decision: Decision | None = None

    @property
    def met(self) -> tuple[ZoneReport, ...]:
        """Zones whose mean lies in their band."""
        return tuple(zone for zone in self.zones if zone.in_band)

    @property
    def unmet(self) -> tuple[ZoneReport, ...]:
        """The other zones."""
        return tuple(zone for zone in self.zones if not zone.in_band)

    @property
    def sure(self) -> int:
        """Zones with the verdict `right`, with the tank error counted in."""
        return sum(zone.verdict is Verdict.RIGHT for zone in self.zones)

    @property
    def all_lit(self) -> bool:
        """Whether every fixture gives light; one that is off is not worth hanging."""
        lit = {setting.fixture for setting in self.settings if setting.share >= FINEST_STEP}
        return lit == {fixture.name for fixture in self.scene.fixtures}

    @property
    def highest(self) -> float:
        """The highest channel's share of full power."""
        return max((setting.share for setting in self.settings), default=0.0)

    def weight(self, order: Sequence[Weigh]) -> tuple[float, ...]:
        """What owners weigh, in an order; lower is better. At the end how many warnings there are and how high it hangs."""
        parts: dict[Weigh, tuple[float, ...]] = {
            Weigh.ZONES: (-len(self.met), -self.sure),
            Weigh.HEADROOM: (headroom_class(self.highest),),
            Weigh.LID: (0.0 if self.lid_kept else 1.0,),
            Weigh.PRICE: (math.inf if self.cost is None else self.cost, self.buys),
            Weigh.WATTS: (math.inf if self.watts is None else round(self.watts, 1),),
        }
        hangs = 0.0 if self.hanging is None else self.hanging.above_rim_m
        return (*(value for what in order for value in parts[what]), len(self.reach.warnings), hangs)


def headroom_class(highest: float) -> float:
    """0 where the zones are met at 70 % of full power or less, 1 up to 85 %, else 2."""
    if highest <= EASY_SETTING + 1e-9:
        return 0.0
    return 1.0 if highest <= SOME_HEADROOM + 1e-9 else 2.0


@dataclass(frozen=True)
class Question:
    """What is asked: the scene, the zones that have a band, and whether a fixture's mix of channels may change."""

    scene: Scene
    zones: tuple[str, ...]
    bands: Bands
    channels_apart: bool


def verified(asked: Question, hanging: Hanging, photons: int, seed: int) -> Suggestion:
    """The suggestion as a full trace finds it, dimmed exactly on what that counted. One thread."""
    traced = full_power_trace(scene_with(asked.scene, hanging), photons=photons, seed=seed, threads=1)
    return set_best(asked, traced, hanging)


def set_best(asked: Question, traced: Traced, hanging: Hanging | None, *, together: bool = False) -> Suggestion:
    """The best setting, in whole per cents, of a scene traced at full power.

    together: all lights by one factor, in the proportions in which the scene sets them.
    """
    light, fixtures = channel_light(traced, asked.zones), traced.lowered.scene.fixtures
    bands, mixes = asked.bands.beside(light.besides), [mix_of(fixture) for fixture in fixtures]
    if together:
        mixes = [mix_of(*fixtures)]
    best = set_channels(light.full, bands, mixes, channels_apart=asked.channels_apart and not together)
    whole = np.round(best.shares / FINEST_STEP) * FINEST_STEP
    shares = whole if setting_of(whole, light.full, bands).met.sum() >= best.met.sum() else best.shares
    set_so = as_set(asked, traced, hanging, dict(zip(light.channels, shares.tolist(), strict=True)))
    return replace(set_so, together=together)


def as_set(
    asked: Question, traced: Traced, hanging: Hanging | None, shares: dict[tuple[str, str], float]
) -> Suggestion:
    """What given shares of full power, by fixture and channel of the tank, do."""
    own = [source for source in traced.lowered.compiled.sources if source.tank == traced.lowered.tank]
    result = traced.result.dimmed({source: shares[source.fixture, source.channel] for source in own})
    built = traced.lowered.scene
    found, count = zone_reports(traced.lowered, result), len(traced.lowered.own_zones)
    reports = {report.name: report for report in found[:count]}
    buys = 0 if hanging is None else hanging.kind.to_buy(len(hanging.places_m))
    price = 0.0 if buys == 0 or hanging is None else hanging.kind.price
    return Suggestion(
        scene=built,
        hanging=hanging,
        settings=tuple(ChannelSetting(fixture, channel, share) for (fixture, channel), share in shares.items()),
        zones=tuple(reports[name] for name in asked.zones),
        elsewhere=tuple(report for report in found[count:] if report.band is not None),
        lid_kept=asked.scene.lid is None or built.lid is not None,
        buys=buys,
        cost=None if price is None else buys * price,
        watts=_watts(built, shares),
        reach=_with_low_settings(reach_of(built, result), shares),
        ends=ends_of(traced.lowered, result),
        result=result,
    )


def _with_low_settings(reach: Reach, shares: dict[tuple[str, str], float]) -> Reach:
    """The same with a warning of each channel that is set lower than dimmers hold."""
    low = [name for name, share in shares.items() if FINEST_STEP / 2 <= share < LOWEST_SETTING]
    said = [f"{fixture} at {100 * shares[fixture, channel]:.0f} %: {HARD_TO_HOLD}" for fixture, channel in low]
    return replace(reach, warnings=(*reach.warnings, *dict.fromkeys(said)))


def _watts(scene: Scene, shares: dict[tuple[str, str], float]) -> float | None:
    """Watts at a setting, taken to fall with the light; None where a fixture does not say."""
    total = 0.0
    for fixture in scene.fixtures:
        if fixture.output.watts is None:
            return None
        level = sum(
            share * shares[fixture.name, channel.name]
            for channel, share in zip(fixture.channels, fixture.shares, strict=True)
        )
        total += fixture.output.watts * level
    return total
