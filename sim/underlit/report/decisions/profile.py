"""Profiles in words, tables and files."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console

from underlit.planning.profile import (
    RULE_HOLDS_WITHIN,
    RULE_OF_THUMB_M,
    Halving,
    Line,
    Profile,
    lid_takes,
)
from underlit.planning.zones import Verdict
from underlit.report.numbers import NONE, error, light, percent, with_error
from underlit.report.printout import say, table
from underlit.report.summary import number
from underlit.results.atomic import write_text
from underlit.scene import Band
from underlit.viz.maps.profile_chart import ColumnPanel, Curve, write_columns, write_line

COLUMNS = (
    "place", "lid", "height_m", "above_substrate_m", "under_surface_m", "ppfd_umol_m2_s",
    "counting_error_95_umol_m2_s", "not_known_about_tank_95_umol_m2_s",
)  # fmt: skip
METER_HEAD_UP_M = 0.03
DEEPEST_TOLD_M = 2.0
"""A halving depth beyond this says only that light hardly falls: no tank is so deep."""
UNKNOWN_COLUMN = "± not known\nof the tank"


@dataclass(frozen=True)
class Plant:
    """A plant to be judged: its height over the substrate [m] and the band it should have, None without one."""

    height: float
    band: Band | None


@dataclass(frozen=True)
class Told:
    """What a profile is told of: profiles of the tank as it is and, place by place, with the other lid if asked for."""

    title: str
    lids: tuple[str, ...]
    profiles: tuple[tuple[Profile, ...], ...]
    lines: tuple[tuple[Line, ...], ...]
    plant: Plant | None
    tank_uncertainty: float


def print_profile(console: Console, told: Told) -> None:
    """Print a table a place, and what follows from it in words."""
    say(console, told.title, "bold underline")
    for profiles in told.profiles:
        console.print()
        _print_place(console, told, profiles)
    for lines in told.lines:
        console.print()
        _print_line(console, told, lines)


def _print_place(console: Console, told: Told, profiles: Sequence[Profile]) -> None:
    first = profiles[0]
    say(console, f"{first.name}: PAR (PPFD), umol/m2/s ± counting (95 %)", "bold")
    shown = table(
        "height over\nthe substrate",
        "under\nthe surface",
        *told.lids,
        "± not known\nof the tank",
        "by the rule\nof thumb",
    )
    rule = first.by_rule(first.light.heights)
    values = [p.light.at(first.light.heights) for p in profiles]
    for k in reversed(range(len(first.light.heights))):
        height, under = first.light.heights[k], first.surface - first.light.heights[k]
        shown.add_row(
            cm(height - first.bed),
            cm(under) if under > 0 else "in air",
            *(with_error(v[k].value, v[k].half_width) for v in values),
            f"± {error(1.96 * told.tank_uncertainty * values[0][k].value)}",
            light(rule[k]) if under > 0 else "",
        )
    console.print(shown)
    for line in place_words(told, profiles):
        say(console, line, indent=2)


def place_words(told: Told, profiles: Sequence[Profile]) -> list[str]:
    """What a profile says, in sentences."""
    first = profiles[0]
    lines = []
    for lid, made in zip(told.lids, profiles, strict=True):
        said = "" if len(profiles) == 1 else f"{lid.capitalize()}: "
        lines.append(said + halving_words(made.halving))
    height = told.plant.height if told.plant is not None else METER_HEAD_UP_M
    if first.halving is not None:
        lines.append(rule_words(first, height))
    if len(profiles) == 2:
        bare, covered = (profiles[1], first) if told.lids[1] == NO_LID else (first, profiles[1])
        share = lid_takes(covered, bare, height)
        lines.append(
            f"The lid takes {percent(share.value)} (± {100 * share.half_width:.1f} % counting) of the light "
            f"{cm(height)} over the substrate."
        )
    if told.plant is not None:
        lines += [
            plant_words(made, told.plant, lid if len(profiles) > 1 else "") for lid, made in zip(told.lids, profiles)
        ]
    return lines


AS_IT_IS, NO_LID, WITH_LID = "as it is", "no lid", "with a lid"


def has_depth(found: Halving) -> bool:
    """Whether the depth that halves the light is a number worth telling."""
    low, high = found.depth_interval
    return found.rate.value > 0 and math.isfinite(high) and low <= DEEPEST_TOLD_M


def halving_words(found: Halving | None) -> str:
    """The depth that halves the light, with its error."""
    if found is None:
        return "Too little open water over this place to say how its light falls with depth."
    if found.rate.value <= 0:
        return "The light does not fall with depth here."
    low, high = found.depth_interval
    if not has_depth(found):
        return f"The light hardly falls with depth here: {cm(low)} of water or more would halve it."
    spread = f"{100 * low:.1f} to {100 * high:.1f} cm"
    strays = f"; the planes stray up to {percent(found.strays)} from an even fall" if found.strays >= 0.005 else ""
    return f"{cm(found.depth)} of water halves the light ({spread} by counting, 95 %){strays}."


def rule_words(made: Profile, height: float) -> str:
    """Whether the rule of thumb holds, and what following it would mistake at a height over the substrate [m]."""
    assert made.halving is not None
    rule = f"The rule of thumb that four inches ({100 * RULE_OF_THUMB_M:.0f} cm) of water halve it"
    if made.halving.rule_holds:
        return f"{rule} about holds here."
    truly, ruled = made.at_height(height).value, float(made.by_rule(np.array([made.bed + height]))[0])
    return (
        f"{rule} does not hold here (to {percent(RULE_HOLDS_WITHIN)}): from the same light at the surface it would leave "
        f"{light(ruled)} at {cm(height)} over the substrate, where there is {light(truly)}."
    )


def plant_words(made: Profile, plant: Plant, lid: str = "") -> str:
    """The light of a plant at a height, and its verdict where it has a band."""
    found = made.at_height(plant.height)
    unknown = 1.96 * made.tank_uncertainty * found.value
    said = (
        f"{f'{lid.capitalize()}: a' if lid else 'A'} plant {cm(plant.height)} high gets "
        f"{with_error(found.value, found.half_width)} counting ± {error(unknown)} not known of the tank"
    )
    band = plant.band or made.band
    if band is None:
        return said + "."
    return f"{said}; wanted {band.low:g}-{band.high:g}: {made.verdict_at(plant.height, band)[0]}."


def cm(metres: float) -> str:
    """A height in centimetres and inches, with as much as a tank's ruler tells."""
    return f"{100 * metres:.1f} cm ({metres / 0.0254:.1f} in)"


def _print_line(console: Console, told: Told, lines: Sequence[Line]) -> None:
    first = lines[0]
    say(console, f"{line_words(first)}, umol/m2/s", "bold")
    shown = table("along the line", *told.lids, UNKNOWN_COLUMN)
    step = max(1, len(first.distance) // 12)
    rows = sorted({*range(0, len(first.distance), step), len(first.distance) - 1})
    for k in rows:
        value = first.ppfd[k].value
        unknown = f"± {error(1.96 * told.tank_uncertainty * value)}" if math.isfinite(value) else NONE
        cells = [with_error(line.ppfd[k].value, line.ppfd[k].half_width) for line in lines]
        shown.add_row(cm(first.distance[k]), *cells, unknown)
    console.print(shown)


def line_words(line: Line) -> str:
    """Where a line runs."""
    (x0, y0), (x1, y1) = (100 * p for p in (line.points[0], line.points[-1]))
    return f"From x {x0:.1f}, y {y0:.1f} to x {x1:.1f}, y {y1:.1f} cm, {cm(line.above_bed)} over the substrate"


def verdicts(told: Told) -> list[Verdict]:
    """Verdicts of the plant at each place, where it has a band."""
    if told.plant is None:
        return []
    pairs = [(made, told.plant.band or made.band) for made, *_ in told.profiles]
    return [made.verdict_at(told.plant.height, band)[0] for made, band in pairs if band is not None]


# -- files ---------------------------------------------------------------------------------------------------------------
def profile_csv(told: Told) -> str:
    """A line a height, place and lid; units in the column names."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for profiles in told.profiles:
        for lid, made in zip(told.lids, profiles, strict=True):
            for height, found in zip(made.light.heights, made.light.at(made.light.heights), strict=True):
                figures = (
                    height, height - made.bed, made.surface - height, found.value, found.half_width,
                    1.96 * told.tank_uncertainty * found.value,
                )  # fmt: skip
                writer.writerow([made.name, lid, *(number(float(f)) for f in figures)])
    return text.getvalue()


def line_csv(told: Told) -> str:
    """A line a point and lid; units in the column names; empty where nothing can be read."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["lid", "along_line_m", "x_m", "y_m", "height_m", *COLUMNS[5:]])
    for lines in told.lines:
        for lid, line in zip(told.lids, lines, strict=True):
            for k, found in enumerate(line.ppfd):
                figures = (
                    line.distance[k], *line.points[k], line.heights[k], found.value, found.half_width,
                    1.96 * told.tank_uncertainty * found.value,
                )  # fmt: skip
                writer.writerow([lid, *(number(float(f)) for f in figures)])
    return text.getvalue()


def _panel(told: Told, profiles: Sequence[Profile]) -> ColumnPanel:
    first = profiles[0]
    curves = []
    for lid, made in zip(told.lids, profiles, strict=True):
        value = made.light.value
        curves.append(
            Curve(lid, made.light.heights, value, made.light.half_widths, 1.96 * told.tank_uncertainty * value)
        )
    found = first.halving
    tells = (
        found is not None and 0 < found.depth_interval[0] <= DEEPEST_TOLD_M and math.isfinite(found.depth_interval[1])
    )
    words = f"{cm(found.depth)} of water halves the light" if found is not None and tells else ""
    band = None if told.plant is None else told.plant.band or first.band
    return ColumnPanel(
        first.name, tuple(curves), first.bed, first.surface, first.by_rule(first.light.heights), words,
        None if told.plant is None else told.plant.height, None if band is None else (band.low, band.high),
    )  # fmt: skip


def write_profile(told: Told, folder: Path) -> None:
    """Write profile.csv and profile.png, and line.csv and line.png where a line was asked for. Raises OSError."""
    if told.profiles:
        write_text(folder / "profile.csv", profile_csv(told))
        write_columns([_panel(told, p) for p in told.profiles], folder / "profile.png", "Light against height")
    if told.lines:
        write_text(folder / "line.csv", line_csv(told))
        curves = []
        for lid, line in zip(told.lids, told.lines[0], strict=True):
            value = np.array([e.value for e in line.ppfd])
            counting = np.array([e.half_width for e in line.ppfd])
            curves.append(Curve(lid, line.distance, value, counting, 1.96 * told.tank_uncertainty * value))
        band = told.plant.band if told.plant is not None else None
        limits = None if band is None else (band.low, band.high)
        write_line(curves, folder / "line.png", "Light along a line", line_words(told.lines[0][0]), limits)
