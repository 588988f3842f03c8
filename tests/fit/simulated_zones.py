"""Simulated tanks that are read and corrected: what their zones' ranges then say, and whether they hold the light drawn.

A case draws the tank's parameters from what is believed of them and its meter from ± 10 %, reads six places that the sheet
proposes, each with the errors that a fit assumes, and fits. The light of zones follows from recorded paths, for the tank drawn
and for tanks drawn from what the corrected scene remembers. So does the light of another tank, under the light carried to it.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np

from underlit.planning.fit.belief import belief
from underlit.planning.fit.estimate import MODEL_SD, PLACED_SD_M, READING_SD, ROUNDING_PPFD, Fitted
from underlit.planning.fit.fitting import as_described, fit
from underlit.planning.fit.goals import Goal, as_used, goals_of
from underlit.planning.fit.light import Model, Recording, Shot, Tracing, dimming_of
from underlit.planning.fit.parameters import Parameter, parameters_of
from underlit.planning.fit.readings import Medium, Reading
from underlit.planning.fit.remembered import remembered_covariance
from underlit.planning.fit.sheet import SheetRow, reading_sheet
from underlit.scene import Scene, scene_from_dict
from underlit.scene.measured import OF_LIGHTS

METER = 0.10
READINGS = 6
DRAWS = 600
PHOTONS = 1 << 19
ZONES = [
    {"name": "left", "rectangle": [["3 cm", "4 cm"], ["18 cm", "26 cm"]]},
    {"name": "middle", "rectangle": [["22 cm", "8 cm"], ["38 cm", "22 cm"]]},
    {"name": "right front", "rectangle": [["44 cm", "3 cm"], ["57 cm", "12 cm"]]},
]


def benchmark_of_fits() -> ModuleType:
    """`benchmarks/fit.py`, whose tanks and simulated light are used here."""
    path = Path(__file__).resolve().parents[2] / "benchmarks" / "fit.py"
    spec = importlib.util.spec_from_file_location("benchmark_of_fits", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # dataclasses look their module up
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@dataclass(frozen=True)
class Lit:
    """A tank and the light of its zones as a function of its parameters, by paths recorded once."""

    scene: Scene
    parameters: tuple[Parameter, ...]
    model: Model
    goals: tuple[Goal, ...]

    def zones(self, u: np.ndarray) -> np.ndarray:
        """Mean PPFD of each zone for many u, (draws, zones)."""
        setting = as_used(self.scene)
        dimming = dimming_of(self.scene, self.model.recordings[setting].sources, None)
        shots = [Shot(setting, k, dimming) for k in range(sum(len(goal.points) for goal in self.goals))]
        light = self.model.predict_many(shots, u)
        ends = np.cumsum([len(goal.points) for goal in self.goals])[:-1]
        return np.stack([part.mean(axis=1) for part in np.split(light, ends, axis=1)], axis=1)


def lit(scene: Scene) -> Lit:
    """Record the paths to the zones of a tank."""
    described = as_described(scene)
    parameters, goals = parameters_of(scene, described.compiled), goals_of(described)
    u = np.array([p.u_start for p in parameters])
    points = [point for goal in goals for point in goal.points]
    recording = Recording(scene, as_used(scene), points, parameters, u, Tracing(PHOTONS, 7, None))
    return Lit(scene, parameters, Model(scene, parameters, {as_used(scene): recording}), goals)


@dataclass(frozen=True)
class Cases:
    """Case by case and zone by zone, of the tank that was read and of the other one: half the 95 % range over its middle, and
    whether the range holds the light drawn; as corrected and, for the read tank, as the scene said before.
    """

    before: np.ndarray
    width: np.ndarray
    inside: np.ndarray
    carried_before: np.ndarray
    carried_width: np.ndarray
    carried_inside: np.ndarray


def run_cases(seeds: range) -> Cases:
    """Simulate, read, fit and judge a tank for each seed."""
    known = benchmark_of_fits()
    low = lit(scene_from_dict({**known.LOW_TANK, "zone": ZONES}))
    tall = lit(scene_from_dict(known.TALL_TANK))
    rows = reading_sheet(low.scene, rows=READINGS, photons=1 << 17).rows
    found = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        u, other = _drawn(low, rng), _drawn(tall, rng)
        fitted = fit(low.scene, _read(known, low, rows, u, rng), photons=1 << 17, advice=0).fitted
        covariance = remembered_covariance(fitted)
        carried = _with_light(tall, low, other, u)
        mean, spread = _carried(tall, low, fitted, covariance)
        prior, prior_of_tall = belief(low.scene, low.parameters), belief(tall.scene, tall.parameters)
        found.append((
            _judged(low, prior.mean, prior.covariance, u)[0], *_judged(low, fitted.u, covariance, u),
            _judged(tall, prior_of_tall.mean, prior_of_tall.covariance, carried)[0], *_judged(tall, mean, spread, carried),
        ))  # fmt: skip
    return Cases(*(np.array(column) for column in zip(*found, strict=True)))


def _drawn(tank: Lit, rng: np.random.Generator) -> np.ndarray:
    u = np.array([rng.normal(p.u_start, p.u_sd) for p in tank.parameters])
    return np.clip(u, *np.array([p.u_bounds for p in tank.parameters]).T)


def _read(
    known: ModuleType, tank: Lit, rows: tuple[SheetRow, ...], u: np.ndarray, rng: np.random.Generator
) -> list[Reading]:
    """The sheet, read in a tank with a meter that reads all values alike too high or too low."""
    meter = rng.uniform(1 - METER, 1 + METER)
    readings = []
    for setting in dict.fromkeys(row.setting for row in rows):
        own = [row for row in rows if row.setting == setting]
        held = [tuple(np.array(row.at) + rng.normal(0, PLACED_SD_M, 3)) for row in own]
        light = known.true_light(tank.scene, tank.parameters, u, held, setting, int(rng.integers(1, 1 << 30)))
        light = meter * light * np.exp(rng.normal(0, np.hypot(READING_SD, MODEL_SD), len(own)))
        light = np.maximum(light + rng.normal(0, ROUNDING_PPFD, len(own)), 0.3)
        readings += [
            Reading(row.name, row.at, float(value), setting, Medium.AIR if setting.under else Medium.WATER)
            for row, value in zip(own, light, strict=True)
        ]
    return readings


def _with_light(tank: Lit, of: Lit, u: np.ndarray, light: np.ndarray) -> np.ndarray:
    """u of a tank, its light that of another tank at `light`."""
    given = {p.kind: value for p, value in zip(of.parameters, light, strict=True)}
    return np.array([given[p.kind] if p.kind in OF_LIGHTS else v for p, v in zip(tank.parameters, u, strict=True)])


def _carried(tank: Lit, of: Lit, fitted: Fitted, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What is believed of a tank to which the fitted light is carried: mean and covariance of u."""
    prior = belief(tank.scene, tank.parameters)
    spread = prior.covariance.copy()
    kinds = [p.kind for p in of.parameters]
    own = [k for k, p in enumerate(tank.parameters) if p.kind in OF_LIGHTS]
    from_fit = [kinds.index(tank.parameters[k].kind) for k in own]
    spread[np.ix_(own, own)] = covariance[np.ix_(from_fit, from_fit)]
    return _with_light(tank, of, prior.mean, fitted.u), spread


def _judged(tank: Lit, mean: np.ndarray, covariance: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of each zone: half the range over its middle, and whether it holds the light of the tank at u."""
    rng = np.random.default_rng(11)
    drawn = rng.multivariate_normal(mean, covariance, DRAWS)
    drawn = np.clip(drawn, *np.array([p.u_bounds for p in tank.parameters]).T)
    ends = np.quantile(tank.zones(drawn), (0.025, 0.975), axis=0)
    true = tank.zones(u[None])[0]
    return (ends[1] - ends[0]) / (ends[1] + ends[0]), (true >= ends[0]) & (true <= ends[1])
