"""Tanks drawn from the ranges of a scene's assumptions and traced anew: what ranges by derivative are held against.

`python -m tests.planning.drawn_tanks SCENE [TANKS [PHOTONS]]` prints the departures at the ends of all ranges and the coverage.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.lowering.scene import Lowered, lower
from underlit.planning.ranges import TankRange, TankRanges, both_errors
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.run import Traced, trace
from underlit.scene import Scene, load_scene
from underlit.scene.assumptions.lever import Lever, Moves, with_value
from underlit.scene.assumptions.scene import levers_of

STATED, STATED_OF_EFFECT = 0.02, 0.15
"""How far an effect may be off: of the light, and of the effect; for what is traced anew so much more as its noise."""


@dataclass(frozen=True)
class Departure:
    """One place at one end of one range: effects on its light (factors), as told and as traced anew, and what is allowed."""

    lever: str
    end: int
    place: str
    told: float
    traced: float
    allowed: float

    @property
    def off(self) -> float:
        """Over what is allowed."""
        return abs(self.told - self.traced) / self.allowed


def traced_scene(lowered: Lowered, photons: int, *, seed: int = 1, with_ranges: bool = False) -> Traced:
    """A trace of a budget."""
    found = trace(lowered, photons=photons, seed=seed, with_ranges=with_ranges)
    assert isinstance(found, Traced)
    return found


def points(result: Result) -> list[tuple[str, Estimate]]:
    """Zones and spots with their light."""
    names = [*(z.name for z in result.compiled.zones), *(h.name for h in result.compiled.heads)]
    return list(zip(names, [*result.zone_estimates(), *result.head_estimates()], strict=True))


def ranges_of(lowered: Lowered, result: Result) -> list[TankRange]:
    """Ranges of the same."""
    ranges = TankRanges(lowered, result)
    zones = [ranges.zone(i) for i in range(len(result.compiled.zones))]
    return zones + [ranges.spot(i) for i in range(len(result.compiled.heads))]


def departures(scene: Scene, photons: int, *, both_ends: bool = True) -> Iterator[Departure]:
    """Told effects against those of a trace at the ends of each range (or at the farther one), with the same random numbers."""
    lowered = lower(scene)
    traced = traced_scene(lowered, photons, with_ranges=True)
    assert traced.result.responses is not None
    noise = {tag: k for k, (tag, _) in enumerate(traced.result.responses.ends)}
    levers = [lever for lever in levers_of(scene) if lever.moves is not Moves.LIGHT]
    for lever in levers:
        ends = (0, 1) if both_ends else (int(lever.high - lever.value >= lever.value - lever.low),)
        for end in ends:
            value = (lever.low, lever.high)[end]
            if np.isclose(value, lever.value):
                continue
            try:
                anew = lower(with_value(scene, lever, value))
            except LoweringError:
                continue
            moved = traced_scene(anew, photons).result
            for view in lowered.tanks:
                before, after = traced.result.of_tank(view.tank), moved.of_tank(view.tank)
                for number, ((name, x), (_, y), told) in enumerate(
                    zip(points(before), points(after), ranges_of(view, before), strict=True)
                ):
                    if x.value <= 0 or not np.isfinite(x.half_width):
                        continue
                    effect = next(e for e in told.effects if e.tag == lever.tag)
                    ratio = y.value / x.value
                    allowed = STATED + STATED_OF_EFFECT * abs(ratio - 1) + ratio * np.hypot(x.relative, y.relative)
                    if lever.tag in noise and before.responses is not None:
                        target = before.responses.points[number]
                        error = before.responses.errors[noise[lever.tag], target]
                        allowed += 2 * ratio * min(float(error), 1.0)
                    yield Departure(lever.name, end, name, (effect.low, effect.high)[end], ratio, float(allowed))


def drawn_light(scene: Scene, levers: Sequence[Lever], rng: np.random.Generator, photons: int) -> np.ndarray | None:
    """Light on the zones and spots of a scene with all assumptions drawn from their ranges, and the half widths of its
    simulation error, (2, places); None where it cannot be built.
    """
    values = [float(lever.at(np.array(rng.random()))) for lever in levers]
    gains: dict[str, float] = {}
    everywhere = 1.0
    for lever, value in zip(levers, values, strict=True):
        if lever.moves is not Moves.LIGHT:
            scene = with_value(scene, lever, value)
        elif lever.of:
            gains |= {name: gains.get(name, 1.0) * value for name in lever.of}
        else:
            everywhere *= value
    try:
        lowered = lower(scene)
    except LoweringError:
        return None
    result = traced_scene(lowered, photons, seed=int(rng.integers(1 << 30))).result
    lit = result.dimmed({s: result.dimming.get(s, 1.0) * gains.get(s.fixture, 1.0) for s in result.compiled.sources})
    return np.array([[everywhere * getattr(e, what) for _, e in points(lit)] for what in ("value", "half_width")])


def coverage(scene: Scene, *, tanks: int, photons: int, seed: int = 5) -> dict[str, float]:
    """Share of drawn tanks whose light lies in the range told of the scene, by zone and spot; a scene of one tank.

    The simulation error of both traces counts beside the range: traces are to be long enough for it to be small.
    """
    lowered = lower(scene)
    told = traced_scene(lowered, 4 * photons, with_ranges=True)
    levers, rng = levers_of(scene), np.random.default_rng(seed)
    ranges, at = ranges_of(lowered, told.result), points(told.result)
    inside = np.zeros(len(at))
    made = 0
    while made < tanks:
        light = drawn_light(scene, levers, rng, photons)
        if light is None:
            continue
        made += 1
        for i, (value, width, tank, (_, e)) in enumerate(zip(*light, ranges, at, strict=True)):
            low, high = both_errors(e.value, float(np.hypot(width, e.half_width)), (tank.low, tank.high))
            inside[i] += low <= value <= high
    return {name: float(share) for (name, _), share in zip(at, inside / tanks, strict=True)}


def main() -> None:
    """Print both for a scene file."""
    path, *numbers = sys.argv[1:]
    tanks, photons = (*map(int, numbers), *(200, 1 << 20)[len(numbers) :])
    scene = load_scene(Path(path))
    found = sorted(departures(scene, photons), key=lambda one: -one.off)
    print(f"{path}: {len(found)} effects, {sum(one.off > 1 for one in found)} beyond what is stated; the worst:")
    for one in found[:6]:
        print(
            f"  {one.lever}, end {one.end}, {one.place}: told {one.told:.3f}, traced {one.traced:.3f}, off {one.off:.2f}"
        )
    print(
        f"coverage over {tanks} tanks:",
        {k: round(v, 3) for k, v in coverage(scene, tanks=tanks, photons=photons).items()},
    )


if __name__ == "__main__":
    main()
