"""The two axes of a chart: lights and tanks, from scene files or the catalogue, and the scene of a light over a tank."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from underlit.scene import Fixture, Scene, SceneError, load_scene, scene_from_dict
from underlit.scene.checks.scene import check_scene
from underlit.scene.keys import alternatives_of
from underlit.text.problem import shown

T = TypeVar("T")

FILE_ENDING = ".toml"
_STAND = {"inside_size": ["2 m", "2 m", "50 cm"]}
"""A tank to read a fixture of the catalogue over: large enough for any."""


class ChartError(ValueError):
    """Something the user can put right, in one line."""


@dataclass(frozen=True)
class Light:
    """One or more fixtures that hang together. middles: where each one's middle is, as shares of length and depth.

    source: the scene file or the entry of the catalogue that it was asked for by.
    """

    name: str
    fixtures: tuple[Fixture, ...]
    middles: tuple[tuple[float, float], ...]
    source: str

    @property
    def watts(self) -> float | None:
        """Watts at full power; None where one of them does not say."""
        return full_watts(self.fixtures)

    @property
    def ppf(self) -> float:
        """PPF at full power [umol/s]."""
        return sum(sum(fixture.full_channel_ppf) for fixture in self.fixtures)


@dataclass(frozen=True)
class TankSpot:
    """A tank with all that is in it but its light, zones, reading spots and the other tanks of its rack."""

    name: str
    scene: Scene

    @property
    def size_m(self) -> tuple[float, float, float]:
        """Inside length, front to back and height [m]."""
        return self.scene.tank.inside_m


def lights(names: Iterable[str | Path], *, above_rim_m: float | None = None) -> list[Light]:
    """Lights by scene file (all its fixtures together) or by the name of a fixture of the catalogue.

    above_rim_m: hang every fixture this high over the rim; by default as its scene says, or as its form usually hangs.
    Raises ChartError or SceneError.
    """
    found = _named(names, _light, "light")
    if above_rim_m is None:
        return found
    up = {"above_rim": above_rim_m} | dict.fromkeys(alternatives_of(Fixture, "above_rim"))
    return [replace(x, fixtures=tuple(f.model_copy(update=up) for f in x.fixtures)) for x in found]


def tanks(names: Iterable[str | Path], *, settled: bool | None = None) -> list[TankSpot]:
    """Tanks by scene file or by the name of a tank of the catalogue.

    A tank of the catalogue has no lid, and the substrate and water that scenes default to. Plants are to grow in each, so
    panes that its scene says nothing of are overgrown, or clean in a new tank; ``settled`` goes before what the scenes say
    of that. Raises ChartError or SceneError.
    """
    return _named(names, partial(_tank, settled=settled), "tank")


def full_watts(fixtures: Sequence[Fixture]) -> float | None:
    """Watts of fixtures at full power; None where one of them does not say."""
    watts = [fixture.output.watts for fixture in fixtures]
    return None if any(w is None for w in watts) else float(sum(w or 0.0 for w in watts))


def _named(names: Iterable[str | Path], make: Callable[[str, str], T], what: str) -> list[T]:
    texts = [str(name) for name in names]
    if not texts:
        raise ChartError(f"name at least one {what}: a scene file or an entry of the catalogue")
    twice = next((text for i, text in enumerate(texts) if text in texts[:i]), None)
    if twice is not None:
        raise ChartError(f"the {what} {shown(twice)} is named twice; name it once")
    labels = [Path(text).stem if is_file(text) else text for text in texts]
    labels = [text if labels.count(label) > 1 else label for text, label in zip(texts, labels, strict=True)]
    return [make(text, label) for text, label in zip(texts, labels, strict=True)]


def is_file(text: str) -> bool:
    """Whether a name is that of a scene file; else it is an entry of the catalogue."""
    return text.endswith(FILE_ENDING)


def _light(text: str, label: str) -> Light:
    if is_file(text):
        scene = load_scene(text)
    else:
        scene = _of_entry({"tank": _STAND, "fixture": [{"from": text}]}, "light", text)
    if not scene.fixtures:
        raise ChartError(f"{text}: the scene has no light: add a [[fixture]]")
    length, depth, _ = scene.tank.inside_m
    places = [scene.fixture_centre_m(fixture) for fixture in scene.fixtures]
    return Light(label, scene.fixtures, tuple((x / length, y / depth) for x, y, _ in places), text)


def _tank(text: str, label: str, settled: bool | None) -> TankSpot:
    scene = load_scene(text) if is_file(text) else _of_entry({"tank": {"from": text}}, "tank", text)
    alone = scene.model_copy(update={"fixtures": (), "zones": (), "spots": (), "rack": ()})
    return TankSpot(label, alone.taken_as_planted("the chart asks for plants", settled=settled))


def _of_entry(tables: dict[str, Any], what: str, name: str) -> Scene:
    try:
        return scene_from_dict(tables)
    except SceneError as problem:
        said = problem.problems[0].message
        raise ChartError(
            f"{what} {shown(name)}: {said}; or give a scene file (its name ends in {FILE_ENDING})"
        ) from None


def scene_of(light: Light, tank: TankSpot) -> Scene:
    """The light over the tank: each fixture keeps its height, and its place as a share of length and depth, or its clip.

    Raises ChartError with the first reason why it cannot hang there.
    """
    length, depth, _ = tank.size_m
    taken = _names_in(tank.scene)
    hung = []
    for fixture, (across, back) in zip(light.fixtures, light.middles, strict=True):
        name = fixture.name if fixture.name not in taken else f"{fixture.name} (light)"
        place = None if fixture.clip is not None else (across * length, back * depth)
        hung.append(fixture.model_copy(update={"name": name, "position": place}))
    scene = tank.scene.model_copy(update={"fixtures": tuple(hung)})
    problems = check_scene(scene)
    if problems:
        raise ChartError(problems[0].message)
    return scene


def _names_in(scene: Scene) -> set[str]:
    solids = [solid.name for solid in (*scene.wood, *scene.stone)]
    return {*solids, *(group.name for group in scene.plants)}


def overhang_m(light: Light, tank: TankSpot) -> float:
    """How far the longest fixture is longer than the tank outside [m]; negative where it is shorter."""
    wall = tank.scene.tank.wall_thickness_m
    outside: Sequence[float] = [side + 2 * wall for side in tank.size_m[:2]]
    return max(_along_m(fixture) for fixture in light.fixtures) - outside[0]


def _along_m(fixture: Fixture) -> float:
    length, width, _ = fixture.size
    return abs(length * math.cos(fixture.turn)) + abs(width * math.sin(fixture.turn))
