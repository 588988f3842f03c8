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
from underlit.report.printout import say, table


def print_fit(console: Console, found: Found, *, with_tables: bool) -> None:
    """The answer: parameters, readings, sentences; with_tables adds leverage and correlation."""
    fitted = found.fitted
    say(console, fitted.model.scene.title or "Fit to readings", "bold underline")
    say(console, headline(fitted))
    console.print()
    say(console, "The scene as corrected by the readings", "bold")
    console.print(parameter_table(fitted))
    say(
        console,
        "the output is as this meter measures it: if the meter reads 5 % high, the output found is 5 % high",
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
    made = table("what", "scene", "found", "95 %\ninterval", "")
    made.columns[-1].justify = "left"
    for k, parameter in enumerate(fitted.parameters):
        start, value, low, high = values(fitted, k)
        interval = f"{figure(low)} to {figure(high)}"
        made.add_row(words(parameter), figure(start), figure(value), interval, UNITS[parameter.kind])
    return made


def reading_table(fitted: Fitted) -> Table:
    """Readings beside the scene as it was and as corrected."""
    made = table("", "reading", "setting", "read", "scene", "corrected\nscene", "read against\ncorrected", wide=3)
    for index, r in enumerate(fitted.residuals, 1):
        departure = f"{100 * r.departure:+.0f} %" + (" *" if r.set_aside else "")
        setting = setting_words(r.reading.setting, r.reading.dimming)
        made.add_row(
            str(index), r.reading.name, setting, light(r.reading.ppfd), light(r.before), light(r.modelled), departure
        )
    return made


def _print_tables(console: Console, fitted: Fitted) -> None:
    console.print()
    say(console, "Readings: standardised difference given the others, and leverage (0 to 1)", "bold")
    made = table("", "reading", "difference", "leverage", wide=2)
    for index, r in enumerate(fitted.residuals, 1):
        made.add_row(str(index), r.reading.name, f"{r.standardised:+.1f}", f"{r.leverage:.2f}")
    console.print(made)
    console.print()
    say(
        console,
        "Correlation of the values found; last column: their error as a share of the error before the readings",
        "bold",
    )
    made = table("", *(str(k + 1) for k in range(len(fitted.parameters))), "left")
    for k, parameter in enumerate(fitted.parameters):
        row = [f"{c:+.2f}" for c in value_correlation(fitted)[k]]
        made.add_row(f"{k + 1} {words(parameter)}", *row, f"{fitted.sd[k] / fitted.prior_sd[k]:.2f}")
    console.print(made)
    console.print()
    say(console, "Assumed before the readings (95 %)", "bold")
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
