"""Find what satisfies most of a scene's zones: traces of single fixtures, a search over their sums, full traces to verify."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from underlit.backends.cpu import available_threads
from underlit.lowering.fixtures import dimming
from underlit.planning.suggest.conflicts import OutOfReach, TooAlike, conflicts
from underlit.planning.suggest.dimming import Bands
from underlit.planning.suggest.responses import Response, full_power_trace, places_for, trace_responses
from underlit.planning.suggest.search import Found, search
from underlit.planning.suggest.search_space import Kind, SearchSpace, SuggestError, Weigh, kinds_of, scene_with
from underlit.planning.suggest.suggestion import Question, Suggestion, as_set, headroom_class, set_best, verified
from underlit.run import Traced
from underlit.scene import Scene, tank_uncertainty
from underlit.scene.checks.scene import check_scene

FULL_PHOTONS = 1 << 19
"""Photons of a trace that verifies: zones to about a per cent."""
MOST_VERIFIED = 8
MORE_OF_THE_BEST = 2
UNLIKE_M = 0.06
"""Ways to hang a light that differ by less are one suggestion [m]."""


@dataclass(frozen=True)
class Progress:
    """What is done and how much of it."""

    what: str
    done: int
    total: int


@dataclass(frozen=True)
class Suggestions:
    """now: the scene as it is; ranked: verified, best first, `now` set anew among them; against: why zones stay unmet in the
    best; left_out: fixtures that do not fit, and why. order: what was weighed.
    """

    now: Suggestion
    ranked: tuple[Suggestion, ...]
    against: tuple[OutOfReach | TooAlike, ...]
    left_out: tuple[tuple[str, str], ...]
    order: tuple[Weigh, ...]
    traces: int
    seconds: float

    @property
    def best(self) -> Suggestion:
        """The first of them."""
        return self.ranked[0]


def suggest(
    scene: Scene,
    space: SearchSpace | None = None,
    *,
    seed: int = 1,
    photons: int = FULL_PHOTONS,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Suggestions:
    """Suggest how to hang and set the light of a scene, so that most zones get the light they want.

    Parameters
    ----------
    scene : Scene
        The tank, its light and its zones with bands.
    space : SearchSpace, optional
        What may change; by default up to two of the scene's own fixtures, hung higher or lower.
    seed : int
        Of the random numbers.
    photons : int
        Of each trace that verifies.
    threads : int, optional
        Traces at a time; by default one for each processor.
    progress : callable, optional
        Called with a Progress.

    Returns
    -------
    Suggestions
        Verified by full traces, best first, and why zones stay unmet. The same bits for the same seed on the same kind of
        machine and versions.

    Raises
    ------
    SuggestError
        Where nothing can be asked: no zone with a band, no light, a rack.
    LoweringError
        Where the scene cannot be built.
    """
    space, started = space or SearchSpace(), time.perf_counter()
    tell = progress or (lambda state: None)
    if scene.rack:
        raise SuggestError("the lights of a rack shine on all its tanks: ask about the scene of each tank")
    zones, bands = wanted(scene)
    if not scene.fixtures:
        raise SuggestError("the scene has no light: add a [[fixture]], for example the one you have in mind")
    kinds = kinds_of(scene, space)
    question = Question(scene, zones, bands, space.channels_apart)
    tell(Progress("tracing the scene as it is", 0, 1))
    at_full = full_power_trace(scene, photons=photons, seed=seed, threads=threads)
    now = as_set(question, at_full, None, _as_dimmed(scene, at_full))
    asked, left_out = _choices(scene, kinds, space)
    responses = trace_responses(
        scene, zones, asked, space, seed=seed, threads=threads,
        tell=lambda done, total: tell(Progress("trying heights and places", done, total)),
    )  # fmt: skip
    chosen = _best_of_each(scene, responses, bands, space)
    ranked = [set_best(question, at_full, None)]
    pool = ThreadPoolExecutor(threads or available_threads())
    try:
        jobs = [pool.submit(verified, question, one.hanging, photons, seed) for one in chosen]
        for i, job in enumerate(jobs):
            ranked.append(job.result())
            tell(Progress("verifying by full traces", i + 1, len(jobs)))
    finally:
        # Ctrl-C starts no further trace and waits for none
        pool.shutdown(wait=False, cancel_futures=True)
    ranked = [one for one in ranked if one.hanging is None or one.all_lit]
    ranked.sort(key=lambda one: one.weight(space.order))
    against = conflicts(responses, bands, zones, [z.name for z in ranked[0].unmet], space.most)
    traces = 1 + sum(len(response.nodes) for response in responses) + len(jobs)
    seconds = time.perf_counter() - started
    return Suggestions(now, tuple(ranked), tuple(against), tuple(left_out), tuple(space.order), traces, seconds)


def wanted(scene: Scene) -> tuple[tuple[str, ...], Bands]:
    """Names and bands of the zones that have one. Raises SuggestError where none has."""
    found = [(zone.name, band) for zone in scene.zones if (band := scene.band_of(zone)) is not None]
    if not found:
        raise SuggestError("no zone has a target: give zones a need or a band")
    low, high = (np.array([getattr(band, edge) for _, band in found]) for edge in ("low", "high"))
    return tuple(name for name, _ in found), Bands(low, high, tank_uncertainty(scene))


def _as_dimmed(scene: Scene, traced: Traced) -> dict[tuple[str, str], float]:
    levels = dimming(scene)
    return {(source.fixture, source.channel): levels[source] for source in traced.lowered.compiled.sources}


def _choices(
    scene: Scene, kinds: Sequence[Kind], space: SearchSpace
) -> tuple[list[tuple[Kind, bool, bool]], list[tuple[str, str]]]:
    """Kinds, turned or not, under the lid or not, that fit; and those that do not, with the reason."""
    lids = [True, False] if scene.lid is not None and space.lid_may_go else [True]
    asked, left_out = [], []
    for kind in kinds:
        ways = [turned for turned in ((False, True) if space.turned else (False,))
                if places_for(scene, kind, turned=turned) is not None]  # fmt: skip
        if not ways:
            left_out.append((kind.name, "longer or wider than the tank"))
        asked += [(kind, turned, lid) for turned in ways for lid in lids]
    return asked, left_out


def _best_of_each(scene: Scene, responses: Sequence[Response], bands: Bands, space: SearchSpace) -> list[Found]:
    """The best of every kind, way and number that can hang there, and a few more of the very best; those to verify."""
    firsts: list[Found] = []
    more: dict[int, list[Found]] = {}
    for response in responses:
        for number in range(1, space.most + 1):
            found = search(response, bands, number, channels_apart=space.channels_apart)
            found = [one for one in found if not check_scene(scene_with(scene, one.hanging))]
            if found:
                firsts.append(found[0])
                more[id(found[0])] = _unlike(found)[1 : 1 + MORE_OF_THE_BEST]
    firsts.sort(key=lambda one: _predicted(one, space.order))
    return [*firsts[:MOST_VERIFIED], *(more[id(firsts[0])] if firsts else [])]


def _unlike(found: Sequence[Found]) -> list[Found]:
    """Those that hang elsewhere than the better ones before them."""
    kept: list[Found] = []
    for one in found:
        place = np.array([one.hanging.above_rim_m, *one.hanging.places_m])
        others = (np.array([other.hanging.above_rim_m, *other.hanging.places_m]) for other in kept)
        if all(np.abs(place - other).max() >= UNLIKE_M for other in others):
            kept.append(one)
    return kept


def _predicted(found: Found, order: Sequence[Weigh]) -> tuple[float, ...]:
    kind, number = found.hanging.kind, len(found.hanging.places_m)
    buys, watts = kind.to_buy(number), kind.fixture.output.watts
    parts: dict[Weigh, tuple[float, ...]] = {
        Weigh.ZONES: (-found.weight[0], -found.weight[1]),
        Weigh.HEADROOM: (headroom_class(found.setting.highest),),
        Weigh.LID: (0.0 if found.hanging.lid else 1.0,),
        Weigh.PRICE: (0.0 if buys == 0 else float("inf") if kind.price is None else buys * kind.price, buys),
        Weigh.WATTS: (float("inf") if watts is None else number * watts * float(found.setting.shares.mean()),),
    }
    return tuple(value for what in order for value in parts[what])
