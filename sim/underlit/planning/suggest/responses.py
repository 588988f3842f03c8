"""What one fixture gives each zone, wherever it hangs: coarse traces at a few places, smooth in between.

Every trace uses the same random numbers, so that what they differ by is the place. Light adds: several fixtures are the sum
of their single ones, but for what their bodies take from each other, which the full trace of a suggestion counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from underlit.backends.cpu import available_threads
from underlit.lowering.scene import lower
from underlit.planning.suggest.search_space import Hanging, Kind, SearchSpace, scene_with
from underlit.run import Traced, trace
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

    heights_m (h,), places_m (p,), values (h, p, channels, zones) [umol/m2/s]; traced: at those nodes, the rest between.
    channels: their names. nodes: the traced values, any shape to (n, channels, zones).
    """

    kind: Kind
    turned: bool
    lid: bool
    channels: tuple[str, ...]
    heights_m: np.ndarray
    places_m: np.ndarray
    values: np.ndarray
    nodes: np.ndarray


def channel_response(traced: Traced, zones: Sequence[str]) -> tuple[tuple[tuple[str, str], ...], np.ndarray]:
    """Fixture and name of each channel, and the PPFD it gives each zone at full power, (channels, zones) [umol/m2/s]."""
    sources = traced.lowered.compiled.sources
    full = traced.result.dimmed(dict.fromkeys(sources, 1.0)).zone_values_by_source()
    names = [zone.name for zone in traced.lowered.compiled.zones]
    chosen = full[:, [names.index(zone) for zone in zones]]
    keys = list(dict.fromkeys((source.fixture, source.channel) for source in sources))
    summed = np.zeros((len(keys), len(zones)))
    for source, row in zip(sources, chosen, strict=True):
        summed[keys.index((source.fixture, source.channel))] += row
    return tuple(keys), summed


def full_power_trace(scene: Scene, *, photons: int, seed: int, threads: int | None = None) -> Traced:
    """The scene traced with every channel at full power. Raises LoweringError where it cannot be built."""
    lowered = lower(scene)
    traced = trace(
        replace(lowered, dimming=dict.fromkeys(lowered.dimming, 1.0)), photons=photons, seed=seed, threads=threads
    )
    assert isinstance(traced, Traced)
    return traced


def places_for(scene: Scene, kind: Kind, *, turned: bool) -> np.ndarray | None:
    """Places where the fixture's body lies over the tank, nodes (p,) [m]; None where it is too long or too wide for it."""
    length, depth, _ = scene.tank.inside_m
    wall = scene.tank.wall_thickness_m
    along, across = (depth, length) if turned else (length, depth)
    body_length, body_width, _ = kind.fixture.size
    if body_length > along + 2 * wall + 1e-9 or body_width > across + 2 * wall + 1e-9:
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

    def one(hanging: Hanging) -> tuple[tuple[tuple[str, str], ...], np.ndarray]:
        traced = full_power_trace(scene_with(bare, hanging), photons=COARSE_PHOTONS, seed=seed, threads=1)
        return channel_response(traced, zones)

    found = []
    pool = ThreadPoolExecutor(threads or available_threads())
    try:
        for i, answer in enumerate(pool.map(one, jobs)):
            found.append(answer)
            tell(i + 1, len(jobs))
    finally:
        # Ctrl-C starts no further trace and waits for none
        pool.shutdown(wait=False, cancel_futures=True)
    responses, first = [], 0
    for kind, turned, lid, heights, places in grids:
        count = len(heights) * len(places)
        part = found[first : first + count]
        first += count
        values = np.array([value for _, value in part]).reshape(len(heights), len(places), *part[0][1].shape)
        names = tuple(channel for _, channel in part[0][0])
        responses.append(_smooth(kind, turned, lid, names, heights, places, values))
    return responses


def _smooth(
    kind: Kind, turned: bool, lid: bool, channels: tuple[str, ...], heights: np.ndarray, places: np.ndarray, values: np.ndarray
) -> Response:  # fmt: skip
    fine_heights = heights
    if len(heights) > 1:
        steps = max(2, math.ceil((heights[-1] - heights[0]) / _FINE_STEP_M) + 1)
        fine_heights = np.linspace(heights[0], heights[-1], steps)
    fine_places = places if len(places) == 1 else np.linspace(places[0], places[-1], FINE_PLACES)
    logs = np.log(np.maximum(values, _LEAST_PPFD))
    # light falls with height much as with its logarithm, in which the nodes are evenly spaced
    logs = _between(np.log(heights + _NEAR_M), logs, np.log(fine_heights + _NEAR_M), axis=0)
    logs = _between(places, logs, fine_places, axis=1)
    nodes = values.reshape(-1, *values.shape[2:])
    return Response(kind, turned, lid, channels, fine_heights, fine_places, np.exp(logs), nodes)


def _between(nodes: np.ndarray, values: np.ndarray, wanted: np.ndarray, axis: int) -> np.ndarray:
    """Values at wanted places by a spline through the nodes along an axis."""
    if len(nodes) == 1:
        return values
    from scipy.interpolate import make_interp_spline

    return np.asarray(make_interp_spline(nodes, values, k=min(3, len(nodes) - 1), axis=axis)(wanted))
