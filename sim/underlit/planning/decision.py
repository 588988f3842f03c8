"""What to do about the light: the setting at which most zones are right, and what stands against the others.

    for zone in decide(traced.lowered, traced.result).zones:
        print(zone.name, zone.right)

All of it is arithmetic on a kept result: light adds, so what each fixture and channel gives each zone is known, and a setting
is a sum. All fixtures are dimmed by a common factor first; each by itself, and then each channel by itself (which changes the
colour), only where that makes more zones right. A zone is right where its verdict is `right`, so both errors count. What a
lid takes is read from the ledger; how the light changes with height is not in a result, so it is told as a direction only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property

import numpy as np

from underlit.lowering.records import Source
from underlit.lowering.scene import Lowered
from underlit.planning.nearest import Elsewhere, elsewhere, has_lid, lid_gain
from underlit.planning.ranges import TankRange, TankRanges
from underlit.planning.zones import Verdict, judged
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.scene import Band, Fixture, Scene

STEPS = 100
"""Dimmers are set in whole per cents."""
SECOND_LIGHT = 2.0
"""A second light like the first one at most doubles what a zone gets, for light adds."""
_WELL_INSIDE = 0.1
"""Lights that are set apart are kept about so far from the ends of what is right, where there is room."""
Channel = tuple[int, str, str]
"""Number of the tank, fixture, channel."""


@dataclass(frozen=True)
class Wanted:
    """A zone with a band: its number in the result, what people call it, and the range of the real tank's light."""

    number: int
    name: str
    band: Band
    tank: TankRange

    def judged(self, value: float, relative: float) -> tuple[Verdict, float]:
        """Verdict of a PPFD [umol/m2/s] with a relative standard simulation error, and the chance that it is right."""
        estimate = Estimate(value, relative * value, math.inf)
        said, chance = judged(estimate, self.tank, self.band)
        return said, 0.0 if chance is None else chance[1]

    def holds(self, value: float) -> bool:
        """Whether a PPFD lies in the band."""
        return self.band.low <= value <= self.band.high


@dataclass(frozen=True)
class Span:
    """A range of settings, shares of full power of the brightest channel."""

    low: float
    high: float


@dataclass(frozen=True)
class ZoneSetting:
    """A zone and the settings of all lights together that suit it.

    right: where its verdict is right; inside: where its mean lies in its band; both None where no setting does that.
    at_full: PPFD with the brightest channel at full power; most: with all channels there; value, verdict: as decided.
    """

    wanted: Wanted
    right: Span | None
    inside: Span | None
    at_full: float
    most: float
    value: float
    verdict: Verdict

    @property
    def name(self) -> str:
        """What people call it."""
        return self.wanted.name

    @property
    def met(self) -> bool:
        """Whether its mean lies in its band as decided."""
        return self.wanted.holds(self.value)

    @property
    def wants_times(self) -> float:
        """How many times the most light of these fixtures its band starts at; above 1 they cannot light it enough."""
        return self.wanted.band.low / self.most if self.most > 0 else math.inf


@dataclass(frozen=True)
class LightSetting:
    """How to set a fixture: shares of full power by channel, and by which factors all of them may be less or more.

    name: with its tank's, where that has one; step: of its measured dimming curve, where it is set by that.
    """

    fixture: str
    tank: int
    name: str
    shares: dict[str, float]
    least: float
    most: float
    step: float | None = None

    @property
    def level(self) -> float:
        """The brightest channel's share of full power."""
        return max(self.shares.values())

    @property
    def span(self) -> Span:
        """How far the brightest channel may be dimmed or brightened."""
        return Span(self.least * self.level, self.most * self.level)


class By(StrEnum):
    """What was set: all lights by one factor, each fixture by itself, each channel by itself."""

    ALL = "all lights together"
    FIXTURE = "each fixture by itself"
    CHANNEL = "each channel by itself"


@dataclass(frozen=True)
class Decision:
    """How to set the light.

    lights: by fixture; levels: by source, for `Result.dimmed`; is_set: whether the scene sets it so already; zones: those
    with a band; lid_gain: by how many times more light comes with the lid off, at the least (None: no lid); elsewhere: by
    name of a zone that is not met, where its plants would get what they need.
    """

    lights: tuple[LightSetting, ...]
    levels: dict[Source, float]
    by: By
    is_set: bool
    zones: tuple[ZoneSetting, ...]
    lid_gain: float | None = None
    elsewhere: dict[str, Elsewhere] | None = None

    @cached_property
    def right(self) -> tuple[ZoneSetting, ...]:
        """Zones whose verdict is right as decided."""
        return tuple(zone for zone in self.zones if zone.verdict is Verdict.RIGHT)

    @cached_property
    def unmet(self) -> tuple[ZoneSetting, ...]:
        """Zones that are too dim or too bright as decided."""
        return tuple(zone for zone in self.zones if zone.verdict in (Verdict.TOO_DIM, Verdict.TOO_BRIGHT))

    @cached_property
    def unsure(self) -> tuple[ZoneSetting, ...]:
        """Zones that are borderline as decided."""
        return tuple(zone for zone in self.zones if zone.verdict is Verdict.BORDERLINE)

    @property
    def level(self) -> float:
        """The brightest channel's share of full power."""
        return max((light.level for light in self.lights), default=0.0)


def decide(lowered: Lowered, result: Result, *, channels_apart: bool = True) -> Decision:
    """How to set the light of a traced scene, of a rack for all its tanks.

    Parameters
    ----------
    lowered : Lowered
        The scene as it was traced.
    result : Result
        What the trace found; its dimming is what the scene sets.
    channels_apart : bool
        Whether the channels of a fixture may be set apart, which changes its colour, where nothing else does as well.

    Returns
    -------
    Decision
        Without zones where none has a band.
    """
    wanted = _wanted(lowered, lit(result))
    made = decided(result, wanted, channels_apart=channels_apart)
    return replace(
        made,
        lights=tuple(_on_its_dial(lowered, light) for light in made.lights),
        elsewhere=elsewhere(
            lowered,
            result.dimmed(made.levels),
            [(zone.name, zone.wanted.number, zone.wanted.band) for zone in made.unmet],
        ),
    )


def _on_its_dial(lowered: Lowered, light: LightSetting) -> LightSetting:
    """The same with the step of the controller, for a fixture that the scene sets by one."""
    scene = lowered.scene_of(light.tank)
    fixture = next(fixture for fixture in scene.fixtures if fixture.name == light.fixture)
    was = max(fixture.level_of(channel) for channel in fixture.channels)
    if fixture.step is None or fixture.dimming_curve is None or was <= 0:
        return light
    steps, shares = np.array(fixture.dimming_curve, dtype=np.float64).T
    order = np.argsort(shares)
    return replace(light, step=float(np.interp(fixture.level * light.level / was, shares[order], steps[order])))


def _wanted(lowered: Lowered, result: Result) -> list[Wanted]:
    views = {tank.tank: tank for tank in lowered.tanks}
    ranges = {number: TankRanges(view, result.of_tank(number)) for number, view in views.items()}
    seen = dict.fromkeys(views, 0)
    found = []
    for number, place in enumerate(lowered.zones):
        view, zone = views[place.tank], lowered.zone_of(place)
        band = None if zone is None else view.scene.band_of(zone)
        if band is not None:
            found.append(Wanted(number, place.name, band, ranges[place.tank].zone(seen[place.tank])))
        seen[place.tank] += 1
    return found


def scene_as_decided(scene: Scene, made: Decision) -> Scene:
    """The scene with its fixtures set as decided, by their dimming or the step of their curve; it needs no new trace."""
    settings = {light.fixture: light for light in made.lights if light.tank == 0}
    return scene.model_copy(update={"fixtures": tuple(_set(f, settings[f.name]) for f in scene.fixtures)})


def _set(fixture: Fixture, light: LightSetting) -> Fixture:
    if light.step is not None:
        return fixture.model_copy(update={"step": light.step})
    was = {channel.name: fixture.level_of(channel) for channel in fixture.channels}
    if max(was.values()) <= 0:
        return fixture.model_copy(update={"dimming": light.level})
    factor = light.level / max(was.values())
    channels = [
        channel.model_copy(update={"dimming": channel.dimming * share / (factor * was[channel.name])})
        if was[channel.name] > 0 and factor > 0
        else channel
        for channel, share in zip(fixture.channels, light.shares.values(), strict=True)
    ]
    return fixture.model_copy(update={"dimming": fixture.dimming * factor, "channels": tuple(channels)})


def decided(result: Result, wanted: Sequence[Wanted], *, channels_apart: bool = True) -> Decision:
    """The same of a result alone, for zones that are known by their bands."""
    light = _Light.of(result, wanted)
    best, by = light.best_together(), By.ALL
    if light.score(light.levels) >= light.score(best):
        best = light.levels
    before = By.ALL
    for way in (By.FIXTURE, By.CHANNEL) if channels_apart else (By.FIXTURE,):
        if light.score(best)[0] == len(wanted):
            break
        if light.parts(way) == light.parts(before):
            continue
        before = way
        found = light.best_apart(channels_apart=way is By.CHANNEL)
        if light.score(found) > light.score(best):
            best, by = found, way
    levels = {s: float(best[light.channels.index(_channel(s))]) for s in result.compiled.sources}
    is_set = bool(np.allclose(best, light.levels, atol=1e-9))
    gain = lid_gain(result) if has_lid(result) else None
    return Decision(light.settings(best, by), levels, by, is_set, tuple(light.zone_settings(best)), gain)


def lit(result: Result) -> Result:
    """A result to take errors from: as it is set, or at full power where all lights are off."""
    return result if result.ppf > 0 else result.dimmed(dict.fromkeys(result.compiled.sources, 1.0))


def _channel(source: Source) -> Channel:
    return source.tank, source.fixture, source.channel


@dataclass(frozen=True)
class _Light:
    """What each channel at full power gives each zone that wants something, (channels, zones) [umol/m2/s].

    names: of their fixtures, for people; levels: as set (channels,); errors: relative standard simulation errors of the zones;
    known: verdicts and chances found so far.
    """

    channels: list[Channel]
    names: list[str]
    full: np.ndarray
    levels: np.ndarray
    errors: np.ndarray
    wanted: Sequence[Wanted]
    known: dict[tuple[int, float], tuple[Verdict, float]] = field(default_factory=dict)

    @classmethod
    def of(cls, result: Result, wanted: Sequence[Wanted]) -> _Light:
        sources = result.compiled.sources
        by_source = result.dimmed(dict.fromkeys(sources, 1.0)).zone_values_by_source()
        channels = list(dict.fromkeys(map(_channel, sources)))
        names = {_channel(s): f"{s.tank_name}: {s.fixture}" if s.tank_name else s.fixture for s in sources}
        full, levels = np.zeros((len(channels), len(wanted))), np.zeros(len(channels))
        for source, row in zip(sources, by_source, strict=True):
            at = channels.index(_channel(source))
            full[at] += row[[one.number for one in wanted]]
            levels[at] = result.dimming.get(source, 1.0)
        estimates = lit(result).zone_estimates()
        errors = [estimates[one.number] for one in wanted]
        relative = np.array([e.sigma / e.value if e.value > 0 else 0.0 for e in errors])
        return cls(channels, list(names.values()), full, levels, relative, wanted)

    @property
    def mix(self) -> np.ndarray:
        """Levels against the brightest channel, as set; all 1 where all lights are off."""
        return self.levels / self.levels.max() if self.levels.max(initial=0.0) > 0 else np.ones(len(self.levels))

    def judged(self, levels: np.ndarray) -> list[tuple[Verdict, float]]:
        return [self._judged(z, float(value)) for z, value in enumerate(levels @ self.full)]

    def _judged(self, z: int, value: float) -> tuple[Verdict, float]:
        """Remembered: every way to a setting asks for the same values."""
        key = z, round(value, 9)
        if key not in self.known:
            self.known[key] = self.wanted[z].judged(value, float(self.errors[z]))
        return self.known[key]

    def score(self, levels: np.ndarray) -> tuple[int, int]:
        """Zones that are right, and zones whose mean lies in the band."""
        values = levels @ self.full
        right = sum(said is Verdict.RIGHT for said, _ in self.judged(levels))
        return right, sum(one.holds(float(v)) for one, v in zip(self.wanted, values, strict=True))

    def best_together(self) -> np.ndarray:
        """The mix as set at the whole per cent where most zones are right, then most lie in their bands, then are likely to."""
        steps = [self.mix * step / STEPS for step in range(1, STEPS + 1)]
        return max(steps, key=lambda levels: (*self.score(levels), math.fsum(c for _, c in self.judged(levels))))

    def parts(self, way: By) -> list[list[int]]:
        """Numbers of the channels that are set as one."""
        keys = {By.ALL: lambda _: (), By.FIXTURE: lambda channel: channel[:2], By.CHANNEL: lambda channel: channel}
        key: Callable[[Channel], tuple[object, ...]] = keys[way]
        return [
            [i for i, channel in enumerate(self.channels) if key(channel) == part]
            for part in dict.fromkeys(map(key, self.channels))
        ]

    def best_apart(self, *, channels_apart: bool) -> np.ndarray:
        """The best setting of each fixture, or each channel, in whole per cents."""
        # the package of suggestions itself asks for decisions
        from underlit.planning.suggest.dimming import Bands, set_channels

        low, high = np.array([(one.band.low, one.band.high) for one in self.wanted]).T
        surely_low, surely_high = np.array([self._right_values(z) for z in range(len(self.wanted))]).T
        mixes = [self.levels[part] for part in self.parts(By.FIXTURE)]
        mixes = [mix / mix.max() if mix.max() > 0 else np.ones(len(mix)) for mix in mixes]
        tried = []
        for bands in (Bands(surely_low, surely_high, _WELL_INSIDE), Bands(low, high, _WELL_INSIDE)):
            shares = set_channels(self.full, bands, mixes, channels_apart=channels_apart).shares
            tried += [np.round(shares * STEPS) / STEPS, shares]
        return max(tried, key=self.score)

    def _right_values(self, z: int) -> tuple[float, float]:
        """PPFD between which a zone is right; its band where that is nowhere."""
        one = self.wanted[z]
        tried = np.geomspace(max(one.band.low, 1e-3 * one.band.high), one.band.high, 200)
        right = [float(v) for v in tried if self._judged(z, float(v))[0] is Verdict.RIGHT]
        return (right[0], right[-1]) if len(right) > 1 else (one.band.low, one.band.high)

    # -- told ---------------------------------------------------------------------------------------------------------
    def settings(self, levels: np.ndarray, by: By) -> tuple[LightSetting, ...]:
        """Each fixture as set, with the range of what is set with it that keeps the same zones right."""
        span = {
            i: self._factors(levels, part) for part in self.parts(By.ALL if by is By.ALL else By.FIXTURE) for i in part
        }
        return tuple(
            LightSetting(
                self.channels[part[0]][1],
                self.channels[part[0]][0],
                self.names[part[0]],
                {self.channels[i][2]: float(levels[i]) for i in part},
                *span[part[0]],
            )
            for part in self.parts(By.FIXTURE)
        )

    def _factors(self, levels: np.ndarray, part: list[int]) -> tuple[float, float]:
        """By which factors a part may be dimmed or brightened, in whole per cents, so that no zone is worse off."""
        top = float(levels[part].max())
        if top <= 0:
            return 1.0, 1.0
        kept = self._standing(levels)

        def keeps(step: int) -> bool:
            changed = levels.copy()
            changed[part] *= step / STEPS / top
            return all(a >= b for a, b in zip(self._standing(changed), kept, strict=True))

        here = round(top * STEPS)
        low = high = here
        while low > 1 and keeps(low - 1):
            low -= 1
        while high < STEPS and keeps(high + 1):
            high += 1
        return (low / STEPS / top if low < here else 1.0), (high / STEPS / top if high > here else 1.0)

    def _standing(self, levels: np.ndarray) -> list[int]:
        """2 where a zone is right, 1 where its mean lies in its band, 0 elsewhere."""
        values = levels @ self.full
        return [
            2 if said is Verdict.RIGHT else int(one.holds(float(v)))
            for (said, _), one, v in zip(self.judged(levels), self.wanted, values, strict=True)
        ]

    def zone_settings(self, levels: np.ndarray) -> Iterable[ZoneSetting]:
        at_full, most, values = self.mix @ self.full, self.full.sum(axis=0), levels @ self.full
        steps = [self._standing(self.mix * step / STEPS) for step in range(1, STEPS + 1)]
        for z, (one, (said, _)) in enumerate(zip(self.wanted, self.judged(levels), strict=True)):
            right, inside = (_span([step for step, met in enumerate(steps, 1) if met[z] >= least]) for least in (2, 1))
            yield ZoneSetting(one, right, inside, float(at_full[z]), float(most[z]), float(values[z]), said)


def _span(steps: list[int]) -> Span | None:
    return Span(steps[0] / STEPS, steps[-1] / STEPS) if steps else None
