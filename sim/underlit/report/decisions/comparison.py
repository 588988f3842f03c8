"""A comparison in words, tables and files."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from underlit.planning.cleaning_states import Differs
from underlit.planning.compare import Change, Comparison, Row
from underlit.planning.differences import bed_difference, same_cells
from underlit.planning.zones import Verdict
from underlit.report.decisions.compared_settings import best_words, print_settings, side_data
from underlit.report.decisions.decision import decision_data, lead
from underlit.report.numbers import NONE, estimated, light, percent, with_error
from underlit.report.printout import STYLE, say, section, table
from underlit.report.summary import SIMULATION_KEY, TANK_STANDARD_KEY, light_entry, number, versions
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.results.estimate import Estimate
from underlit.viz.figures import write_png
from underlit.viz.maps.difference_map import Panel, draw_difference_maps, smoothed

FORMAT = 2
MOST_NAMED = 3
"""Zones that the summary names each way; the table has them all."""
WORTH_TELLING = 0.02
"""Smaller relative changes are real where they lie beyond the error, but nobody would notice them in a tank."""


def print_comparison(console: Console, made: Comparison, differs: Sequence[Differs] = ()) -> None:
    """Print the tables, then the summary in plain words."""
    labels = [chr(ord("A") + k) for k in range(len(made.candidates))]
    for label, side in zip(labels, made.best, strict=True):
        say(console, f"{label}: {side.candidate.name}: {lead(side.decision)}", "bold")
    for line in best_words(made):
        say(console, line, "bold")
    for label, c in zip(labels, made.candidates, strict=True):
        if c.title != c.name:
            say(console, f"{label}: {c.title}", "dim")
    if differs:
        _print_differs(console, differs, labels)
    section(console, "PAR (PPFD), umol/m2/s ± simulation (95 %)", _value_table(made, labels))
    title = f"Difference from {labels[0]} ± simulation (95 %); = means within that error"
    section(console, title, _change_table(made, labels))
    for line in _notes(made, labels):
        say(console, line, "dim", indent=2)
    console.print()
    console.print(_running_table(made, labels))
    print_settings(console, made, labels)
    section(console, "In short")
    for line in (*best_words(made), *in_words(made)):
        say(console, line, indent=2)


def _print_differs(console: Console, differs: Sequence[Differs], labels: Sequence[str]) -> None:
    rows = ((row.what, row.first, row.second, row.span) for row in differs)
    section(console, "What differs (assumed)", table("what", labels[0], labels[1], "range", words=-1, rows=rows))
    for source in dict.fromkeys(row.source for row in differs):
        say(console, f"ranges: {source}", "dim", indent=2)


def _value_table(made: Comparison, labels: Sequence[str]) -> Table:
    shown = table("zone or spot", *(f"{label}\nverdict" for label in labels))
    for row in made.rows:
        cells = []
        for place, value in zip(row.places, row.values, strict=True):
            if place is None or value is None:
                cells.append(Text("not there", "dim"))
                continue
            cell = Text(estimated(value))
            if place.verdict is not Verdict.NO_TARGET:
                cell.append(f"\n{place.verdict}", STYLE[place.verdict])
            cells.append(cell)
        shown.add_row(row.name, *cells)
    return shown


def _change_table(made: Comparison, labels: Sequence[str]) -> Table:
    rows = [[Text(row.name), *map(_change_cell, row.changes[1:])] for row in made.rows]
    return table("zone or spot", *(f"{label} - {labels[0]}" for label in labels[1:]), rows=rows)


def _change_cell(change: Change | None) -> Text:
    if change is None:
        return Text(NONE, "dim")
    if change.ppfd.value == 0.0 and change.ppfd.half_width == 0.0:
        return Text("= 0", "dim")
    said = signed(change.ppfd)
    if not change.beyond_error:
        return Text(f"= {said}", "dim")
    return Text(f"{said}, {_percent(change)}", "bold")


def signed(estimate: Estimate) -> str:
    """A difference with its sign and error: `+12.4 ± 0.3`, with figures enough that its error shows."""
    return ("+" if estimate.value >= 0 else "") + with_error(estimate.value, estimate.half_width)


def _percent(change: Change) -> str:
    return f"{100 * change.relative:+.0f} %" if math.isfinite(change.relative) else "from nothing"


def _notes(made: Comparison, labels: Sequence[str]) -> list[str]:
    lines = []
    for k, label in enumerate(labels[1:], start=1):
        if made.candidates[k].result.counts is made.candidates[0].result.counts:
            lines.append(
                f"{label}: worked out from the trace of {labels[0]}, because only the amounts of light differ; the errors are "
                "in proportion"
            )
        elif made.paired[k]:
            ratio = _error_ratio(made.rows, k)
            lines.append(
                f"{label} - {labels[0]}: traced with the same random numbers"
                + ("" if ratio is None else f"; the error of the difference is {ratio:.2g} times both errors combined")
            )
        else:
            lines.append(f"{label} - {labels[0]}: traced with different random numbers; both errors are combined")
        moved = [r.name for r in made.rows if (c := r.changes[k]) is not None and not c.same_place]
        if moved:
            lines.append(f"{label}: not exactly the same place as in {labels[0]}: {'; '.join(moved)}")
    unknown = 1.96 * max(c.tank_uncertainty for c in made.candidates)
    lines.append(
        f"If both are the same tank, the tank error acts on both sides alike: it scales a difference by at most "
        f"± {percent(unknown)} here, but does not change its sign."
    )
    return lines


def _error_ratio(rows: Sequence[Row], k: int) -> float | None:
    """Median over the places of the difference's error over the two errors added in squares; None without any."""
    ratios = []
    for row in rows:
        before, after, change = row.values[0], row.values[k], row.changes[k]
        if before is None or after is None or change is None:
            continue
        both = math.hypot(before.half_width, after.half_width)
        if 0 < both < math.inf:
            ratios.append(change.ppfd.half_width / both)
    return median(ratios) if ratios else None


def _running_table(made: Comparison, labels: Sequence[str]) -> Table:
    cost = "" if made.price is None else f"\nat {made.price:g} a kWh"
    shown = table("running", "W", "kWh a year", *([f"cost a year{cost}"] if cost else []))
    for label, c, run in zip(labels, made.candidates, made.running, strict=True):
        cells = [_or_none(run.watts, ".3g"), NONE if run.kwh_a_year is None else _energy(run.kwh_a_year)]
        shown.add_row(f"{label}: {c.name}", *cells, *([_or_none(run.cost_a_year, ".2f")] if cost else []))
    return shown


def _energy(kwh: float) -> str:
    return f"{kwh:.0f}" if kwh >= 20 else f"{kwh:.1f}"


def _or_none(value: float | None, form: str) -> str:
    return NONE if value is None else f"{value:{form}}"


def in_words(made: Comparison) -> list[str]:
    """The comparison in plain words, as they are set: a line for each further candidate and for each verdict that changes."""
    lines = []
    first = made.candidates[0]
    for k, other in enumerate(made.candidates[1:], start=1):
        parts = [_light_words(made.rows, k), _cost_words(made, k)]
        lines.append(f"{other.name} against {first.name}: " + "; ".join(p for p in parts if p) + ".")
        for row in made.rows:
            before, after = row.places[0], row.places[k]
            if before is not None and after is not None and before.verdict != after.verdict:
                lines.append(f"{row.name}: {before.verdict} in {first.name}, {after.verdict} in {other.name}.")
    return lines


def _light_words(rows: Sequence[Row], k: int) -> str:
    changed = [(row, change) for row in rows if not row.is_spot and (change := row.changes[k]) is not None]
    # A whole bed is told only where no zone is named.
    zones = [pair for pair in changed if not any(p is not None and p.is_whole_bed for p in pair[0].places)] or changed
    beyond = [pair for pair in zones if pair[1].beyond_error]
    if not beyond:
        common = any(row.changes[k] is not None for row in rows)
        return "no zone changes by more than its simulation error" if common else "they have no zone in common"
    moved = [pair for pair in beyond if abs(pair[1].relative) >= WORTH_TELLING]
    moved.sort(key=lambda pair: -abs(pair[1].relative))
    words = []
    for verb, sign in (("brightens", 1), ("dims", -1)):
        named = [_from_to(row, k) for row, change in moved if sign * change.ppfd.value > 0]
        if named:
            more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
            words.append(f"{verb} {', '.join(named[:MOST_NAMED])}{more}")
    if hardly := [row.name for row, change in beyond if abs(change.relative) < WORTH_TELLING]:
        words.append(f"changes by less than {percent(WORTH_TELLING)}: {', '.join(hardly)}")
    if still := [row.name for row, change in zones if not change.beyond_error]:
        words.append(f"within the simulation error: {', '.join(still)}")
    return "; ".join(words)


def _from_to(row: Row, k: int) -> str:
    before, after = (NONE if value is None else light(value.value) for value in (row.values[0], row.values[k]))
    return f"{row.name} from {before} to {after}"


def _cost_words(made: Comparison, k: int) -> str:
    first, other = made.running[0], made.running[k]
    if first.watts is None or other.watts is None or first.kwh_a_year is None or other.kwh_a_year is None:
        return "the running cost is unknown because the watts of a light are not stated"
    watts, energy = other.watts - first.watts, other.kwh_a_year - first.kwh_a_year
    if abs(watts) < 0.05 and abs(energy) < 0.5:
        return "uses the same energy"
    said = (
        f"uses {abs(watts):.3g} W {'more' if watts >= 0 else 'less'}" if abs(watts) >= 0.05 else "uses the same watts"
    )
    said += f", {_energy(abs(energy))} kWh a year {'more' if energy >= 0 else 'less'}"
    if made.price is not None:
        cost = energy * made.price
        said += f", which costs {abs(cost):.2f} a year {'more' if cost >= 0 else 'less'}"
    return said


# -- files ---------------------------------------------------------------------------------------------------------------
def comparison_data(made: Comparison, differs: Sequence[Differs] = ()) -> dict[str, Any]:
    """The comparison as plain data, units in the keys."""
    candidates = []
    for c, run, paired, best in zip(made.candidates, made.running, made.paired, made.best, strict=True):
        candidates.append({
            "name": c.name,
            "title": c.title,
            "seed": c.result.seed,
            "photons": c.result.photons,
            "shares_random_numbers_with_first": paired,
            TANK_STANDARD_KEY: number(c.tank_uncertainty, 4),
            "watts": number(run.watts),
            "energy_kwh_a_year": number(run.kwh_a_year),
            "cost_a_year": number(run.cost_a_year),
            "best_setting": {**decision_data(best.decision), "watts": number(best.watts)},
        })  # fmt: skip
    return {
        "format": FORMAT,
        "candidates": candidates,
        "price_a_kwh": number(made.price),
        "equal_watts": None if made.equal is None else number(made.equal.watts),
        "assumed": [
            {"what": d.what, "values": [d.first, d.second], "range": d.span, "source": d.source} for d in differs
        ],
        "places": [_row_data(row, made) for row in made.rows],
        "best_in_words": best_words(made),
        "in_words": in_words(made),
        "versions": versions(),
    }


def _row_data(row: Row, made: Comparison) -> dict[str, Any]:
    entries: list[dict[str, Any] | None] = []
    for k, (place, value, change) in enumerate(zip(row.places, row.values, row.changes, strict=True)):
        if place is None or value is None:
            entries.append(None)
            continue
        entry: dict[str, Any] = {
            **light_entry(value),
            "verdict": str(place.verdict),
            "dli_mol_m2_day": number(place.dli),
            "evenness_dimmest_over_average": number(place.evenness, 4),
            **side_data(row, made.best[k], "best_setting"),
            **(side_data(row, made.equal.sides[k], "equal_watts") if made.equal is not None else {}),
        }
        if change is not None:
            entry |= {
                "difference_umol_m2_s": number(change.ppfd.value),
                f"difference_{SIMULATION_KEY}": number(change.ppfd.half_width),
                "difference_relative": number(change.relative, 4),
                "difference_tank_error_95_umol_m2_s": number(change.tank_error),
                "beyond_simulation_error": change.beyond_error,
                "same_place": change.same_place,
            }
        entries.append(entry)
    return {"name": row.name, "what": "reading spot" if row.is_spot else "zone", "by_candidate": entries}


def comparison_csv(made: Comparison) -> str:
    """A line for each place and candidate, as csv text."""
    data = comparison_data(made)
    return csv_text(
        {"place": place["name"], "what": place["what"], "candidate": candidate["name"], **entry}
        for place in data["places"]
        for candidate, entry in zip(data["candidates"], place["by_candidate"], strict=True)
        if entry is not None
    )


def panels(made: Comparison) -> list[Panel]:
    """What the picture shows: each candidate's map and its difference from the first one's."""
    first = made.candidates[0].result
    shown = []
    for k, c in enumerate(made.candidates):
        outlines = tuple(p.outline for p in c.places[1:] if p.outline)
        grid = c.result.compiled.bed_map
        if k == 0 or grid is None or not same_cells(grid, first.compiled.bed_map):
            words = "" if k == 0 else "no difference map: the tank has another size"
            shown.append(Panel(c.name, c.result, None, words, outlines))
            continue
        spacing = grid.spacing
        found = bed_difference(c.result, first, lambda m, s=spacing: smoothed(m, s))  # type: ignore[misc]
        shown.append(Panel(c.name, c.result, found, "", outlines))
    return shown


def write_comparison(made: Comparison, folder: Path, differs: Sequence[Differs] = ()) -> None:
    """Write compare.json, compare.csv and compare.png into a folder (made if missing). Raises OSError."""
    data = json.dumps(comparison_data(made, differs), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    write_png(draw_difference_maps(panels(made), "Light on the substrate, side by side"), folder / "compare.png")
    write_text(folder / "compare.csv", comparison_csv(made))
    write_text(folder / "compare.json", data)
