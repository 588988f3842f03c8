"""Find what satisfies most of a scene's zones: traces of single fixtures, a search over their sums, full traces to verify."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.fixtures import dimming
from underlit.planning.decision import By, decide
from underlit.planning.pool import all_done
from underlit.planning.ranges import TankRanges
from underlit.planning.suggest.conflicts import Conflict, conflicts
from underlit.planning.suggest.dimming import Bands
from underlit.planning.suggest.responses import (
    Response,
    channel_light,
    full_power_trace,
    places_for,
    trace_responses,
)
from underlit.planning.suggest.search import Found, search
from underlit.planning.suggest.search_space import Kind, SearchSpace, SuggestError, Weigh, kinds_of, scene_with
from underlit.planning.suggest.suggestion import Question, Suggestion, as_set, headroom_class, set_best, verified
from underlit.run import Traced
from underlit.scene import Scene
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
    best; left_out: fixtures that do not fit, and why. order: what was weighed. only_dimming: whether nothing was moved.
    """

    now: Suggestion
    ranked: tuple[Suggestion, ...]
    against: tuple[Conflict, ...]
    left_out: tuple[tuple[str, str], ...]
    order: tuple[Weigh, ...]
    only_dimming: bool
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
        The tank, its light and its zones with bands. In a rack the tank's own lights are moved and dimmed; those of the other
        tanks stay as they are.
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
        Where nothing can be asked: no zone with a band, no light to set.
    LoweringError
        Where the scene cannot be built.
    """
    space, started = space or SearchSpace(), time.perf_counter()
    tell = progress or (lambda state: None)
    zones, bands = wanted(scene)
    reason = why_no_light(scene, space)
    if reason:
        raise SuggestError(reason)
    asked, left_out = ([], []) if space.only_dimming else _choices(scene, kinds_of(scene, space), space)
    tell(Progress("tracing the scene as it is", 0, 1))
    at_full = full_power_trace(scene, photons=photons, seed=seed, threads=threads)
    bands = replace(bands, tank_uncertainty=_tank_uncertainty(at_full, zones))
    question = Question(scene, zones, bands, space.channels_apart)
    now = as_set(question, at_full, None, _as_dimmed(scene))
    responses = trace_responses(
        scene, zones, asked, space, seed=seed, threads=threads,
        tell=lambda done, total: tell(Progress("trying heights and places", done, total)),
    )  # fmt: skip
    chosen = [one.hanging for one in _best_of_each(scene, responses, bands, space)]
    confirmed = all_done(
        lambda hanging: verified(question, hanging, photons, seed), chosen, threads,
        lambda done, total: tell(Progress("verifying by full traces", done, total)),
    )  # fmt: skip
    as_they_hang = _dimmed_otherwise(question, at_full, space) if scene.fixtures else [now]
    ranked = [*as_they_hang, *(one for one in confirmed if one.all_lit)]
    ranked.sort(key=lambda one: one.weight(space.order))
    known = [light for response in responses for light in response.traced]
    against = conflicts(
        known or [channel_light(at_full, zones)], bands, zones, [z.name for z in ranked[0].unmet],
        fixtures=space.most if known else None,
    )  # fmt: skip
    traces = 1 + len(known) + len(chosen)
    seconds = time.perf_counter() - started
    return Suggestions(
        now, tuple(ranked), tuple(against), tuple(left_out), tuple(space.order), space.only_dimming, traces, seconds
    )


def why_no_light(scene: Scene, space: SearchSpace) -> str:
    """Why there is no light to move or dim, or nothing where there is some."""
    if scene.fixtures or (scene.rack and space.lights and not space.only_dimming):
        return ""
    if not any(each.fixtures for each in scene.tank_scenes):
        return "the scene has no light: add a [[fixture]], for example the one you have in mind"
    of = scene.rack[scene.light_number - 1].name
    return (
        f"this tank has no light of its own; its light belongs to {of!r}: ask about that tank, or name lights to hang over "
        "this one"
    )


def _dimmed_otherwise(question: Question, at_full: Traced, space: SearchSpace) -> list[Suggestion]:
    """The light as it hangs, set as well as its dimmers can: where that is all that was asked, by one factor for all first.

    A tank that stands alone is set as every answer about it decides (`planning.decision`).
    """
    if space.only_dimming and not question.scene.rack:
        as_now = at_full.result.dimmed(dimming(question.scene))
        made = decide(at_full.lowered, as_now, channels_apart=space.channels_apart)
        shares = {(light.fixture, channel): v for light in made.lights for channel, v in light.shares.items()}
        set_so = as_set(question, at_full, None, shares)
        return [replace(set_so, together=made.by is By.ALL, decision=made)]
    each = set_best(question, at_full, None)
    together = set_best(question, at_full, None, together=True) if space.only_dimming else each
    return [each] if together.settings == each.settings else [together, each]


def wanted(scene: Scene) -> tuple[tuple[str, ...], Bands]:
    """Names and bands of the zones that have one, as if the tank were known. Raises SuggestError where none has."""
    found = [(zone.name, band) for zone in scene.zones if (band := scene.band_of(zone)) is not None]
    if not found:
        raise SuggestError("no zone has a target: give zones a need or a band")
    low, high = (np.array([getattr(band, edge) for _, band in found]) for edge in ("low", "high"))
    return tuple(name for name, _ in found), Bands(low, high, 0.0)


def _tank_uncertainty(traced: Traced, zones: Sequence[str]) -> np.ndarray:
    """Relative standard uncertainty of what is not known about the tank, of each zone (zones,)."""
    ranges, names = TankRanges(traced.lowered, traced.result), [place.zone for place in traced.lowered.own_zones]
    return np.array([ranges.zone(names.index(zone)).standard for zone in zones])


def _as_dimmed(scene: Scene) -> dict[tuple[str, str], float]:
    return {(source.fixture, source.channel): level for source, level in dimming(scene).items()}


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
