"""The rows of a reading sheet: where to read before anything is fitted, and what the meter should show there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlit.lowering.scene import Lowered
from underlit.planning.fit.advise import candidates, next_readings
from underlit.planning.fit.estimate import Z95, reading_sigma
from underlit.planning.fit.fitting import as_described, with_every_lid
from underlit.planning.fit.light import Model, Place, Recording, Shot, Tracing, dimming_of
from underlit.planning.fit.parameters import parameters_of
from underlit.planning.fit.readings import LidState, Setting
from underlit.results.csv_text import csv_text
from underlit.scene.model import Scene

PHOTONS = 1 << 20
USUAL_ROWS = 8
"""Readings that a sheet asks for where not told otherwise: four to six tell most of what can be told; two to spare."""
NEAR_M = 0.04
"""A proposed spot this near to one of the scene's is not proposed."""


TYPED = ("value", "corrected", "immersion_factor", "dimming", "above_rim [cm]")
"""Columns of the csv that are typed in at the tank."""


@dataclass(frozen=True)
class SheetRow:
    """A reading to take: number, name, place [m], over the substrate [m], lid; what it should show, and between what
    [umol/m2/s].

    low, high: 95 %, with the tank uncertainty.
    """

    number: int
    name: str
    at: Place
    above_substrate: float
    lid: LidState
    ppfd: float
    low: float
    high: float


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
    u = np.array([p.u_start for p in parameters])
    own = [scene.spot_centre_m(spot) for spot in scene.spots]
    spare = [place for place in candidates(scene, lowered.plantings) if all(math.dist(place, o) > NEAR_M for o in own)]
    usual = Setting(LidState.OFF if scene.lid is None else LidState.ON)
    told("tracing the tank as described")
    tracing = Tracing(photons, seed, threads)
    recording = Recording(scene, usual, [*own, *spare], parameters, u, tracing)
    first = {usual: len(own)}
    half = replace(tracing, photons=photons // 2)
    model = with_every_lid(Model(scene, parameters, {usual: recording}), u, spare, first, half, told)
    covariance = _after_own(model, usual, len(own), u)
    more = next_readings(covariance, u, model, first, max(0, rows - len(own)))
    wanted = [(spot.name, place, usual.lid) for spot, place in zip(scene.spots, own, strict=True)]
    wanted += [("", n.at, n.lid) for n in more]
    return Sheet(lowered.tanks[0], _rows(model, wanted, u))


def _after_own(model: Model, setting: Setting, own: int, u: np.ndarray) -> np.ndarray:
    """Covariance of the parameters once the scene's own spots are read."""
    dimming = dimming_of(model.scene, model.recordings[setting].sources, None)
    precision = np.diag([1 / p.u_sd**2 for p in model.parameters])
    if own:
        value, slope, noise = model.predict([Shot(setting, k, dimming) for k in range(own)], u)
        read = slope[value > 0] / reading_sigma(value[value > 0], noise[value > 0])[:, None]
        precision = precision + read.T @ read
    return np.linalg.inv(precision)


def _rows(model: Model, wanted: Sequence[tuple[str, Place, LidState]], u: np.ndarray) -> tuple[SheetRow, ...]:
    """Numbered rows: with the lid first, so that it is taken off once; from left to right."""
    ordered = sorted(wanted, key=lambda w: (w[2] is LidState.OFF, w[1][0], w[1][1], w[1][2]))
    shots = []
    for _, place, lid in ordered:
        recording = model.recordings[Setting(lid)]
        shots.append(Shot(Setting(lid), recording.heads.index(place), dimming_of(model.scene, recording.sources, None)))
    value, slope, noise = model.predict(shots, u)
    before = np.array([p.u_sd for p in model.parameters])
    spread = np.sqrt(((slope * before) ** 2).sum(axis=1) + reading_sigma(np.maximum(value, 1e-9), noise) ** 2)
    rows = []
    for number, ((name, place, lid), v, s) in enumerate(zip(ordered, value, spread, strict=True), 1):
        bed = float(model.scene.bed_heights_m(np.array(place[0]), np.array(place[1])))
        low, high = (float(v * math.exp(sign * Z95 * s)) for sign in (-1, 1))
        rows.append(SheetRow(number, name or f"spot {number}", place, place[2] - bed, lid, float(v), low, high))
    return tuple(rows)


def template_csv(scene: Scene, rows: Sequence[SheetRow]) -> str:
    """A csv file with the sheet's rows, to type the readings into; `read_readings` reads it."""
    told = [
        {
            "number": row.number,
            "name": row.name,
            "x [cm]": f"{100 * row.at[0]:.2f}",
            "y [cm]": f"{100 * row.at[1]:.2f}",
            "above_substrate [cm]": f"{100 * row.above_substrate:.2f}",
            **({"lid": row.lid} if scene.lid is not None else {}),
            "predicted": f"{row.ppfd:.3g}",
            **dict.fromkeys(TYPED),
        }
        for row in rows
    ]
    comments = (
        "Type what the meter shows under value. Leave the row empty if you did not read there.",
        "corrected: yes if the value includes the underwater correction; otherwise no, and give the immersion_factor.",
        "dimming and above_rim (height of the light over the rim): only if they differed from the scene.",
    )
    return csv_text(told, comments=comments)
