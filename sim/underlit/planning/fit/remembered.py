"""What a fit tells a scene file to remember: its `[measured]` table."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date as Date
from typing import Any, NamedTuple

import numpy as np

from underlit.lowering.records import Part
from underlit.planning.fit.estimate import Fitted
from underlit.planning.fit.parameters import Kind, Parameter, Scale, fixture_part
from underlit.planning.fit.readings import Reading
from underlit.scene.lights.fixture import Fixture
from underlit.scene.measured import MeasuredParameter, MeasuredReading
from underlit.scene.model import Scene
from underlit.scene.standing import Standing, standing

METER_SD = 0.10 / 3**0.5
"""Relative, of all readings of one meter together: it is good to ± 10 % (common practice, no source), and anything in that
range is as likely. No reading tells it from the lights' output."""


class Source(NamedTuple):
    """Which readings: when they were fitted, the file they came from, and whether they are of the tank that remembers."""

    date: Date
    file: str = ""
    own: bool = True


def measured_table(
    fitted: Fitted, source: Source, lights: Mapping[str, Part], kinds: Collection[Kind], kept: Standing | None = None
) -> dict[str, Any]:
    """The table for a scene with some of the fitted lights and, of its tank, some kinds of parameters.

    lights: the fitted light that each fixture of the scene is, by the fixture's name. kept: what the scene knew before and
    goes on knowing; its errors are taken to have nothing to do with these.
    """
    rows, which = [], []
    covariance = remembered_covariance(fitted)
    for k, parameter in enumerate(fitted.parameters):
        names = [name for name, light in lights.items() if light in parameter.lights]
        if names or parameter.kind in kinds:
            of = tuple(names) or parameter.of
            rows.append({"what": str(parameter.kind), **({"of": list(of)} if of else {}), "value": value_of(fitted, k)})
            which.append(k)
    before = [] if kept is None else [p for p in kept.parameters if all(_other(p, row) for row in rows)]
    together = covariance[np.ix_(which, which)]
    if kept is not None and before:
        left = [kept.parameters.index(p) for p in before]
        together = _side_by_side(together, kept.covariance[np.ix_(left, left)])
        rows += [_row_of(p) for p in before]
    sd = np.sqrt(np.diag(together))
    taken = [*map(_taken, taken_before(fitted.model.scene)), *(_taken(r.reading) for r in fitted.residuals)]
    return {
        "date": source.date,
        "readings": readings_counted(fitted),
        "readings_file": source.file,
        "correlation": [[round(float(c), 6) for c in row] for row in together / np.outer(sd, sd)],
        "parameter": [row | {"sd": float(f"{error:.4g}")} for row, error in zip(rows, sd, strict=True)],
        **({"reading": taken} if source.own else {}),
    }


def readings_counted(fitted: Fitted) -> int:
    """How many readings are in the values: those used here, and those before where any of what they told still stands."""
    measured = fitted.model.scene.measured
    before = measured.readings if measured is not None and fitted.belief.measured.any() else 0
    return before + sum(not r.set_aside for r in fitted.residuals)


def remembered_covariance(fitted: Fitted) -> np.ndarray:
    """Mean square departure from the values that were found, by the draws; with the meter's own error in the output.

    Of u, but of a share the relative departure of its optical depth, for that is what dims the light: a lid that may as well
    be clean leaves u open to one side, where it no longer matters.
    """
    off = fitted.draws.u - fitted.u
    shares = np.array([p.prior.scale is Scale.LOG_DEPTH for p in fitted.parameters])
    off[:, shares] = np.expm1(off[:, shares])
    covariance: np.ndarray = (off * fitted.draws.weight[:, None]).T @ off
    output = np.array([p.kind is Kind.OUTPUT for p in fitted.parameters], float)
    covariance += METER_SD**2 * np.outer(output, output)
    return covariance


def value_of(fitted: Fitted, index: int) -> float:
    """The value of a parameter that goes into the scene; the output as PPF of one fixture [umol/s]."""
    parameter = fitted.parameters[index]
    unit = claimed_ppf(fitted.model.scene, parameter) if parameter.kind is Kind.OUTPUT else 1.0
    return float(f"{unit * fitted.value(index):.6g}")


def claimed_ppf(scene: Scene, parameter: Parameter) -> float:
    """Claimed PPF of each light of a make [umol/s]."""
    return next(fixture.claimed_ppf for light, fixture in all_lights(scene) if light in parameter.lights)


def all_lights(scene: Scene) -> list[tuple[Part, Fixture]]:
    """All lights of a scene and of its rack, with their records."""
    return [(fixture_part(f, tank), f) for tank, each in enumerate(scene.tank_scenes) for f in each.fixtures]


def _other(known: MeasuredParameter, row: Mapping[str, Any]) -> bool:
    """Whether what was known is about another thing than a row."""
    return known.what != row["what"] or (bool(known.of) and set(known.of).isdisjoint(row["of"]))


def _row_of(known: MeasuredParameter) -> dict[str, Any]:
    return {"what": str(known.what), **({"of": list(known.of)} if known.of else {}), "value": known.value}


def _side_by_side(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    both = np.zeros((len(one) + len(other),) * 2)
    both[: len(one), : len(one)], both[len(one) :, len(one) :] = one, other
    return both


def _taken(reading: Reading | MeasuredReading) -> dict[str, Any]:
    at_setting = reading.setting if isinstance(reading, Reading) else reading
    above_rim = at_setting.above_rim
    return {
        "at": [_metres(side) for side in reading.at],
        "ppfd": f"{reading.ppfd:.6g} umol/m2/s",
        "lid": str(at_setting.lid),
        **({"under": at_setting.under} if at_setting.under else {}),
        **({} if above_rim is None else {"above_rim": _metres(above_rim)}),
        **({} if reading.dimming is None else {"dimming": float(reading.dimming)}),
    }


def _metres(length: float) -> str:
    return f"{round(float(length), 5)!r} m"


# -- the readings that a scene has in it ----------------------------------------------------------------------------
SAME_PLACE_M = 1e-3
SAME_VALUE = 1e-4
"""Relative; files round to six digits."""


def new_readings(scene: Scene, readings: Sequence[Reading]) -> list[Reading]:
    """Those of some readings that are not in the scene's values already: another number, place or setting."""
    known = taken_before(scene)
    return [reading for reading in readings if not any(_same(reading, taken) for taken in known)]


def taken_before(scene: Scene) -> tuple[MeasuredReading, ...]:
    """The readings that are in the scene's values; none once nothing of what they told stands."""
    return scene.measured.taken if scene.measured is not None and standing(scene).parameters else ()


def _same(reading: Reading, taken: MeasuredReading) -> bool:
    return (
        bool(np.linalg.norm(np.subtract(taken.at, reading.at)) <= SAME_PLACE_M)
        and (taken.lid, taken.under, taken.dimming)
        == (str(reading.setting.lid), reading.setting.under, reading.dimming)
        and (taken.above_rim is None) is (reading.setting.above_rim is None)
        and abs((taken.above_rim or 0.0) - (reading.setting.above_rim or 0.0)) <= SAME_PLACE_M
        and abs(taken.ppfd / reading.ppfd - 1) <= SAME_VALUE
    )
