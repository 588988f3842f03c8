"""The printed answer of a fit to meter readings."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from underlit.planning.fit.estimate import Fitted
from underlit.planning.fit.fitting import Found
from underlit.planning.fit.parameters import Kind
from underlit.report.fit.words import (
    UNITS,
    figure,
    headline,
    sentences,
    setting_words,
    value_correlation,
    values,
    words,
)
from underlit.report.numbers import light
from underlit.report.printout import say, section, table

METER_NOTE = (
    "the output is as this meter measures it: if the meter reads 5 % high, the output found is 5 % high. The corrected scene "
    "takes the meter to be good to ± 10 %"
)


def print_fit(console: Console, found: Found, *, with_tables: bool) -> None:
    """The answer: parameters, readings, sentences; with_tables adds leverage and correlation."""
    fitted = found.fitted
    say(console, fitted.model.scene.title or "Fit to readings", "bold underline")
    say(console, headline(fitted))
    section(console, "The scene as corrected by the readings", parameter_table(fitted))
    say(console, METER_NOTE, "dim", indent=2)
    section(console, "Readings, PAR (PPFD), umol/m2/s", reading_table(fitted))
    if with_tables:
        _print_tables(console, fitted)
    section(console, "In short")
    for line in sentences(found):
        say(console, line[:1].upper() + line[1:], indent=2)


def parameter_table(fitted: Fitted) -> Table:
    """What was found, beside what the scene says."""
    rows = []
    for k, parameter in enumerate(fitted.parameters):
        start, value, low, high = map(figure, values(fitted, k))
        rows.append((words(parameter), start, value, f"{low} to {high}", UNITS[parameter.kind]))
    return table("what", "scene", "found", "95 %\ninterval", "", words=-1, rows=rows)


def reading_table(fitted: Fitted) -> Table:
    """Readings beside the scene as it was and as corrected."""
    rows = []
    for index, r in enumerate(fitted.residuals, 1):
        difference = f"{100 * r.departure:+.0f} %" + (" *" if r.set_aside else "")
        setting = setting_words(r.reading.setting, r.reading.dimming, fitted.model.scene)
        figures = (light(value) for value in (r.reading.ppfd, r.before, r.modelled))
        rows.append((str(index), r.reading.name, setting, *figures, difference))
    heads = ("reading", "setting", "read", "scene", "corrected\nscene", "read against\ncorrected")
    return table("", *heads, wide=3, rows=rows)


def _print_tables(console: Console, fitted: Fitted) -> None:
    rows = (
        (str(index), r.reading.name, f"{r.standardised:+.1f}", f"{r.leverage:.2f}")
        for index, r in enumerate(fitted.residuals, 1)
    )
    title = "Readings: standardised difference given the others, and leverage (0 to 1)"
    section(console, title, table("", "reading", "difference", "leverage", wide=2, rows=rows))
    title = "Correlation of the values found; last column: their error as a share of the error before the readings"
    section(console, title, _correlation_table(fitted))
    section(console, "Assumed before the readings (95 %)", _prior_table(fitted))


def _correlation_table(fitted: Fitted) -> Table:
    rows = (
        (
            f"{k + 1} {words(parameter)}",
            *(f"{c:+.2f}" for c in value_correlation(fitted)[k]),
            f"{fitted.sd[k] / fitted.prior_sd[k]:.2f}",
        )
        for k, parameter in enumerate(fitted.parameters)
    )
    return table("", *(str(k + 1) for k in range(len(fitted.parameters))), "left", rows=rows)


def _prior_table(fitted: Fitted) -> Table:
    rows = []
    for k, parameter in enumerate(fitted.parameters):
        unit = values(fitted, k)[0] / parameter.start if parameter.kind is Kind.OUTPUT else 1.0
        ends = sorted(unit * parameter.value_of(parameter.u_start + s * parameter.u_sd) for s in (-1.96, 1.96))
        span = " to ".join(map(figure, ends))
        rows.append((words(parameter), span, f"{parameter.prior.known} ({parameter.prior.source})"))
    return table("what", "range", "because", wide=3, rows=rows)
