"""The rows of a reading sheet: where to read before anything is fitted, and what the meter should show there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.planning.fit.advise import OPEN_BELOW_M, choice_of, next_readings, read_before
from underlit.planning.fit.belief import Belief, belief
from underlit.planning.fit.estimate import Z95, reading_sigma
from underlit.planning.fit.fitting import as_described, with_every_setting
from underlit.planning.fit.goals import as_used
from underlit.planning.fit.light import Model, Place, Recording, Shot, Tracing, dimming_of, lowered_for
from underlit.planning.fit.parameters import parameters_of
from underlit.planning.fit.readings import LidState, Medium, Setting
from underlit.planning.ranges import TankRanges, both_errors
from underlit.results.csv_text import csv_text
from underlit.run import Traced, trace
from underlit.scene.model import Scene

PHOTONS = 1 << 20
USUAL_ROWS = 8
"""Readings that a sheet asks for where not told otherwise: four to six tell most of what can be told; two to spare."""


TYPED = ("value", "corrected", "immersion_factor", "dimming", "above_rim [cm]")
"""Columns of the csv that are typed in at the tank."""


RANGE_SHARE = 4
"""Photons of the tank as described, over those that tell how far each spot may differ."""


@dataclass(frozen=True)
class SheetRow:
    """A reading to take: number, name, place [m], over the substrate [m], how the tank is set up; what it should show, and
    between what [umol/m2/s].

    low, high: 95 %, by both errors.
    """

    number: int
    name: str
    at: Place
    above_substrate: float
    setting: Setting
    medium: Medium
    ppfd: float
    low: float
    high: float

    @property
    def lid(self) -> LidState:
        """Whether the lid is on."""
        return self.setting.lid

    @property
    def below_light(self) -> float | None:
        """How far below the light the head is held in the open [m]; None in the tank."""
        return OPEN_BELOW_M if self.setting.under else None


@dataclass(frozen=True)
class Sheet:
    """Rows, and the scene as lowered for the drawing."""

    lowered: Lowered
    rows: tuple[SheetRow, ...]


def reading_sheet(
    scene: Scene, *, rows: int = USUAL_ROWS, photons: int = PHOTONS, seed: int = 1, threads: int | None = None,
    told: Callable[[str], None] = lambda text: None,
) -> Sheet:  # fmt: skip
    """The scene's own spots, and those that would tell most of its parameters, `rows` in all or as many as it has
    spots. Of a rack, they lie in the scene's own tank.
    """
    lowered = as_described(scene)
    parameters = parameters_of(scene, lowered.compiled)
    believed = belief(scene, parameters)
    own = [scene.spot_centre_m(spot) for spot in scene.spots]
    choice, usual = choice_of(lowered), as_used(scene)
    told("tracing the tank as described")
    tracing = Tracing(photons, seed, threads)
    recording = Recording(scene, usual, [*own, *choice.heads], parameters, believed.mean, tracing)
    first = {usual: len(own)}
    half = replace(tracing, photons=photons // 2)
    model = with_every_setting(Model(scene, parameters, {usual: recording}), believed.mean, choice, first, half, told)
    covariance = _after_own(model, usual, len(own), believed)
    read = [*read_before(scene), *((usual, place) for place in own)]
    more = next_readings(covariance, believed.mean, model, first, choice, read, max(0, rows - len(own)))
    wanted = [(spot.name, place, usual) for spot, place in zip(scene.spots, own, strict=True)]
    wanted += [("", n.at, n.setting) for n in more]
    return Sheet(
        lowered.tanks[0], _rows(model, wanted, believed.mean, replace(tracing, photons=photons // RANGE_SHARE))
    )


def _after_own(model: Model, setting: Setting, own: int, believed: Belief) -> np.ndarray:
    """Covariance of the parameters once the scene's own spots are read."""
    dimming = dimming_of(model.scene, model.recordings[setting].sources, None)
    precision = np.linalg.inv(believed.covariance)
    if own:
        value, slope, noise = model.predict([Shot(setting, k, dimming) for k in range(own)], believed.mean)
        read = slope[value > 0] / reading_sigma(value[value > 0], noise[value > 0])[:, None]
        precision = precision + read.T @ read
    return np.linalg.inv(precision)


def _rows(
    model: Model, wanted: Sequence[tuple[str, Place, Setting]], u: np.ndarray, tracing: Tracing
) -> tuple[SheetRow, ...]:
    """Numbered rows: with the lid first, so that it is taken off once, then in the open; from left to right."""
    ordered = sorted(wanted, key=lambda w: (w[2].under, w[2].lid is LidState.OFF, w[1][0], w[1][1], w[1][2]))
    shots = []
    for _, place, setting in ordered:
        recording = model.recordings[setting]
        dimming = dimming_of(model.scene, recording.sources, None, setting.under)
        shots.append(Shot(setting, recording.heads.index(place), dimming))
    value, _, noise = model.predict(shots, u)
    tank = _tank_factors(model.scene, [(setting, place) for _, place, setting in ordered], tracing)
    rows = []
    for number, ((name, place, setting), v, error) in enumerate(zip(ordered, value.tolist(), noise, strict=True), 1):
        bed = float(model.scene.bed_heights_m(np.array(place[0]), np.array(place[1])))
        medium = Medium.AIR if setting.under or place[2] >= model.scene.water_level_m else Medium.WATER
        low, high = both_errors(v, Z95 * float(error) * v, tank[setting, place]) if v > 0 else (0.0, 0.0)
        rows.append(
            SheetRow(
                number,
                name or (f"in air below {setting.under}" if setting.under else f"spot {number}"),
                place,
                place[2] - bed,
                setting,
                medium,
                v,
                low,
                high,
            )
        )
    return tuple(rows)


def _tank_factors(
    scene: Scene, heads: Sequence[tuple[Setting, Place]], tracing: Tracing
) -> dict[tuple[Setting, Place], tuple[float, float]]:
    """Between which factors the light on each head may lie, as everywhere else: by a trace that asks (`planning.ranges`)."""
    found = {}
    for setting in dict.fromkeys(setting for setting, _ in heads):
        places = [place for known, place in heads if known == setting]
        traced = trace(
            lowered_for(scene, setting, places), photons=tracing.photons, seed=tracing.seed, threads=tracing.threads
        )
        assert isinstance(traced, Traced)
        sources = traced.result.compiled.sources
        levels = dict(zip(sources, dimming_of(scene, sources, None, setting.under).tolist(), strict=True))
        ranges = TankRanges(traced.lowered, traced.result.dimmed(levels))
        for index, place in enumerate(places):
            one = ranges.spot(index)
            found[setting, place] = one.low, one.high
    return found


def template_csv(scene: Scene, rows: Sequence[SheetRow]) -> str:
    """A csv file with the sheet's rows, to type the readings into; `read_readings` reads it."""
    in_the_open = any(row.below_light is not None for row in rows)
    told = []
    for row in rows:
        x, y, over = ("" if row.setting.under else f"{100 * v:.2f}" for v in (*row.at[:2], row.above_substrate))
        below = "" if row.below_light is None else f"{100 * row.below_light:.2f}"
        told.append({
            "number": row.number,
            "name": row.name,
            "medium": str(row.medium),
            "x [cm]": x,
            "y [cm]": y,
            "above_substrate [cm]": over,
            **({"under_light [cm]": below, "light": row.setting.under} if in_the_open else {}),
            **({"lid": row.lid} if scene.lid is not None else {}),
            "predicted": f"{row.ppfd:.3g}",
            **dict.fromkeys(TYPED),
        })  # fmt: skip
    comments = (
        "Type what the meter shows under value. Leave the row empty if you did not read there.",
        "corrected, in water: yes if the value includes the underwater correction; otherwise no, and give the immersion_factor.",
        "dimming and above_rim (height of the light over the rim): only if they differed from the scene.",
    )
    return csv_text(told, comments=comments)
