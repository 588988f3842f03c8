"""Fit a scene to meter readings: the one call.

scene = load_scene("tank.toml")
found = fit(scene, read_readings("readings.csv", scene))
for k, parameter in enumerate(found.fitted.parameters):
    print(parameter.name, found.fitted.value(k), found.fitted.interval(k))
out = Path("tank-fitted.toml")
out.write_text(corrected_text(found.fitted, out))
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.planning.fit.advise import NextReading, candidates, next_readings
from underlit.planning.fit.estimate import Fitted, estimate
from underlit.planning.fit.light import PHOTONS, Model, Place, Recording, Shot, dimming_of, lowered_for
from underlit.planning.fit.parameters import Parameter, parameters_of
from underlit.planning.fit.placing import AROUND, around, placing_error
from underlit.planning.fit.readings import LidState, Reading, Setting
from underlit.scene.model import Scene

ADVICE_SHARE = 0.5
"""Photons of a setting that is traced for advice only, over those of one with readings."""


@dataclass(frozen=True)
class Found:
    """A fit and what to read next, best first; seconds it took."""

    fitted: Fitted
    next: tuple[NextReading, ...]
    seconds: float


def fit(
    scene: Scene, readings: Sequence[Reading], *, photons: int = PHOTONS, seed: int = 1, threads: int | None = None,
    advice: int = 3, told: Callable[[str], None] = lambda text: None,
) -> Found:  # fmt: skip
    """Correct a scene by readings: output and beam of each make of fixture, dirt on the lid, growth, backing, tannin
    tint.

    photons: of each setting of the tank (lid on or off, height of the light) that was read; advice: how many next
    readings to propose (0: none). Raises ValueError without a reading and as `why_not_fitted` says, LoweringError where
    the scene cannot be built.
    """
    if not readings:
        raise ValueError("a fit needs at least one reading")
    began = time.perf_counter()
    described = as_described(scene)
    parameters = parameters_of(scene, described.compiled)
    u = np.array([p.u_start for p in parameters])
    spare = candidates(scene, described.plantings) if advice else []
    recordings: dict[Setting, Recording] = {}
    index: dict[tuple[Setting, Place], int] = {}
    first: dict[Setting, int] = {}
    for setting in dict.fromkeys(r.setting for r in readings):
        places = list(dict.fromkeys(r.at for r in readings if r.setting == setting))
        index.update({(setting, place): i for i, place in enumerate(places)})
        beside = [near for place in places for near in around(scene, place)]
        extra = spare if setting.above_rim is None else []
        first[setting] = len(places) + len(beside)
        told(f"tracing {_words(setting)}")
        recordings[setting] = Recording(
            scene, setting, [*places, *beside, *extra], parameters, u, photons=photons, seed=seed, threads=threads
        )
    model = Model(scene, parameters, recordings)
    shots = [
        Shot(r.setting, index[r.setting, r.at], dimming_of(scene, recordings[r.setting].sources, r.dimming))
        for r in readings
    ]
    heads_around = [_first_around(readings, r, index) for r in readings]
    fitted = estimate(model, readings, shots, placing_error(model, shots, heads_around, u), told=told)
    proposed: list[NextReading] = []
    if advice:
        whole = with_every_lid(fitted.model, fitted.u, spare, first, round(ADVICE_SHARE * photons), seed, threads, told)
        proposed = next_readings(fitted, whole, first, advice)
    return Found(fitted, tuple(proposed), time.perf_counter() - began)


def _first_around(readings: Sequence[Reading], reading: Reading, index: dict[tuple[Setting, Place], int]) -> int:
    """Index of the first of the heads around a reading's place: they follow all places of its setting."""
    places = len({r.at for r in readings if r.setting == reading.setting})
    return places + AROUND * index[reading.setting, reading.at]


def why_not_fitted(scene: Scene) -> str:
    """Why a scene cannot be fitted to readings, or nothing where it can."""
    if scene.rack:
        return "readings are fitted to one tank at a time: take the scene file of a single tank, not that of the rack"
    return "" if scene.fixtures else "the scene has no light: add a [[fixture]]"


def as_described(scene: Scene) -> Lowered:
    """The scene lowered as it stands, for what can be fitted in it and where plants are. ValueError:
    `why_not_fitted`."""
    reason = why_not_fitted(scene)
    if reason:
        raise ValueError(reason)
    return lowered_for(scene, Setting(LidState.OFF if scene.lid is None else LidState.ON), [])


def scene_parameters(scene: Scene) -> tuple[Parameter, ...]:
    """What a fit may change in a scene."""
    return parameters_of(scene, as_described(scene).compiled)


def with_every_lid(
    model: Model, u: np.ndarray, spare: Sequence[Place], first: dict[Setting, int], photons: int, seed: int,
    threads: int | None, told: Callable[[str], None],
) -> Model:  # fmt: skip
    """The model with every state of the lid that a reading may be taken in; `first` learns where the spare heads
    begin."""
    recordings = dict(model.recordings)
    for lid in (LidState.ON, LidState.OFF) if model.scene.lid is not None else (LidState.OFF,):
        setting = Setting(lid)
        if setting not in recordings:
            told(f"tracing {_words(setting)}, to propose the next readings")
            first[setting] = 0
            recordings[setting] = Recording(
                model.scene, setting, spare, model.parameters, u, photons=photons, seed=seed, threads=threads
            )
    return Model(model.scene, model.parameters, recordings)


def _words(setting: Setting) -> str:
    lid = "under the lid" if setting.lid is LidState.ON else "without a lid"
    return lid if setting.above_rim is None else f"{lid}, lights {100 * setting.above_rim:.1f} cm over the rim"
