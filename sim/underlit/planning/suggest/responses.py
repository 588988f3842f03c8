"""What one fixture gives each zone, wherever it hangs: coarse traces at a few places, smooth in between.

Every trace uses the same random numbers, so that what they differ by is the place. Light adds: several fixtures are the sum
of their single ones, but for what their bodies take from each other, which the full trace of a suggestion counts. In a rack
the lights of the other tanks stay as their scenes say: what they give the zones is counted with each place, and added.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.scene import lower
from underlit.planning.pool import all_done
from underlit.planning.suggest.reach import NO_OVERHANG_M, room_m
from underlit.planning.suggest.search_space import Hanging, Kind, SearchSpace, scene_with
from underlit.run import Traced, trace_whole
from underlit.scene import Scene
from underlit.scene.checks.scene import check_scene

COARSE_PHOTONS = 1 << 17
HEIGHTS, PLACES = 4, 7
"""Traces by height and by place from front to back."""
FINE_PLACES = 13
_FINE_STEP_M = 0.04
_LEAST_PPFD = 1e-3
_CLOSE_M = 0.03
_NEAR_M = 0.05


@dataclass(frozen=True)
class Response:
    """PPFD of zones from each channel of one fixture at full power, by height and place.

    heights_m (h,), places_m (p,), values (h, p, channels, zones) [umol/m2/s], smooth between the nodes.
    besides: (h, p, zones), what the lights of other tanks of the rack give [umol/m2/s]. channels: their names.
    traced: what was found at the nodes.
    """

    kind: Kind
    turned: bool
    lid: bool
    channels: tuple[str, ...]
    heights_m: np.ndarray
    places_m: np.ndarray
    values: np.ndarray
    besides: np.ndarray
    traced: tuple[ChannelLight, ...]


@dataclass(frozen=True)
class ChannelLight:
    """What lights give zones [umol/m2/s]. channels: fixture and name of each that belongs to the tank; full: (channels, zones)
    from each alone at full power; besides: (zones,) from the lights of other tanks as their scenes set them.
    """

    channels: tuple[tuple[str, str], ...]
    full: np.ndarray
    besides: np.ndarray


def channel_light(traced: Traced, zones: Sequence[str]) -> ChannelLight:
    """What each channel of the tank, and the other tanks' lights, give the zones of those names."""
    own, sources = traced.lowered.tank, traced.lowered.compiled.sources
    full = traced.result.dimmed({source: 1.0 for source in sources if source.tank == own}).zone_values_by_source()
    names = [zone.own_name for zone in traced.lowered.compiled.zones if zone.tank == own]
    places = [i for i, zone in enumerate(traced.lowered.compiled.zones) if zone.tank == own]
    chosen = full[:, [places[names.index(zone)] for zone in zones]]
    keys = list(dict.fromkeys((source.fixture, source.channel) for source in sources if source.tank == own))
    summed, besides = np.zeros((len(keys), len(zones))), np.zeros(len(zones))
    for source, row in zip(sources, chosen, strict=True):
        into = summed[keys.index((source.fixture, source.channel))] if source.tank == own else besides
        into += row
    return ChannelLight(tuple(keys), summed, besides)


def full_power_trace(
    scene: Scene, *, photons: int, seed: int, threads: int | None = None, with_ranges: bool = True
) -> Traced:
    """The scene traced with every channel of its tank at full power; the lights of other tanks as their scenes set them.

    Those get half of the photons at most, for this tank gets little of their light. Raises LoweringError where
    the scene cannot be built, KeyboardInterrupt where the trace was stopped.
    """
    lowered = lower(scene)
    ppf = dict(zip(lowered.compiled.sources, lowered.compiled.ppf, strict=True))
    own = math.fsum(ppf[source] for source in ppf if source.tank == lowered.tank)
    others = math.fsum(ppf[source] * lowered.dimming[source] for source in ppf if source.tank != lowered.tank)
    less = min(1.0, own / others) if own > 0 < others else 1.0
    levels = {s: 1.0 if s.tank == lowered.tank else level for s, level in lowered.dimming.items()}
    weights = {s: 1.0 if s.tank == lowered.tank else less * level for s, level in lowered.dimming.items()}
    weighted = replace(lowered, dimming=weights)
    traced = trace_whole(weighted, photons=photons, seed=seed, threads=threads, with_ranges=with_ranges)
    return replace(traced, lowered=replace(lowered, dimming=levels), result=traced.result.dimmed(levels))


def places_for(scene: Scene, kind: Kind, *, turned: bool) -> np.ndarray | None:
    """Places where the fixture's body lies over the tank, nodes (p,) [m]; None where it is too long or too wide for it."""
    length, depth, _ = scene.tank.inside_m
    wall, room_along = scene.tank.wall_thickness_m, room_m(scene)
    along, across = (room_along[1], length) if turned else (room_along[0], depth)
    body_length, body_width, _ = kind.fixture.size
    if body_length > along + NO_OVERHANG_M or body_width > across + 2 * wall + NO_OVERHANG_M:
        return None
    room = across - body_width
    if room < _CLOSE_M:
        return np.array([across / 2])
    return np.linspace(body_width / 2, across - body_width / 2, PLACES if room > 4 * _CLOSE_M else 3)


def heights_for(scene: Scene, kind: Kind, space: SearchSpace, *, turned: bool, lid: bool) -> np.ndarray:
    """Heights over the rim at which it may hang, nodes (h,) [m], lower ones closer together; empty where none is free."""
    low, high = space.above_rim_m
    places = places_for(scene, kind, turned=turned)
    if places is None:
        return np.empty(0)
    middle = float(places[len(places) // 2])

    def free(height: float) -> bool:
        return not check_scene(scene_with(scene, Hanging(kind, turned, lid, height, (middle,))))

    tried = np.linspace(low, high, 41)
    fits = [float(height) for height in tried if free(float(height))]
    if not fits:
        return np.empty(0)
    lowest, highest = fits[0], fits[-1]
    if highest - lowest < _CLOSE_M:
        return np.array([lowest])
    return np.geomspace(lowest + _NEAR_M, highest + _NEAR_M, HEIGHTS) - _NEAR_M


def trace_responses(
    scene: Scene,
    zones: Sequence[str],
    asked: Sequence[tuple[Kind, bool, bool]],
    space: SearchSpace,
    *,
    seed: int,
    threads: int | None,
    tell: Callable[[int, int], None],
) -> list[Response]:
    """Responses of kinds, turned or not, under the lid or not; what fits nowhere has none.

    tell: called with the traces done and all of them. Traces run on as many threads, one each.
    """
    bare = scene.model_copy(update={"spots": (), "zones": tuple(z for z in scene.zones if z.name in zones)})
    grids = []
    for kind, turned, lid in asked:
        heights, places = (
            heights_for(bare, kind, space, turned=turned, lid=lid),
            places_for(bare, kind, turned=turned),
        )
        if len(heights) and places is not None:
            grids.append((kind, turned, lid, heights, places))
    jobs = [Hanging(k, t, lid, float(h), (float(p),)) for k, t, lid, hs, ps in grids for h in hs for p in ps]

    def one(hanging: Hanging) -> ChannelLight:
        hung = scene_with(bare, hanging)
        traced = full_power_trace(hung, photons=COARSE_PHOTONS, seed=seed, threads=1, with_ranges=False)
        return channel_light(traced, zones)

    found = all_done(one, jobs, threads, tell)
    responses, first = [], 0
    for kind, turned, lid, heights, places in grids:
        count = len(heights) * len(places)
        part = found[first : first + count]
        first += count
        responses.append(_smooth(kind, turned, lid, heights, places, part))
    return responses


def _smooth(
    kind: Kind, turned: bool, lid: bool, heights: np.ndarray, places: np.ndarray, found: Sequence[ChannelLight]
) -> Response:
    fine_heights = heights
    if len(heights) > 1:
        steps = max(2, math.ceil((heights[-1] - heights[0]) / _FINE_STEP_M) + 1)
        fine_heights = np.linspace(heights[0], heights[-1], steps)
    fine_places = places if len(places) == 1 else np.linspace(places[0], places[-1], FINE_PLACES)

    def between(nodes: Sequence[np.ndarray]) -> np.ndarray:
        values = np.array(nodes).reshape(len(heights), len(places), *nodes[0].shape)
        logs = np.log(np.maximum(values, _LEAST_PPFD))
        # light falls with height much as with its logarithm, in which the nodes are evenly spaced
        logs = _between(np.log(heights + _NEAR_M), logs, np.log(fine_heights + _NEAR_M), axis=0)
        return np.asarray(np.exp(_between(places, logs, fine_places, axis=1)))

    values, besides = between([light.full for light in found]), between([light.besides for light in found])
    if not any(light.besides.any() for light in found):
        besides = np.zeros_like(besides)
    names = tuple(channel for _, channel in found[0].channels)
    return Response(kind, turned, lid, names, fine_heights, fine_places, values, besides, tuple(found))


def _between(nodes: np.ndarray, values: np.ndarray, wanted: np.ndarray, axis: int) -> np.ndarray:
    """Values at wanted places by a spline through the nodes along an axis."""
    if len(nodes) == 1:
        return values
    from scipy.interpolate import make_interp_spline

    return np.asarray(make_interp_spline(nodes, values, k=min(3, len(nodes) - 1), axis=axis)(wanted))
