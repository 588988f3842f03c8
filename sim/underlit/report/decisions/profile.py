"""Profiles in words, tables and files."""

from __future__ import annotations

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
from underlit.report.numbers import NONE, band_text, estimated, light, percent, span_text
from underlit.report.printout import TANK_RANGE, say, table
from underlit.report.summary import light_entry, tank_entry
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.results.estimate import Estimate
from underlit.scene import Band
from underlit.viz.figures import write_png
from underlit.viz.maps.profile_chart import ColumnPanel, Curve, draw_columns, draw_line

METER_HEAD_UP_M = 0.03
DEEPEST_TOLD_M = 2.0
"""A halving depth beyond this says only that light hardly falls: no tank is so deep."""


@dataclass(frozen=True)
class Plant:
    """A plant to be judged: its height over the substrate [m] and the band it should have, None without one."""

    height: float
    band: Band | None


@dataclass(frozen=True)
class Told:
    """What there is to tell: by place, the profile of the tank as it is and, if asked for, with the other lid."""

    title: str
    lids: tuple[str, ...]
    profiles: tuple[tuple[Profile, ...], ...]
    lines: tuple[tuple[Line, ...], ...]
    plant: Plant | None


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
    say(console, f"{first.name}: PAR (PPFD), umol/m2/s ± simulation (95 %)", "bold")
    shown = table(
        "over the\nsubstrate\ncm (in)", "below the\nsurface\ncm (in)", *told.lids, TANK_RANGE, "rule of\nthumb"
    )
    rule = first.by_rule(first.light.heights)
    values = [p.light.at(first.light.heights) for p in profiles]
    for k in reversed(range(len(first.light.heights))):
        height, under = first.light.heights[k], first.surface - first.light.heights[k]
        shown.add_row(
            _both(height - first.bed),
            _both(under) if under > 0 else "in air",
            *(estimated(v[k]) for v in values),
            span_text(first.tank.low * values[0][k].value, first.tank.high * values[0][k].value),
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
            f"The lid takes {percent(share.value)} (± {100 * share.half_width:.1f} % simulation) of the light at "
            f"{cm(height)} over the substrate."
        )
    if told.plant is not None:
        lines += [
            plant_words(made, told.plant, lid if len(profiles) > 1 else "") for lid, made in zip(told.lids, profiles)
        ]
    return lines


AS_IT_IS, NO_LID, WITH_LID = "as it is", "no lid", "with a lid"


def has_depth(found: Halving) -> bool:
    """Whether the depth that halves the light is a number that tells something."""
    low, high = found.depth_interval
    return found.rate.value > 0 and math.isfinite(high) and low <= DEEPEST_TOLD_M


def halving_words(found: Halving | None) -> str:
    """The depth that halves the light, with its error."""
    if found is None:
        return "There is too little open water over this place to tell how its light falls with depth."
    if found.rate.value <= 0:
        return "The light does not fall with depth here."
    low, high = found.depth_interval
    if not has_depth(found):
        return f"The light hardly falls with depth here: it takes {cm(low)} of water or more to halve it."
    spread = f"{100 * low:.1f} to {100 * high:.1f} cm"
    strays = (
        f"; single heights differ by up to {percent(found.strays)} from an even fall" if found.strays >= 0.005 else ""
    )
    return f"{cm(found.depth)} of water halves the light ({spread}, simulation error 95 %){strays}."


def rule_words(made: Profile, height: float) -> str:
    """Whether the rule of thumb holds, and how wrong it is at a height over the substrate [m]."""
    assert made.halving is not None
    rule = f"The rule of thumb that four inches ({100 * RULE_OF_THUMB_M:.0f} cm) of water halve the light"
    if made.halving.rule_holds:
        return f"{rule} holds here (to {percent(RULE_HOLDS_WITHIN)})."
    truly, ruled = made.at_height(height).value, float(made.by_rule(np.array([made.bed + height]))[0])
    return (
        f"{rule} does not hold here (to {percent(RULE_HOLDS_WITHIN)}): with the same light at the surface it gives "
        f"{light(ruled)} at {cm(height)} over the substrate; the trace gives {light(truly)}."
    )


def plant_words(made: Profile, plant: Plant, lid: str = "") -> str:
    """The light of a plant at a height, and its verdict where it has a band."""
    found = made.at_height(plant.height)
    real = span_text(made.tank.low * found.value, made.tank.high * found.value)
    said = (
        f"{f'{lid.capitalize()}: a' if lid else 'A'} plant {cm(plant.height)} high gets "
        f"{estimated(found)} simulation, in the real tank {real}"
    )
    band = plant.band or made.band
    if band is None:
        return said + "."
    return f"{said}; target {band_text(band)}: {made.verdict_at(plant.height, band)[0]}."


def cm(metres: float) -> str:
    """A height in centimetres and inches, with as much as a tank's ruler tells."""
    return f"{100 * metres:.1f} cm ({metres / 0.0254:.1f} in)"


def _both(metres: float) -> str:
    """As `cm`, under a head that names the units."""
    return f"{100 * metres:.1f} ({metres / 0.0254:.1f})"


def _print_line(console: Console, told: Told, lines: Sequence[Line]) -> None:
    first = lines[0]
    say(console, f"{line_words(first)}, umol/m2/s", "bold")
    shown = table("along the\nline\ncm (in)", *told.lids, TANK_RANGE)
    step = max(1, len(first.distance) // 12)
    rows = sorted({*range(0, len(first.distance), step), len(first.distance) - 1})
    for k in rows:
        value = first.ppfd[k].value
        low, high = (factor * value for factor in first.tank_at(k))
        cells = [estimated(line.ppfd[k]) for line in lines]
        shown.add_row(_both(first.distance[k]), *cells, span_text(low, high) if math.isfinite(value) else NONE)
    console.print(shown)


def line_words(line: Line) -> str:
    """Where a line runs."""
    (x0, y0), (x1, y1) = (100 * p for p in (line.points[0], line.points[-1]))
    return f"From x {x0:.1f}, y {y0:.1f} cm to x {x1:.1f}, y {y1:.1f} cm, {cm(line.above_bed)} over the substrate"


# -- files ---------------------------------------------------------------------------------------------------------------
def profile_csv(told: Told) -> str:
    """A line for each place, lid and height, as csv text."""
    return csv_text(
        {
            "place": made.name, "lid": lid, "height_m": float(height), "above_substrate_m": float(height - made.bed),
            "under_surface_m": float(made.surface - height), **_light(found, (made.tank.low, made.tank.high)),
        }
        for profiles in told.profiles
        for lid, made in zip(told.lids, profiles, strict=True)
        for height, found in zip(made.light.heights, made.light.at(made.light.heights), strict=True)
    )  # fmt: skip


def line_csv(told: Told) -> str:
    """A line for each lid and point, as csv text; empty cells where nothing can be read."""
    return csv_text(
        {
            "lid": lid, "along_line_m": float(line.distance[k]), "x_m": float(line.points[k][0]),
            "y_m": float(line.points[k][1]), "height_m": float(line.heights[k]), **_light(found, line.tank_at(k)),
        }
        for lines in told.lines
        for lid, line in zip(told.lids, lines, strict=True)
        for k, found in enumerate(line.ppfd)
    )  # fmt: skip


def _light(found: Estimate, tank: tuple[float, float]) -> dict[str, float | None]:
    return {**light_entry(found, float), **tank_entry(found.value, *tank)}


def _panel(told: Told, profiles: Sequence[Profile]) -> ColumnPanel:
    first = profiles[0]
    curves = []
    for lid, made in zip(told.lids, profiles, strict=True):
        value = made.light.value
        real = made.tank.low * value, made.tank.high * value
        curves.append(Curve(lid, made.light.heights, value, made.light.limits, real))
    found = first.halving
    words = f"{cm(found.depth)} of water halves the light" if found is not None and has_depth(found) else ""
    band = None if told.plant is None else told.plant.band or first.band
    return ColumnPanel(
        first.name, tuple(curves), first.bed, first.surface, first.by_rule(first.light.heights), words,
        None if told.plant is None else told.plant.height, None if band is None else (band.low, band.high),
    )  # fmt: skip


def write_profile(told: Told, folder: Path) -> None:
    """Write profile.csv and profile.png, and line.csv and line.png where a line was asked for. Raises OSError."""
    if told.profiles:
        write_text(folder / "profile.csv", profile_csv(told))
        panels = [_panel(told, p) for p in told.profiles]
        write_png(draw_columns(panels, "Light against height"), folder / "profile.png")
    if told.lines:
        write_text(folder / "line.csv", line_csv(told))
        curves = []
        for lid, line in zip(told.lids, told.lines[0], strict=True):
            value = np.array([e.value for e in line.ppfd])
            counting = np.array([e.low for e in line.ppfd]), np.array([e.high for e in line.ppfd])
            curves.append(Curve(lid, line.distance, value, counting, (line.tank[0] * value, line.tank[1] * value)))
        band = told.plant.band if told.plant is not None else None
        limits = None if band is None else (band.low, band.high)
        figure = draw_line(curves, "Light along a line", line_words(told.lines[0][0]), limits)
        write_png(figure, folder / "line.png")
