"""Search over responses: every height and set of places, roughly dimmed first, the best of them dimmed exactly."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from underlit.planning.suggest.dimming import EASY_SETTING, Bands, Setting, set_channels
from underlit.planning.suggest.responses import Response
from underlit.planning.suggest.search_space import Hanging, mix_of

ROUGH_STEPS = {1: 40, 2: 12, 3: 7}
"""Steps of dimming by number of fixtures in the rough search."""
EXACTLY_DIMMED = 12
OFF = 0.02
"""A fixture dimmed this far down is off: that way to hang is one of fewer fixtures."""
_GAP_M = 0.01


@dataclass(frozen=True)
class Found:
    """A way to hang, what it is predicted to do, and how that is weighed (higher first)."""

    hanging: Hanging
    setting: Setting
    weight: tuple[float, ...]


def weigh(setting: Setting) -> tuple[float, ...]:
    """Zones met, how far inside their bands (in tenths), headroom (in tenths): of one kind and number of fixtures."""
    headroom = min(1.0, (1.0 - setting.highest) / (1.0 - EASY_SETTING))
    return float(setting.met.sum()), round(setting.inside, 1), round(headroom, 1)


def search(response: Response, bands: Bands, number: int, *, channels_apart: bool) -> list[Found]:
    """The best ways to hang so many fixtures of a response's kind, best first; empty where they don't fit side by side.

    channels_apart: dim channels by themselves; else each fixture keeps its mix.
    """
    sets = _place_sets(response, number)
    if len(sets) == 0:
        return []
    mix = mix_of(response.kind.fixture)
    rough = _rough_scores(response, bands, sets, mix)
    order = np.argsort(-rough, axis=None, kind="stable")[:EXACTLY_DIMMED]
    found = []
    for h, s in zip(*np.unravel_index(order, rough.shape), strict=True):
        chosen = sets[s]
        light = np.concatenate([response.values[h, p] for p in chosen])
        there = bands.beside(response.besides[h, chosen].mean(axis=0))
        setting = set_channels(light, there, [mix] * number, channels_apart=channels_apart)
        if setting.shares.reshape(number, -1).max(axis=1).min() < OFF:
            continue
        places = tuple(float(response.places_m[p]) for p in chosen)
        hanging = Hanging(response.kind, response.turned, response.lid, float(response.heights_m[h]), places)
        found.append(Found(hanging, setting, weigh(setting)))
    return sorted(found, key=lambda one: one.weight, reverse=True)


def _place_sets(response: Response, number: int) -> np.ndarray:
    """Indices of places for so many fixtures side by side, (sets, number) int."""
    places, width = response.places_m, response.kind.fixture.size[1]
    rising = itertools.combinations(range(len(places)), number)
    kept = [c for c in rising if all(places[b] - places[a] >= width + _GAP_M for a, b in itertools.pairwise(c))]
    return np.array(kept, dtype=np.int64).reshape(-1, number)


def _rough_scores(response: Response, bands: Bands, sets: np.ndarray, mix: np.ndarray) -> np.ndarray:
    """(heights, sets): the best score over a grid of dimming, each fixture's channels in its mix (channels,)."""
    number = sets.shape[1]
    steps = np.linspace(1.0 / ROUGH_STEPS[number], 1.0, ROUGH_STEPS[number])
    shares = np.array(list(itertools.product(steps, repeat=number)))
    alike = np.einsum("c,hpcz->hpz", mix, response.values)
    sure_low, sure_high = bands.sure
    scores = np.empty((len(response.heights_m), len(sets)))
    for h in range(len(scores)):
        light = np.einsum("dn,snz->sdz", shares, alike[h][sets])
        light += response.besides[h][sets].mean(axis=1)[:, None]
        met = bands.met(light)
        sure = met & (light >= sure_low) & (light <= sure_high)
        easy = np.minimum(1.0, (1.0 - shares.max(axis=1)) / (1.0 - EASY_SETTING))
        scores[h] = (met.sum(axis=2) + 0.1 * sure.mean(axis=2) + 0.01 * easy).max(axis=1)
    return scores
