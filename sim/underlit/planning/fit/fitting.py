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
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.scene import Lowered, lower
from underlit.planning.fit.advise import Choice, NextReading, choice_of, next_readings, read_before
from underlit.planning.fit.estimate import Fitted, estimate
from underlit.planning.fit.light import PHOTONS, Model, Place, Recording, Shot, Tracing, dimming_of
from underlit.planning.fit.parameters import Parameter, parameters_of
from underlit.planning.fit.placing import AROUND, around, placing_error
from underlit.planning.fit.readings import LidState, Reading, Setting
from underlit.planning.fit.remembered import new_readings
from underlit.scene.model import Scene

NOTHING_NEW = "the scene was corrected by these readings already; there is no new one among them"

ADVICE_SHARE = 0.5
"""Photons of a setting that is traced for advice only, over those of one with readings."""


@dataclass(frozen=True)
class Found:
    """A fit and what to read next, best first; seconds it took; how many of the readings were in the scene's values before."""

    fitted: Fitted
    next: tuple[NextReading, ...]
    seconds: float
    counted_before: int = 0


def fit(
    scene: Scene, readings: Sequence[Reading], *, photons: int = PHOTONS, seed: int = 1, threads: int | None = None,
    advice: int = 3, told: Callable[[str], None] = lambda text: None,
) -> Found:  # fmt: skip
    """Correct a scene by readings: output and beam of each make of fixture, dirt on the lid, growth, backing, tannin
    tint.

    Of a rack, the readings are of the scene's own tank (see `Scene.seen_from`), and lights of all its tanks are corrected.
    photons: of each setting of the tank (lid on or off, height of the light) that was read; advice: how many next
    readings to propose (0: none). What was measured before is where the fit begins, and readings that are in it already
    are passed over. Raises ValueError without a new reading and as `why_not_fitted` says, LoweringError where the scene
    cannot be built.
    """
    given, readings = readings, new_readings(scene, readings)
    if not readings:
        raise ValueError(NOTHING_NEW if given else "a fit needs at least one reading")
    began = time.perf_counter()
    described, tracing = as_described(scene), Tracing(photons, seed, threads)
    parameters = parameters_of(scene, described.compiled)
    u = np.array([p.u_start for p in parameters])
    choice = choice_of(described)
    spare = choice.heads if advice else []
    settings = dict.fromkeys(r.setting for r in readings)
    heads = {setting: _heads_for(scene, readings, setting, spare) for setting in settings}
    recordings = {}
    for setting in settings:
        told(f"tracing {_words(setting)}")
        recordings[setting] = Recording(scene, setting, heads[setting].all, parameters, u, tracing)
    model = Model(scene, parameters, recordings)
    shots = [Shot(r.setting, heads[r.setting].at(r.at), _dimming(r, recordings[r.setting])) for r in readings]
    placing = placing_error(model, shots, [heads[r.setting].first_around(r.at) for r in readings], u)
    fitted = estimate(model, readings, shots, placing, told=told)
    proposed: list[NextReading] = []
    if advice:
        first = {setting: heads[setting].first_spare for setting in settings if heads[setting].spare}
        less = replace(tracing, photons=round(ADVICE_SHARE * photons))
        whole = with_every_setting(fitted.model, fitted.u, choice, first, less, told)
        read = [*read_before(scene), *((r.setting, r.at) for r in given)]
        proposed = next_readings(fitted.covariance, fitted.u, whole, first, choice, read, advice)
    return Found(fitted, tuple(proposed), time.perf_counter() - began, len(given) - len(readings))


@dataclass(frozen=True)
class _Heads:
    """Meter heads of one setting of the tank [m]: where readings were taken, `AROUND` heads about each, spare ones."""

    places: list[Place]
    beside: list[Place]
    spare: list[Place]

    @property
    def all(self) -> list[Place]:
        """In the order of their indices."""
        return [*self.places, *self.beside, *self.spare]

    @property
    def first_spare(self) -> int:
        """Index of the first spare head."""
        return len(self.places) + len(self.beside)

    def at(self, place: Place) -> int:
        """Index of the head at a place."""
        return self.places.index(place)

    def first_around(self, place: Place) -> int:
        """Index of the first of the heads about a place."""
        return len(self.places) + AROUND * self.at(place)


def _heads_for(scene: Scene, readings: Sequence[Reading], setting: Setting, spare: list[Place]) -> _Heads:
    places = list(dict.fromkeys(r.at for r in readings if r.setting == setting))
    beside = [near for place in places for near in around(scene, place, in_tank=not setting.under)]
    return _Heads(places, beside, spare if setting.above_rim is None and not setting.under else [])


def _dimming(reading: Reading, recording: Recording) -> np.ndarray:
    return dimming_of(recording.scene, recording.sources, reading.dimming, reading.setting.under)


def why_not_fitted(scene: Scene) -> str:
    """Why a scene cannot be fitted to readings, or nothing where it can."""
    return "" if any(each.fixtures for each in scene.tank_scenes) else "the scene has no light: add a [[fixture]]"


def as_described(scene: Scene) -> Lowered:
    """The scene lowered as it stands, for what can be fitted in it and where plants and zones are. ValueError:
    `why_not_fitted`.
    """
    reason = why_not_fitted(scene)
    if reason:
        raise ValueError(reason)
    return lower(scene)


def scene_parameters(scene: Scene) -> tuple[Parameter, ...]:
    """What a fit may change in a scene."""
    return parameters_of(scene, as_described(scene).compiled)


def with_every_setting(
    model: Model,
    u: np.ndarray,
    choice: Choice,
    first: dict[Setting, int],
    tracing: Tracing,
    told: Callable[[str], None],
) -> Model:
    """The model with every setting in which a reading may be taken: the lid on and off, below each light in the open.

    first: index of the first of the choice's heads in each setting; the new settings are added.
    """
    recordings = dict(model.recordings)
    lids = (LidState.ON, LidState.OFF) if model.scene.lid is not None else (LidState.OFF,)
    wanted = {Setting(lid): choice.heads for lid in lids} | {setting: [place] for setting, place in choice.in_the_open}
    for setting, heads in wanted.items():
        known = recordings.get(setting)
        if known is not None and setting.under and heads[0] in known.heads:
            first[setting] = known.heads.index(heads[0])
        elif known is None:
            told(f"tracing {_words(setting)}, to propose the next readings")
            first[setting] = 0
            recordings[setting] = Recording(model.scene, setting, heads, model.parameters, u, tracing)
    return Model(model.scene, model.parameters, recordings)


def _words(setting: Setting) -> str:
    if setting.under:
        return f"the light of {setting.under} in the open"
    lid = "under the lid" if setting.lid is LidState.ON else "without a lid"
    return lid if setting.above_rim is None else f"{lid}, lights {100 * setting.above_rim:.1f} cm over the rim"
