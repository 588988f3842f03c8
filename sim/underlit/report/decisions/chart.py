"""A chart as people read it: the printed grid and its words, and the files in its folder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table

from underlit.planning.chart import Answer, Chart, Misfit, Row, Target
from underlit.report.numbers import NONE, estimated, light, percent, span_text, sure_to
from underlit.report.printout import CAUTIONS, TANK_RANGE, say, section, table
from underlit.report.summary import HIGH_KEY, LOW_KEY, SIMULATION_KEY, TANK_KEYS
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.viz.figures import write_png
from underlit.viz.maps.chart_grid import SHORT, column_letters, draw_chart

CSV, PICTURE = "chart.csv", "chart.png"
MOST_IN_DETAIL = 12
"""Up to so many pairs the printout has a line for each; chart.csv always has."""
_CELL_WIDTH, _NAME_WIDTH = 9, 26
COLUMNS = (
    "light", "tank", "target_low_umol_m2_s", "target_ideal_umol_m2_s", "target_high_umol_m2_s",
    "full_power_mean_umol_m2_s", SIMULATION_KEY, LOW_KEY, HIGH_KEY, *TANK_KEYS, "full_power_dimmest_tenth_umol_m2_s",
    "full_power_brightest_tenth_umol_m2_s", "patch_m", "at_full_power", "answer", "setting_share_of_full_power",
    "then_mean_umol_m2_s", "then_dimmest_tenth_umol_m2_s", "then_brightest_tenth_umol_m2_s", "then_ends_umol_m2_s",
    "ends_over_middle", "ends_are_dim", "judged_at_setting", "full_power_watts",
    "full_power_ppf_umol_s", "photons", "seed", "key", "note",
)  # fmt: skip


def print_chart(console: Console, chart: Chart, target: Target) -> None:
    """The whole answer."""
    say(console, "PAR (PPFD) on the substrate at full power, umol/m2/s, and the setting for the target", "bold")
    say(console, f"target for the mean of the substrate: {target.words}")
    console.print()
    console.print(_light_table(chart))
    for block in _blocks(console, chart):
        console.print()
        console.print(_grid(chart, target, block))
    say(console, _legend(target), "dim", indent=2)
    if 0 < len(chart.rows) <= MOST_IN_DETAIL:
        console.print()
        console.print(_detail(chart, target))
    section(console, "In short")
    for line in in_words(chart, target):
        say(console, line, indent=2)
    for misfit in chart.misfits:
        say(console, f"{misfit.light} over {misfit.tank} was left out: {misfit.reason}", "yellow", indent=2)
    for line in dict.fromkeys(note for tank in chart.tanks for note in tank.scene.pane_notes):
        say(console, line)
    if chart.rows:
        say(console, _errors(chart))
    say(console, CAUTIONS, "dim")


def _light_table(chart: Chart) -> Table:
    rows = []
    for letter, one in zip(column_letters(len(chart.lights)), chart.lights, strict=True):
        names = " + ".join(fixture.name for fixture in one.fixtures)
        watts = NONE if one.watts is None else f"{one.watts:.3g}"
        rows.append((letter, one.name, "" if names == one.name else names, f"{one.ppf:.3g}", watts))
    return table("", "light", "fixtures", "PPF\numol/s", "W", wide=3, rows=rows)


def _blocks(console: Console, chart: Chart) -> Iterator[range]:
    each = max(1, (console.width - _NAME_WIDTH) // _CELL_WIDTH)
    for first in range(0, len(chart.lights), each):
        yield range(first, min(first + each, len(chart.lights)))


def _grid(chart: Chart, target: Target, block: range) -> Table:
    names = column_letters(len(chart.lights))
    made = table("tank", *(names[i] for i in block))
    for tank in chart.tanks:
        size = " x ".join(f"{100 * side:.0f}" for side in tank.size_m)
        cells = (_cell(chart.cells[chart.lights[i].name, tank.name], target) for i in block)
        made.add_row(f"{tank.name}\n{size} cm", *cells)
    return made


def _cell(cell: Row | Misfit, target: Target) -> str:
    if isinstance(cell, Misfit):
        return f"{NONE}\nno fit"
    found = target.setting(cell)
    setting = SHORT.get(found.answer, percent(found.share))
    marks = ("↓" if found.corners_too_dim else "") + ("↑" if found.middle_too_bright else "")
    if found.answer is Answer.NOT_ENOUGH:
        marks = ""
    return f"{light(cell.mean.value)}\n{marks}{setting}"


def _legend(target: Target) -> str:
    text = (
        "each cell: mean at full power and, below it, the setting of all channels together; full: full power; too weak: "
        "not enough at full power; no fit: cannot hang there"
    )
    if target.is_band:
        text += "; at the setting, ↓ the dimmest tenth is below the band, ↑ the brightest tenth is above it"
    return text


def _detail(chart: Chart, target: Target) -> Table:
    rows = []
    for row in chart.rows:
        found = target.setting(row)
        then = (NONE if value is None else light(value) for value in (found.mean, found.dimmest, found.brightest))
        rows.append(
            (
                f"{row.light} over {row.tank}",
                estimated(row.mean),
                span_text(row.tank_low * row.mean.value, row.tank_high * row.mean.value),
                found.words,
                *then,
            )
        )
    heads = ("full power\n± simulation", TANK_RANGE, "setting", "mean\nthen", "dimmest\ntenth", "brightest\ntenth")
    return table("light over tank", *heads, words=3, rows=rows)


def in_words(chart: Chart, target: Target) -> list[str]:
    """A sentence for each light: where it is enough and how far dimmed, where it is not, where full power is too bright.

    Of few pairs also what each substrate then gets, and where the ends stay dim.
    """
    said = [_of_light(one.name, [r for r in chart.rows if r.light == one.name], target) for one in chart.lights]
    few = len(chart.rows) <= MOST_IN_DETAIL
    return said + [_of_pair(row, target) for row in chart.rows if few]


def _of_pair(row: Row, target: Target) -> str:
    """What the substrate gets at the setting, with its dimmest and brightest tenth judged there."""
    found = target.setting(row)
    said = f"{row.light} over {row.tank}, {found.words}: the substrate gets {light(found.mean)} on average"
    if found.dimmest is not None and found.brightest is not None:
        dim = " (too dim)" if found.corners_too_dim else ""
        bright = " (too bright)" if found.middle_too_bright else ""
        said += f", its dimmest tenth {light(found.dimmest)}{dim}, its brightest {light(found.brightest)}{bright}"
    about_ends = "" if row.ends is None else row.ends.words(found.share)
    return f"{said}. {about_ends}".rstrip()


def _of_light(name: str, rows: Sequence[Row], target: Target) -> str:
    settings = {row.tank: target.setting(row) for row in rows}
    enough = [s.share for s in settings.values() if s.answer is not Answer.NOT_ENOUGH]
    too_dim = [tank for tank, s in settings.items() if s.answer is Answer.NOT_ENOUGH]
    too_bright = [row.tank for row in rows if target.at_full_power(row) == "too bright"]
    if not rows:
        return f"{name}: fits none of the tanks"
    said = f"enough for {len(enough)} of {len(rows)} tanks"
    if enough:
        low, high = percent(min(enough)), percent(max(enough))
        said += f", set to {low}" + ("" if low == high else f" to {high}")
    if too_dim:
        said += f"; not enough for {', '.join(too_dim)}"
    if too_bright:
        said += f"; too bright at full power in {', '.join(too_bright)}"
    longer = [row.tank for row in rows if any("longer than the tank" in note for note in row.notes)]
    return f"{name}: {said}" + (f"; longer than {', '.join(longer)}" if longer else "")


def _errors(chart: Chart) -> str:
    worst = max(row.mean.relative for row in chart.rows)
    low, high = min(row.tank_low for row in chart.rows) - 1, max(row.tank_high for row in chart.rows) - 1
    span = f"{percent(low)} to +{percent(high)}"
    return (
        f"The means have a simulation error of at most ± {sure_to(worst)}; in real tanks they may be off by {span} "
        "(95 %). The settings share these errors: start dimmer and check with a meter."
    )


def chart_csv(chart: Chart, target: Target) -> str:
    """A line for each pair of light and tank, as csv text."""
    return csv_text((_csv_row(cell, target) for cell in chart.ordered()), COLUMNS)


def _csv_row(cell: Row | Misfit, target: Target) -> dict[str, object]:
    bounds = dict(zip(COLUMNS[2:5], (target.low, target.ideal, target.high), strict=True))
    pair = {"light": cell.light, "tank": cell.tank, **bounds}
    if isinstance(cell, Misfit):
        return {**pair, "answer": "no fit", "note": cell.reason}
    found, dimmest, brightest, ends = target.setting(cell), cell.dimmest, cell.brightest, cell.ends
    values = (
        cell.mean.value, cell.mean.half_width, cell.mean.low, cell.mean.high,
        cell.tank_low * cell.mean.value, cell.tank_high * cell.mean.value, dimmest and dimmest.value,
        brightest and brightest.value, cell.patch_m, target.at_full_power(cell), found.answer, found.share, found.mean,
        found.dimmest, found.brightest, found.ends, ends and ends.share.value, ends and ends.are_dim, found.judged,
        cell.watts, cell.ppf, cell.photons, cell.seed, cell.key, "; ".join(cell.notes),
    )  # fmt: skip
    return {**pair, **dict(zip(COLUMNS[5:], values, strict=True))}


def write_chart(chart: Chart, target: Target, folder: Path) -> None:
    """Write chart.csv and chart.png into the chart's folder, each whole or not at all. Raises OSError."""
    write_text(folder / CSV, chart_csv(chart, target))
    write_png(draw_chart(chart, target), folder / PICTURE, tight=True)
