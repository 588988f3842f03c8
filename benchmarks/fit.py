"""Does a fit find the tank it was given? Simulated readings of tanks drawn from what is believed beforehand.

    python benchmarks/fit.py [--cases 40] [--photons 262144] [--first 0]

Each case draws the parameters of the shipped-size tank below from their priors, traces that tank with random numbers of
its own, adds an error to every reading as the fit assumes it, and fits. Printed: in how many cases each 95 % interval
holds the true value, in how many the 95 % region of all parameters together does, seconds a fit, and how well another
tank under the fitted light is predicted before and after.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np

from underlit.backends.cpu import Tracer
from underlit.planning.fit.estimate import MODEL_SD, PLACED_SD_M, READING_SD, ROUNDING_PPFD, Fitted
from underlit.planning.fit.fitting import fit, scene_parameters
from underlit.planning.fit.light import Place, dimming_of, heads_only, lowered_for
from underlit.planning.fit.parameters import Kind, Parameter, with_values
from underlit.planning.fit.readings import LidState, Reading, Setting, made_reading
from underlit.scene import Scene, scene_from_dict
from underlit.transport.tables import PACKET

LIGHT = {
    "name": "bar", "size": ["22 in", "4 in", "0.8 in"], "leds": {"rows": 2, "columns": 20}, "above_rim": "3 in",
    "lens": {"beam_angle": "100 deg"}, "output": {"ppf": "50 umol/s"},
}  # fmt: skip
LOW_TANK = {
    "tank": {
        "inside_size": ["60 cm", "30 cm", "36 cm"],
        "back": {"behind": "film", "colour": "black", "returned_per_reflection": 0.25},
        **{side: {"returned_per_reflection": 0.25} for side in ("front", "left", "right")},
    },
    "lid": {},
    "substrate": {"material": "dark soil", "depth": "5 cm"},
    "fixture": [LIGHT],
}
TALL_TANK = {
    "tank": {
        "inside_size": ["75 cm", "45 cm", "55 cm"],
        **{side: {"returned_per_reflection": 0.25} for side in ("front", "back", "left", "right")},
    },
    "substrate": {"material": "dark soil", "depth": "6 cm"},
    "fixture": [LIGHT],
}
"""Another tank for the same light: wide open, its walls as grown as is usual."""


OPEN = Setting(LidState.OFF)


def spots(scene: Scene, rng: np.random.Generator, count: int) -> list[Place]:
    """Places over the substrate, not nearer than 4 cm to a pane, 3 cm up or anywhere under water."""
    length, depth, _ = scene.tank.inside_m
    places = []
    for i in range(count):
        x, y = rng.uniform(0.04, length - 0.04), rng.uniform(0.04, depth - 0.04)
        low = float(scene.bed_heights_m(np.array(x), np.array(y))) + 0.03
        places.append((float(x), float(y), low if i % 3 else float(rng.uniform(low, scene.water_level_m - 0.08))))
    return places


def true_light(
    scene: Scene, parameters: tuple[Parameter, ...], u: np.ndarray, places: list[Place], setting: Setting, seed: int
) -> np.ndarray:
    """PPFD at places with the parameters at u, traced on its own (counted to about 1 %)."""
    compiled = lowered_for(scene, setting, places).compiled
    tracer = Tracer(heads_only(with_values(compiled, parameters, u)), seed=seed, batch_bits=16)
    tracer.run([8] * len(compiled.sources))
    output = np.array(
        [np.exp(sum(u[k] for k, p in enumerate(parameters) if p.kind is Kind.OUTPUT))] * len(compiled.sources)
    )
    factor = output * dimming_of(scene, compiled.sources, None) * np.array(compiled.ppf)
    areas = np.array([h.area for h in compiled.heads])
    zones = len(compiled.zones)
    return sum(
        f * np.mean([p[zones:] for p in c.points], axis=0) / (c.photons_per_batch * float(PACKET)) / areas
        for f, c in zip(factor, tracer.counts, strict=True)
    )


def case(scene: Scene, parameters: tuple[Parameter, ...], seed: int) -> tuple[np.ndarray, list[Reading]]:
    """A tank drawn from what is believed, (true u), and readings of it: six under the lid, two without."""
    rng = np.random.default_rng(seed)
    u = np.array([rng.normal(p.u_start, p.u_sd) for p in parameters])
    u = np.clip(u, *np.array([p.u_bounds for p in parameters]).T)
    readings = []
    for lid, count in ((LidState.ON, 6), (LidState.OFF, 2)):
        places = spots(scene, rng, count)
        held = [tuple(place + rng.normal(0, PLACED_SD_M, 3)) for place in np.array(places)]
        light = true_light(scene, parameters, u, held, Setting(lid), 1000 + seed)
        light = light * np.exp(rng.normal(0, np.hypot(READING_SD, MODEL_SD), count)) + rng.normal(
            0, ROUNDING_PPFD, count
        )
        readings += [
            made_reading(scene, f"{lid} {i}", place, max(float(value), 0.3), lid=lid)
            for i, (place, value) in enumerate(zip(places, light, strict=True))
        ]
    return u, readings


@dataclass
class Tally:
    """What simulated cases gave, case by case.

    inside: (cases, parameters) bool, true value within the 95 % interval; together: (cases,) bool, within the 95 %
    region of all; left: (cases, parameters), standard error over that before the readings; before, after: (cases,) root
    mean square of the logarithm of another tank's light, as the scene says and as fitted, over the truth; seconds,
    retraced: (cases,).
    """

    parameters: tuple[Parameter, ...]
    inside: np.ndarray
    together: np.ndarray
    left: np.ndarray
    before: np.ndarray
    after: np.ndarray
    seconds: np.ndarray
    retraced: np.ndarray


def run_cases(seeds: range, photons: int) -> Tally:
    """Simulate and fit a case for each seed."""
    low, tall = scene_from_dict(LOW_TANK), scene_from_dict(TALL_TANK)
    parameters, of_tall = scene_parameters(low), scene_parameters(tall)
    places = spots(tall, np.random.default_rng(7), 6)
    started = np.array([p.u_start for p in parameters])
    rows = []
    for seed in seeds:
        u, readings = case(low, parameters, seed)
        found = fit(low, readings, photons=photons, advice=0)
        fitted = found.fitted
        light = [
            np.log(true_light(tall, of_tall, _for_light(of_tall, parameters, v), places, OPEN, 5000 + seed))
            for v in (u, started, fitted.u)
        ]
        rows.append((
            [low <= v <= high for v, (low, high) in zip(u, map(fitted.u_interval, range(len(u))), strict=True)],
            _among_the_likelier(fitted, u),
            fitted.sd / fitted.prior_sd, *(np.sqrt(np.mean((v - light[0]) ** 2)) for v in light[1:]),
            found.seconds, fitted.retraced,
        ))  # fmt: skip
    return Tally(parameters, *(np.array(column) for column in zip(*rows, strict=True)))


def main() -> None:
    """Run the cases and print what they say."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=40)
    parser.add_argument("--photons", type=int, default=1 << 18)
    parser.add_argument("--first", type=int, default=0, help="seed of the first case")
    asked = parser.parse_args()
    t = run_cases(range(asked.first, asked.first + asked.cases), asked.photons)
    print(f"{asked.cases} cases, {asked.photons} photons a setting")
    for k, parameter in enumerate(t.parameters):
        inside, left = t.inside[:, k].sum(), np.median(t.left[:, k])
        print(f"  {parameter.name:28s} inside {inside:2d}; error left {left:.2f} of before")
    print(f"  all together inside {t.together.sum()}")
    seconds = f"median {np.median(t.seconds):.1f}, most {t.seconds.max():.1f}"
    print(f"  seconds a fit: {seconds}; traced anew {t.retraced.sum()} times")
    print(f"  another tank off by {100 * t.before.mean():.0f} % before, {100 * t.after.mean():.0f} % after; "
          f"better in {(t.after < t.before).sum()}")  # fmt: skip


def _among_the_likelier(fitted: Fitted, u: np.ndarray) -> bool:
    """Whether u is one of the likelier 95 % of all that the readings leave possible."""
    likely = fitted.density(fitted.draws.u)
    order = np.argsort(likely)
    least = likely[order][np.searchsorted(np.cumsum(fitted.draws.weight[order]), 0.05)]
    return bool(fitted.density(u[None])[0] >= least)


def _for_light(of: tuple[Parameter, ...], known: tuple[Parameter, ...], u: np.ndarray) -> np.ndarray:
    """u of another tank's parameters: output and beam as given, the rest as that scene says."""
    given = {p.kind: float(v) for p, v in zip(known, u, strict=True)}
    return np.array([given[p.kind] if p.kind in (Kind.OUTPUT, Kind.BEAM) else p.u_start for p in of])


if __name__ == "__main__":
    started = time.perf_counter()
    main()
    print(f"  {time.perf_counter() - started:.0f} s in all")
