"""A fit to meter readings in words: what was found, what stands out, what is left open, what to read next."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from underlit.planning.fit.advise import OPEN_BELOW_M, NextReading, correlated, most_narrowed, unconstrained
from underlit.planning.fit.estimate import MODEL_SD, READING_SD, Fitted, Residual
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.parameters import Kind, Parameter, Scale
from underlit.planning.fit.readings import Correction, LidState, Setting
from underlit.report.numbers import light
from underlit.scene.model import Scene

HIGH_LEVERAGE = 0.8
"""Of a reading that alone decides what the model says at its place."""


def values(fitted: Fitted, index: int) -> tuple[float, float, float, float]:
    """What the scene says of a parameter, what was found and its 95 % interval; output in umol/s of one fixture."""
    parameter = fitted.parameters[index]
    unit = _unit_ppf(fitted, parameter) if parameter.kind is Kind.OUTPUT else 1.0
    low, high = fitted.interval(index)
    return unit * parameter.start, unit * fitted.value(index), unit * low, unit * high


def _unit_ppf(fitted: Fitted, parameter: Parameter) -> float:
    light = parameter.lights[0]
    fixtures = fitted.model.scene.tank_scenes[light.tank].fixtures
    return next(fixture for fixture in fixtures if fixture.name == light.part).claimed_ppf


UNITS = {
    Kind.OUTPUT: "umol/s", Kind.BEAM: "deg", Kind.LID: "of the light", Kind.GROWTH: "of the light",
    Kind.TINT: "per m at 440 nm", Kind.BACKING: "reflectance",
}  # fmt: skip


def words(parameter: Parameter) -> str:
    """A parameter's name for a table."""
    names = ", ".join(parameter.of)
    return {
        Kind.OUTPUT: f"output of {names}" + (" (each)" if len(parameter.of) > 1 else ""),
        Kind.BEAM: f"beam angle of {names}",
        Kind.LID: "dirt on the lid: light that passes",
        Kind.GROWTH: "panes: light returned per reflection",
        Kind.TINT: "tannin tint",
        Kind.BACKING: f"backing ({names})",
    }[parameter.kind]


def short(parameter: Parameter) -> str:
    """A parameter's name in a sentence."""
    return {
        Kind.OUTPUT: f"the output of {_listed(parameter.of)}" if parameter.of else "the output",
        Kind.BEAM: f"the beam of {_listed(parameter.of)}" if parameter.of else "the beam",
        Kind.LID: "the dirt on the lid",
        Kind.GROWTH: "the growth on the panes",
        Kind.TINT: "the tannin tint",
        Kind.BACKING: "the backing",
    }[parameter.kind]


def figure(value: float) -> str:
    """A parameter's value: three figures."""
    return f"{value:.3g}"


# -- sentences --------------------------------------------------------------------------------------------------
def headline(fitted: Fitted) -> str:
    """How far the readings are from the scene, before and after."""
    used = [r for r in fitted.residuals if not r.set_aside]
    before = math.sqrt(np.mean([math.log(r.reading.ppfd / r.before) ** 2 for r in used]))
    after = math.sqrt(np.mean([math.log1p(r.departure) ** 2 for r in used]))
    count = f"{len(used)} reading{'s' if len(used) > 1 else ''}"
    aside = len(fitted.residuals) - len(used)
    left = f", {aside} set aside" if aside else ""
    missed = f"The scene differs from them by {miss(before)} (root mean square), the corrected scene by {miss(after)}."
    return f"{count} used{left}. {missed}"


def miss(logarithm: float) -> str:
    """A root mean square of logarithms: per cent, or a factor where it is large."""
    return (
        f"{100 * math.expm1(logarithm):.0f} %" if logarithm < math.log(2) else f"a factor of {math.exp(logarithm):.1f}"
    )


def outlier_lines(fitted: Fitted) -> list[str]:
    """A sentence for each reading that was set aside."""
    return [_outlier(fitted, r) for r in fitted.set_aside]


def reading_name(fitted: Fitted, residual: Residual) -> str:
    """`reading 7 (front corner)`: its number among the readings and its name."""
    index = fitted.residuals.index(residual) + 1
    return f"reading {index} ({residual.reading.name})"


def _outlier(fitted: Fitted, r: Residual) -> str:
    side = "lower" if r.departure < 0 else "higher"
    why = (
        "shade from a hand, a leaf or a hose, a tilted head, or another place"
        if r.departure < 0
        else "daylight or room light on the head, a head held higher, or a value corrected for water twice"
    )
    far = f"{100 * abs(r.departure):.0f} % {side} than the other readings allow"
    return f"{reading_name(fitted, r)} is {far}. Possible causes: {why}. It was not used."


def leverage_lines(fitted: Fitted) -> list[str]:
    """A sentence for readings that alone decide something."""
    alone = [reading_name(fitted, r) for r in fitted.residuals if not r.set_aside and r.leverage > HIGH_LEVERAGE]
    if not alone:
        return []
    verb = "has" if len(alone) == 1 else "have each"
    return [
        f"{_listed(alone)} {verb} no other reading to be checked against, so an error there goes into the result. "
        "Read it twice."
    ]


def apart_lines(fitted: Fitted) -> list[str]:
    """What the readings cannot tell apart, and what they do not constrain."""
    lines = []
    names = [short(p) for p in fitted.parameters]
    said = unconstrained(fitted)
    pairs = [(i, j, c) for i, j, c in correlated(fitted) if i not in said and j not in said]
    for i, j, c in pairs:
        way = "more of one for more of the other" if _alike(fitted, i, j, c) else "more of one for less of the other"
        lines.append(f"These readings cannot tell {names[j]} from {names[i]}: {way} fits as well.")
    if said:
        lines.append(
            f"These readings do not constrain {_listed([names[k] for k in said])}: the scene's own value stands."
        )
    return lines or ["These readings tell all of these values apart."]


def _alike(fitted: Fitted, i: int, j: int, correlation: float) -> bool:
    """Whether two values rise together: u of a share rises as the share falls."""
    falls = [fitted.parameters[k].prior.scale is Scale.LOG_DEPTH for k in (i, j)]
    return (correlation > 0) == (falls[0] == falls[1])


def correction_lines(fitted: Fitted) -> list[str]:
    """A sentence where readings do not say whether they are corrected for water."""
    if not any(r.reading.correction is Correction.TAKEN_AS_IN_VALUE for r in fitted.residuals):
        return []
    return [
        "The readings under water do not say whether they include the meter's underwater correction. It is assumed that they "
        "do. If not, they are 10 to 25 % too low, and so is the output found. Add the column `corrected` to say so."
    ]


def stretch_line(fitted: Fitted) -> list[str]:
    """What it means that readings scatter too much."""
    if fitted.stretch <= 1.0:
        return []
    expected = 100 * math.hypot(READING_SD, MODEL_SD)
    return [
        f"The readings scatter {fitted.stretch:.1f} times as much as readings by hand usually do (about {expected:.0f} %). "
        "Something in the scene differs from the tank, such as the place of the light, the plants or the water level. The "
        "intervals are made wider to match."
    ]


def next_lines(fitted: Fitted, proposed: Sequence[NextReading]) -> list[str]:
    """Where to read next, the best first."""
    if not proposed:
        return []
    best = proposed[0]
    k = most_narrowed(fitted, best.errors)
    scene = fitted.model.scene
    gain = 100 * (1 - best.errors[k] / fitted.sd[k])
    line = (
        f"Best next reading: {place_words(scene, best)}. Expect about {light(best.ppfd)} there. It would narrow "
        f"the tank error of the zones by {100 * (1 - best.narrowing):.0f} %, and {short(fitted.parameters[k])} by {gain:.0f} %."
    )
    more = [place_words(scene, n) for n in proposed[1:]]
    return [line, *([f"After that: {'; '.join(more)}."] if more else [])]


def place_words(scene: Scene, reading: NextReading) -> str:
    """Where a reading is to be taken."""
    if reading.setting.under:
        return (
            f"in air, away from the tank, {100 * OPEN_BELOW_M:.0f} cm below the middle of {reading.setting.under} alone"
        )
    x, y, z = reading.at
    over = z - float(scene.bed_heights_m(np.array(x), np.array(y)))
    lid = "" if scene.lid is None else ", lid on" if reading.lid is LidState.ON else ", lid off"
    return (
        f"{100 * x:.0f} cm from the left, {100 * y:.0f} cm from the front, {100 * over:.0f} cm over the substrate{lid}"
    )


def before_lines(found: Found) -> list[str]:
    """What the scene knew of readings before these."""
    measured = found.fitted.model.scene.measured
    if measured is None or not found.fitted.belief.measured.any():
        return []
    known = f"The scene was corrected by {measured.text} before; this fit goes on from there."
    if not found.counted_before:
        return [known]
    those = "One of the readings is" if found.counted_before == 1 else f"{found.counted_before} of the readings are"
    return [f"{known} {those} in its values already and did not count again."]


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def sentences(found: Found) -> list[str]:
    """All that a fit has to say, in order."""
    fitted = found.fitted
    return [
        *before_lines(found),
        *outlier_lines(fitted),
        *stretch_line(fitted),
        *correction_lines(fitted),
        *leverage_lines(fitted),
        *apart_lines(fitted),
        *next_lines(fitted, found.next),
    ]


def setting_words(setting: Setting, dimming: float | None, scene: Scene) -> str:
    """How the tank was set up, where that was said; of a lid only where there is one."""
    if setting.under:
        parts = [f"in the open below {setting.under}"]
    else:
        parts = [] if scene.lid is None else ["lid on" if setting.lid is LidState.ON else "lid off"]
    if setting.above_rim is not None:
        parts.append(f"light {100 * setting.above_rim:.0f} cm up")
    if dimming is not None:
        parts.append(f"at {100 * dimming:.0f} %")
    return ", ".join(parts) or "as in the scene"


def value_correlation(fitted: Fitted) -> np.ndarray:
    """Correlation of the values themselves (u of a share runs against it)."""
    sign = np.array([-1.0 if p.prior.scale is Scale.LOG_DEPTH else 1.0 for p in fitted.parameters])
    return fitted.correlation * np.outer(sign, sign)
