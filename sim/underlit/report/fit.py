"""A fit to meter readings in words: what was found, which readings stand out, what they leave open, what to read
next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from underlit.planning.fit.advise import NextReading, settles, tied, untouched
from underlit.planning.fit.estimate import MODEL_SD, READING_SD, Fitted, Residual
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.parameters import Kind, Parameter, Scale
from underlit.planning.fit.readings import Correction, LidState, Setting
from underlit.report.numbers import light
from underlit.report.printout import say, table
from underlit.report.summary import number, versions
from underlit.scene.model import Scene

FORMAT = 1
HIGH_LEVERAGE = 0.8
"""Of a reading that alone decides what the model says at its place."""


def values(fitted: Fitted, index: int) -> tuple[float, float, float, float]:
    """What the scene says of a parameter, what was found and its 95 % interval; output in umol/s of one fixture."""
    parameter = fitted.parameters[index]
    unit = _unit_ppf(fitted, parameter) if parameter.kind is Kind.OUTPUT else 1.0
    low, high = fitted.interval(index)
    return unit * parameter.start, unit * fitted.value(index), unit * low, unit * high


def _unit_ppf(fitted: Fitted, parameter: Parameter) -> float:
    fixture = next(f for f in fitted.model.scene.fixtures if f.name in parameter.of)
    return fixture.claimed_ppf


UNITS = {
    Kind.OUTPUT: "umol/s", Kind.BEAM: "deg", Kind.LID: "of the light passes", Kind.GROWTH: "of the light per hit",
    Kind.TINT: "per m at 440 nm", Kind.BACKING: "reflectance",
}  # fmt: skip


def words(parameter: Parameter) -> str:
    """A parameter's name for a table."""
    names = ", ".join(parameter.of)
    return {
        Kind.OUTPUT: f"output of {names}" + (" (each)" if len(parameter.of) > 1 else ""),
        Kind.BEAM: f"beam angle of {names}",
        Kind.LID: "dirt on the lid lets through",
        Kind.GROWTH: "growth on the panes gives back",
        Kind.TINT: "tannin tint",
        Kind.BACKING: f"backing ({names})",
    }[parameter.kind]


def short(parameter: Parameter) -> str:
    """A parameter's name in a sentence."""
    several = len(parameter.of) > 0 and parameter.kind in (Kind.OUTPUT, Kind.BEAM)
    return {
        Kind.OUTPUT: f"the output of {', '.join(parameter.of)}" if several else "the output",
        Kind.BEAM: f"the beam of {', '.join(parameter.of)}" if several else "the beam",
        Kind.LID: "the dirt on the lid",
        Kind.GROWTH: "what the panes give back",
        Kind.TINT: "the tannin tint",
        Kind.BACKING: "the backing",
    }[parameter.kind]


def figure(value: float) -> str:
    """A parameter's value: three figures."""
    return f"{value:.3g}"


# -- sentences --------------------------------------------------------------------------------------------------
def headline(fitted: Fitted) -> str:
    """How well the readings were met before and after."""
    used = [r for r in fitted.residuals if not r.set_aside]
    before = math.sqrt(np.mean([math.log(r.reading.ppfd / r.before) ** 2 for r in used]))
    after = math.sqrt(np.mean([math.log1p(r.departure) ** 2 for r in used]))
    count = f"{len(used)} reading{'s' if len(used) > 1 else ''}"
    aside = len(fitted.residuals) - len(used)
    left = f", {aside} set aside" if aside else ""
    missed = f"The scene missed them by {miss(before)} (root mean square), as corrected by {miss(after)}."
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
        "shaded by a hand, a leaf or a hose, the head tilted, or the place another one"
        if r.departure < 0
        else "daylight or room light on the head, the head held higher, or corrected for water twice"
    )
    far = f"{100 * abs(r.departure):.0f} % {side} than the other readings allow"
    return f"{reading_name(fitted, r)} is {far}: {why}. It was not used."


def leverage_lines(fitted: Fitted) -> list[str]:
    """A sentence for readings on which alone something rests."""
    alone = [reading_name(fitted, r) for r in fitted.residuals if not r.set_aside and r.leverage > HIGH_LEVERAGE]
    if not alone:
        return []
    verb = "has" if len(alone) == 1 else "have each"
    return [
        f"{_listed(alone)} {verb} no other reading near it to check against: an error there goes into the result. "
        "Read it twice."
    ]


def apart_lines(fitted: Fitted) -> list[str]:
    """What the readings cannot tell apart, and what they say nothing of."""
    lines = []
    names = [short(p) for p in fitted.parameters]
    said = untouched(fitted)
    pairs = [(i, j, c) for i, j, c in tied(fitted) if i not in said and j not in said]
    for i, j, c in pairs:
        way = "more of one for more of the other" if _alike(fitted, i, j, c) else "more of one for less of the other"
        lines.append(f"These readings cannot tell {names[j]} from {names[i]}: they go with {way}.")
    if said:
        lines.append(
            f"They say next to nothing of {_listed([names[k] for k in said])}: there the scene's own value stands."
        )
    return lines or ["These readings tell all of these apart."]


def _alike(fitted: Fitted, i: int, j: int, correlation: float) -> bool:
    """Whether two values rise together: u of a share rises as the share falls."""
    falls = [fitted.parameters[k].prior.scale is Scale.LOG_DEPTH for k in (i, j)]
    return (correlation > 0) == (falls[0] == falls[1])


def correction_lines(fitted: Fitted) -> list[str]:
    """That readings do not say whether they are corrected for water."""
    if not any(r.reading.correction is Correction.TAKEN_AS_IN_VALUE for r in fitted.residuals):
        return []
    return [
        "The readings under water do not say whether the meter's underwater correction is in them; it is taken to be. "
        "Where it is not, they are 10 to 25 % too low, and so is the output found: add the column corrected."
    ]


def stretch_line(fitted: Fitted) -> list[str]:
    """What to make of readings that scatter too much."""
    if fitted.stretch <= 1.0:
        return []
    expected = 100 * math.hypot(READING_SD, MODEL_SD)
    return [
        f"The readings scatter {fitted.stretch:.1f} times as much as readings by hand do (about {expected:.0f} %): "
        "something in the scene differs from the tank, such as where the light hangs, plants or the water level. The "
        "intervals are widened by that."
    ]


def next_lines(fitted: Fitted, proposed: Sequence[NextReading]) -> list[str]:
    """Where to read next, the best first."""
    if not proposed:
        return []
    best = proposed[0]
    k = settles(fitted, best.errors)
    scene = fitted.model.scene
    gain = 100 * (1 - best.errors[k] / fitted.sd[k])
    line = (
        f"Next reading that would tell most: {place_words(scene, best)}. It should show about {light(best.ppfd)} and "
        f"would narrow {short(fitted.parameters[k])} by {gain:.0f} %."
    )
    more = [place_words(scene, n) for n in proposed[1:]]
    return [line, *([f"After that: {'; '.join(more)}."] if more else [])]


def place_words(scene: Scene, reading: NextReading) -> str:
    """Where a reading is to be taken."""
    x, y, z = reading.at
    over = z - float(scene.bed_heights_m(np.array(x), np.array(y)))
    lid = "" if scene.lid is None else ", lid on" if reading.lid is LidState.ON else ", lid off"
    return (
        f"{100 * x:.0f} cm from the left, {100 * y:.0f} cm from the front, {100 * over:.0f} cm over the substrate{lid}"
    )


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def sentences(found: Found) -> list[str]:
    """All that a fit has to say, in order."""
    fitted = found.fitted
    return [
        *outlier_lines(fitted),
        *stretch_line(fitted),
        *correction_lines(fitted),
        *leverage_lines(fitted),
        *apart_lines(fitted),
        *next_lines(fitted, found.next),
    ]


# -- tables -----------------------------------------------------------------------------------------------------
def print_fit(console: Console, found: Found, *, with_tables: bool) -> None:
    """The answer: parameters, readings, sentences; with the tables for those who ask."""
    fitted = found.fitted
    say(console, fitted.model.scene.title or "Fit to readings", "bold underline")
    say(console, headline(fitted))
    console.print()
    say(console, "What the readings make of the scene", "bold")
    console.print(parameter_table(fitted))
    say(
        console,
        "output is counted as this meter counts: a meter that reads 5 % high makes it 5 % high",
        "dim",
        indent=2,
    )
    console.print()
    say(console, "Readings, PAR (PPFD), umol/m2/s", "bold")
    console.print(reading_table(fitted))
    if with_tables:
        _print_tables(console, fitted)
    console.print()
    say(console, "In short", "bold")
    for line in sentences(found):
        say(console, line[:1].upper() + line[1:], indent=2)


def parameter_table(fitted: Fitted) -> Table:
    """What was found, beside what the scene says."""
    made = table("what", "the scene\nsays", "found", "95 %\ninterval", "")
    made.columns[-1].justify = "left"
    for k, parameter in enumerate(fitted.parameters):
        start, value, low, high = values(fitted, k)
        interval = f"{figure(low)} to {figure(high)}"
        made.add_row(words(parameter), figure(start), figure(value), interval, UNITS[parameter.kind])
    return made


def setting_words(setting: Setting, dimming: float | None) -> str:
    """How the tank was set up, where that was said."""
    parts = ["lid on" if setting.lid is LidState.ON else "lid off"]
    if setting.above_rim is not None:
        parts.append(f"light {100 * setting.above_rim:.0f} cm up")
    if dimming is not None:
        parts.append(f"at {100 * dimming:.0f} %")
    return ", ".join(parts)


def reading_table(fitted: Fitted) -> Table:
    """Readings beside the scene as it was and as corrected."""
    made = table("", "reading", "setting", "read", "the scene\nsaid", "corrected\nsays", "read over\nthat", wide=3)
    for index, r in enumerate(fitted.residuals, 1):
        departure = f"{100 * r.departure:+.0f} %" + (" *" if r.set_aside else "")
        setting = setting_words(r.reading.setting, r.reading.dimming)
        made.add_row(
            str(index), r.reading.name, setting, light(r.reading.ppfd), light(r.before), light(r.modelled), departure
        )
    return made


def _print_tables(console: Console, fitted: Fitted) -> None:
    console.print()
    say(console, "Readings: standardised departure given the others, leverage (0 to 1)", "bold")
    made = table("", "reading", "departure", "leverage", wide=2)
    for index, r in enumerate(fitted.residuals, 1):
        made.add_row(str(index), r.reading.name, f"{r.standardised:+.1f}", f"{r.leverage:.2f}")
    console.print(made)
    console.print()
    say(console, "Correlation of what was found; last: error left of what it was before the readings", "bold")
    made = table("", *(str(k + 1) for k in range(len(fitted.parameters))), "left")
    for k, parameter in enumerate(fitted.parameters):
        row = [f"{c:+.2f}" for c in _signed(fitted)[k]]
        made.add_row(f"{k + 1} {words(parameter)}", *row, f"{fitted.sd[k] / fitted.prior_sd[k]:.2f}")
    console.print(made)
    console.print()
    say(console, "Believed before the readings (95 %)", "bold")
    made = table("what", "range", "because", wide=3)
    for k, parameter in enumerate(fitted.parameters):
        unit = values(fitted, k)[0] / parameter.start if parameter.kind is Kind.OUTPUT else 1.0
        ends = sorted(unit * parameter.value_of(parameter.u_start + s * parameter.u_sd) for s in (-1.96, 1.96))
        made.add_row(
            words(parameter),
            f"{figure(ends[0])} to {figure(ends[1])}",
            f"{parameter.prior.known} ({parameter.prior.source})",
        )
    console.print(made)


def _signed(fitted: Fitted) -> np.ndarray:
    """Correlation of the values themselves (u of a share runs against it)."""
    sign = np.array([-1.0 if p.prior.scale is Scale.LOG_DEPTH else 1.0 for p in fitted.parameters])
    return fitted.correlation * np.outer(sign, sign)


# -- data -------------------------------------------------------------------------------------------------------
def fit_summary(found: Found) -> dict[str, Any]:
    """The whole answer as plain data, units in the keys."""
    fitted = found.fitted
    return {
        "format": FORMAT,
        "title": fitted.model.scene.title,
        "in_words": [headline(fitted), *sentences(found)],
        "parameters": [_parameter_entry(fitted, k) for k in range(len(fitted.parameters))],
        "correlation": [[number(float(c), 4) for c in row] for row in _signed(fitted)],
        "readings": [_reading_entry(r) for r in fitted.residuals],
        "next_readings": [
            {"x_m": number(n.at[0]), "y_m": number(n.at[1]), "z_m": number(n.at[2]), "lid": str(n.lid),
             "ppfd_umol_m2_s": number(n.ppfd), "what_is_possible_shrinks_to": number(n.narrowing)}
            for n in found.next
        ],
        "misfit": number(fitted.misfit),
        "errors_stretched_by": number(fitted.stretch),
        "traced_anew": fitted.retraced,
        "seconds": number(found.seconds, 3),
        "versions": versions(),
    }  # fmt: skip


def _parameter_entry(fitted: Fitted, index: int) -> dict[str, Any]:
    parameter = fitted.parameters[index]
    start, value, low, high = values(fitted, index)
    return {
        "name": words(parameter), "of": list(parameter.of), "unit": UNITS[parameter.kind], "scene": number(start),
        "found": number(value), "low_95": number(low), "high_95": number(high),
        "error_left_of_before": number(float(fitted.sd[index] / fitted.prior_sd[index]), 3),
        "believed_before": parameter.prior.known, "source": parameter.prior.source,
    }  # fmt: skip


def _reading_entry(r: Residual) -> dict[str, Any]:
    x, y, z = r.reading.at
    return {
        "name": r.reading.name, "line": r.reading.line, "x_m": number(x), "y_m": number(y), "z_m": number(z),
        "lid": str(r.reading.setting.lid), "read_umol_m2_s": number(r.reading.ppfd),
        "before_umol_m2_s": number(r.before), "fitted_umol_m2_s": number(r.modelled),
        "departure": number(r.departure), "standardised": number(r.standardised),
        "leverage": number(r.leverage), "set_aside": r.set_aside,
    }  # fmt: skip
