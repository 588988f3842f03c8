"""PPFD against height over a spot or zone, the depth that halves the light, and PPFD along a line.

    made = profile_at(traced.lowered, traced.result, "middle", square(0.30, 0.05))
    print(made.halving.depth, made.at_height(0.08).value)

The depth that halves the light comes from a straight line through the logarithm of PPFD at the light planes in open water, over
plants, all alike in weight. Light in a tank need not fall that way: how far it strays from the line is said with it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.planning.ranges import TankRange, TankRanges
from underlit.planning.vertical_profiles import VerticalProfile, profile_difference, square, vertical_profile
from underlit.planning.zones import Chances, Verdict, judged
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.scene import Band, Hood, Lid, Scene

RULE_OF_THUMB_M = 4 * 0.0254
"""Depth of water that is said to halve the light; common practice, no source."""
RULE_HOLDS_WITHIN = 0.2
"""The rule holds for a tank whose own depth lies within this share of it."""
FEWEST_PLANES = 3
LINE_STEP_M = 0.01
UNDER_SURFACE_M = 0.05
"""Plants that end closer to the surface, or float, leave no open water to fit over them."""


@dataclass(frozen=True)
class Halving:
    """How fast light falls under water.

    rate: ln(PPFD) lost per metre of depth, with its simulation error; strays: the largest relative distance of a plane's PPFD
    from the fitted line; top, bottom: heights of the first and last plane used [m].
    """

    rate: Estimate
    strays: float
    top: float
    bottom: float

    @property
    def depth(self) -> float:
        """Depth that halves the light [m]; infinite where it does not fall."""
        return math.log(2) / self.rate.value if self.rate.value > 0 else math.inf

    @property
    def depth_interval(self) -> tuple[float, float]:
        """95 % interval of the depth of simulation [m]; infinite where light may as well not fall."""
        width = self.rate.half_width
        low, high = self.rate.value - width, self.rate.value + width
        return (math.log(2) / high if high > 0 else math.inf), (math.log(2) / low if low > 0 else math.inf)

    @property
    def rule_holds(self) -> bool:
        """Whether four inches of water about halve it here."""
        return abs(self.depth - RULE_OF_THUMB_M) <= RULE_HOLDS_WITHIN * RULE_OF_THUMB_M


@dataclass(frozen=True)
class Profile:
    """PPFD over one place of the plan. outline (k, 2) [m]; bed, surface: heights of substrate and water over the bottom
    pane [m]; tank: range of the light on the bed there, from what is not known about the tank; halving: None where too few planes
    lie under water.
    """

    name: str
    outline: np.ndarray
    light: VerticalProfile
    bed: float
    surface: float
    tank: TankRange
    halving: Halving | None
    band: Band | None = None

    def at_height(self, above_bed: float) -> Estimate:
        """PPFD so far over the substrate [m] (between planes straight; under the lowest as on it)."""
        return self.light.at([self.bed + above_bed])[0]

    def verdict_at(self, above_bed: float, band: Band) -> tuple[Verdict, Chances]:
        """Verdict of a plant at that height for a band, both errors counted in, and its chances."""
        said, chance = judged(self.at_height(above_bed), self.tank, band)
        assert chance is not None
        return said, chance

    def by_rule(self, heights: np.ndarray) -> np.ndarray:
        """What four inches of water halving it would leave at heights [m], from the uppermost plane under water down."""
        start = self.light.heights[self.light.heights < self.surface].max(initial=self.light.heights.min())
        value = self.light.at([start])[0].value
        return np.asarray(value * 2.0 ** (-(start - np.asarray(heights)) / RULE_OF_THUMB_M))


def halving_of(light: VerticalProfile, *, bed: float, surface: float) -> Halving | None:
    """The fit between the substrate and the surface [m]; None with fewer than three planes or where no light comes."""
    used = (light.heights > bed) & (light.heights < surface)
    z = light.heights[used]
    if len(z) < FEWEST_PLANES or np.any(light.value[used] <= 0):
        return None

    def rate(values: np.ndarray) -> float:
        if np.any(values[used] <= 0):
            return math.nan
        return float(np.polyfit(z, np.log(values[used]), 1)[0])

    slope, offset = np.polyfit(z, np.log(light.value[used]), 1)
    strays = float(np.abs(light.value[used] / np.exp(offset + slope * z) - 1).max())
    return Halving(light.jackknife(rate), strays, float(z.max()), float(z.min()))


def profile_at(
    lowered: Lowered, result: Result, name: str, outline: np.ndarray, *, band: Band | None = None
) -> Profile:
    """PPFD against height over a place of the plan, and the depth of water that halves it, as traced and lowered.

    It is read at the light planes over the place [umol/m2/s], with its errors. ValueError where nothing can be read:
    outside the tank, or inside wood or stone.

    Parameters
    ----------
    lowered, result : Lowered, Result
        The scene as it was traced, and what the trace found.
    name : str
        Of the place.
    outline : ndarray, (k, 2) [m]
        Corners of the place on the plan; `square` makes one for a point.
    band : Band, optional
        PPFD wanted there [umol/m2/s].
    """
    scene = lowered.scene
    x, y = np.asarray(outline).mean(axis=0)
    bed, surface = float(scene.bed_heights_m(np.array(x), np.array(y))), scene.water_level_m
    light = vertical_profile(result, outline, bottom=bed)
    fit = halving_of(light, bed=max(bed, tops_of_plants(lowered, outline)), surface=surface)
    tank = TankRanges(lowered, result).over(outline)
    return Profile(name, np.asarray(outline), light, bed, surface, tank, fit, band)


def tops_of_plants(lowered: Lowered, outline: np.ndarray) -> float:
    """Height of the tallest planting that stands in an outline of the plan and ends under water [m]; 0 without one."""
    import shapely

    place = shapely.make_valid(shapely.Polygon(outline))
    tops = [
        group.top
        for group in lowered.plantings
        if group.outline is not None and shapely.make_valid(shapely.Polygon(group.outline)).intersects(place)
    ]
    return max((top for top in tops if top < lowered.scene.water_level_m - UNDER_SURFACE_M), default=0.0)


@dataclass(frozen=True)
class Line:
    """PPFD along a straight line of the plan: distance from its start (n,) [m], points (n, 2) [m], heights over the bottom
    pane (n,) [m], light; NaN where nothing can be read.
    """

    distance: np.ndarray
    points: np.ndarray
    heights: np.ndarray
    ppfd: tuple[Estimate, ...]
    tank: tuple[np.ndarray, np.ndarray]
    above_bed: float

    def tank_at(self, k: int) -> tuple[float, float]:
        """Low and high factor between which the real tank's light lies at a point."""
        return float(self.tank[0][k]), float(self.tank[1][k])


def along_line(
    lowered: Lowered, result: Result, start: Sequence[float], end: Sequence[float], *, above_bed: float
) -> Line:
    """PPFD every centimetre along a line between two points of the plan [m], so far over the substrate [m].

    Each value is the mean over a meter head's square. ValueError for a line without length.
    """
    scene = lowered.scene
    a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    length = float(np.hypot(*(b - a)))
    if length <= 0:
        raise ValueError("a line needs two different points")
    n = max(2, round(length / LINE_STEP_M) + 1)
    points = a + np.linspace(0, 1, n)[:, None] * (b - a)
    heights = scene.bed_heights_m(points[:, 0], points[:, 1]) + above_bed
    found = []
    for (x, y), z in zip(points, heights, strict=True):
        try:
            found.append(vertical_profile(result, square(x, y), bottom=z - above_bed).at([z])[0])
        except ValueError:
            found.append(Estimate(math.nan, math.nan, 0.0))
    tank = TankRanges(lowered, result).at(points[:, 0], points[:, 1])
    return Line(np.linspace(0, length, n), points, heights, tuple(found), tank, above_bed)


def other_lid(scene: Scene) -> Scene:
    """The scene without its lid, or with a plain one where it has none. ValueError where a hood covers it."""
    if scene.lid is not None:
        return scene.model_copy(update={"lid": None})
    if isinstance(scene.hood, Hood):
        raise ValueError("a hood covers the tank, so that no lid can be put on")
    return scene.model_copy(update={"lid": Lid.model_validate({})})


def lid_takes(with_lid: Profile, without: Profile, above_bed: float) -> Estimate:
    """Share of the light that the lid takes at a height over the substrate [m], with its simulation error.

    Traced with one seed the two share their random numbers, and the error is that of the difference.
    """
    heights = [with_lid.bed + above_bed]
    lost = profile_difference(without.light, with_lid.light, heights)[0]
    full = without.light.at(heights)[0].value
    return Estimate(lost.value / full, lost.standard_error / full, lost.dof)
