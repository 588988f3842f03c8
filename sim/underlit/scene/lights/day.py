"""How a light runs through the day: steps of a controller, dimming curves, ramps, and the light they add up to.

A level is a share of full light, 0 to 1, piecewise linear over the day; integrals are exact.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Annotated, ClassVar

import numpy as np
from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from underlit.scene.common import Fraction, NonNegativeNumber, Number, OneOf, Part, Role, wrong
from underlit.spectra.grid import FloatArray
from underlit.units import LEAST_PER_CENT

DAY_H = 24.0
PHOTOPERIOD_H = 8.0
"""Where a scene does not say: common practice for a settled tank, no source."""
_CLOCK = re.compile(r"(\d{1,2}):([0-5]\d)")


def parse_clock(value: object) -> float:
    """Hours since midnight from a text such as ``9:30``, up to ``24:00``. Raises ValueError."""
    match = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    hours = int(match[1]) + int(match[2]) / 60 if match else DAY_H + 1
    if hours > DAY_H:
        raise ValueError('a time of day is written like "9:30", from "0:00" to "24:00"')
    return hours


Clock = Annotated[float, BeforeValidator(parse_clock), WithJsonSchema({"type": "string", "examples": ["9:30"]})]
CurvePoint = tuple[Number, Fraction]
SchedulePoint = tuple[Clock, NonNegativeNumber]


class Driven(Part):
    """How bright something runs: a share of full light, a step of a measured dimming curve, or a schedule of either."""

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf("the dimming", "dimming", "step"),
        OneOf("the dimming", "step", "schedule"),
    )

    dimming: Annotated[Fraction, Role.RUNS, Field(description="share of full light, 0 to 1")] = 1.0
    dimming_curve: Annotated[
        tuple[CurvePoint, ...] | None,
        Role.RUNS,
        Field(description="measured: rows of [step of the controller, share of full light], linear in between"),
    ] = None
    step: Annotated[
        Number | None,
        Role.RUNS,
        Field(description="the step of the dimming curve at which it runs; instead of dimming"),
    ] = None
    schedule: Annotated[
        tuple[SchedulePoint, ...] | None,
        Role.RUNS,
        Field(
            description='rows of ["9:30", level], with ramps in between and over midnight; two rows of one time are a jump; '
            "levels are shares of full light, or steps where there is a dimming_curve"
        ),
    ] = None

    @model_validator(mode="after")
    def _rows_are_in_order(self) -> Driven:
        if self.dimming_curve is not None:
            steps = [step for step, _ in self.dimming_curve]
            if len(steps) < 2 or any(b <= a for a, b in pairwise(steps)):
                raise wrong("a dimming curve needs at least two rows, in order of rising steps", "dimming_curve")
        if self.schedule is not None:
            times = [time for time, _ in self.schedule]
            if not times or any(b < a for a, b in pairwise(times)):
                raise wrong("a schedule needs at least one row, in order of time", "schedule")
        return self


def check_steps(driven: Driven, curve: tuple[CurvePoint, ...] | None) -> None:
    """Raise for a step or level that cannot be read: outside the curve, or above 1 without one."""
    if driven.step is not None:
        if curve is None:
            raise wrong("a step needs a dimming_curve that says how much light it gives", "step")
        if not curve[0][0] <= driven.step <= curve[-1][0]:
            raise wrong(f"lies outside the dimming curve, {curve[0][0]:g} to {curve[-1][0]:g}", "step", driven.step)
    low, high = (0.0, 1.0) if curve is None else (curve[0][0], curve[-1][0])
    for time, level in driven.schedule or ():
        if not low <= level <= high:
            said = "lie on the dimming curve" if curve is not None else "be a share of full light"
            write = f": write {level / 100:g}" if curve is None and LEAST_PER_CENT <= level <= 100 else ""
            raise wrong(
                f"the level at {clock_text(time)} must {said}, {low:g} to {high:g}, not {level:g}{write}", "schedule"
            )


def curve_share(driven: Driven, curve: tuple[CurvePoint, ...] | None) -> float:
    """Share of full light that its step gives, read from the curve, or its dimming."""
    if driven.step is None or curve is None:
        return driven.dimming
    steps, shares = np.array(curve, dtype=np.float64).T
    return float(np.interp(driven.step, steps, shares))


def clock_text(hours: float) -> str:
    """A time of day as a scene writes it."""
    minutes = round(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


@dataclass(frozen=True)
class Day:
    """Level over a day: ``times`` (n,) [h] not falling, ``levels`` (n,); linear in between and round midnight."""

    times: tuple[float, ...]
    levels: tuple[float, ...]

    @cached_property
    def whole(self) -> tuple[FloatArray, FloatArray]:
        """The same from 0 to 24 h, with its ends: times and levels, each (n + 2,)."""
        times, levels = np.array(self.times), np.array(self.levels)
        gap = times[0] + DAY_H - times[-1]
        # At midnight, on the line from the last row of one day to the first of the next.
        share = 0.0 if gap <= 0 else (DAY_H - times[-1]) / gap
        midnight = levels[-1] + share * (levels[0] - levels[-1])
        return np.concatenate([[0.0], times, [DAY_H]]), np.concatenate([[midnight], levels, [midnight]])

    @cached_property
    def full_hours(self) -> float:
        """Hours at full light that give the same light in a day: the integral of the level [h]."""
        times, levels = self.whole
        return float(np.trapezoid(levels, times))

    @cached_property
    def lit_hours(self) -> float:
        """Hours of the day with any light at all [h]."""
        times, levels = self.whole
        return float(np.diff(times)[(levels[1:] > 0) | (levels[:-1] > 0)].sum())

    def at(self, hours: float) -> float:
        """Level at a time of day; the brighter one where it jumps."""
        times, levels = self.whole
        here = levels[times == hours]
        return float(here.max() if len(here) else np.interp(hours, times, levels))

    def scaled(self, factor: float) -> Day:
        """The same day with every level times ``factor``."""
        return Day(self.times, tuple(level * factor for level in self.levels))


def block(hours: float, level: float = 1.0) -> Day:
    """So many hours at one level around noon, dark otherwise."""
    if hours >= DAY_H:
        return Day((0.0, DAY_H), (level, level))
    start, end = 12.0 - hours / 2, 12.0 + hours / 2
    return Day((start, start, end, end), (0.0, level, level, 0.0))


def through_curve(schedule: tuple[SchedulePoint, ...], curve: tuple[CurvePoint, ...] | None) -> Day:
    """A schedule of levels, or of steps through a dimming curve: exact, for a row is added wherever a step is crossed."""
    if curve is None:
        return Day(tuple(time for time, _ in schedule), tuple(level for _, level in schedule))
    steps, shares = np.array(curve, dtype=np.float64).T
    first, last = schedule[0], schedule[-1]
    rows = [*schedule, (first[0] + DAY_H, first[1])]
    times: list[float] = []
    values: list[float] = []
    for (t0, v0), (t1, v1) in pairwise(rows):
        times.append(t0)
        values.append(v0)
        if t1 > t0:
            inside = sorted((s for s in steps if min(v0, v1) < s < max(v0, v1)), reverse=v1 < v0)
            times += [t0 + (s - v0) / (v1 - v0) * (t1 - t0) for s in inside]
            values += inside
    # What was crossed after midnight belongs to the start of the day.
    late = [i for i, time in enumerate(times) if time >= DAY_H and time > last[0]]
    order = [*late, *(i for i in range(len(times)) if i not in late)]
    hours = tuple(times[i] - DAY_H if i in late else times[i] for i in order)
    return Day(hours, tuple(float(np.interp(values[i], steps, shares)) for i in order))
