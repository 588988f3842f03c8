"""What a reading sheet says: how to read, what to watch out for, the spots and what the meter should show."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from rich.console import Console

from underlit.planning.fit.readings import LidState
from underlit.planning.fit.sheet import Sheet, SheetRow, template_csv
from underlit.report.files import overlay
from underlit.report.numbers import light
from underlit.report.printout import CAUTIONS, say
from underlit.results.atomic import write_text
from underlit.scene.model import Scene
from underlit.viz.overlay import Overlay, ZoneMark, as_points, hardscape_footprints
from underlit.viz.palette import both_units
from underlit.viz.sheets.reading_sheet import Line, Page, Paper, write_sheet


def print_reading_sheet(console: Console, sheet: Sheet) -> None:
    """Print a line for each reading to take."""
    for row in sheet.rows:
        expected = f"expect {row.ppfd:.0f} ({row.low:.0f} to {row.high:.0f})"
        where = f"{_below(row)} below its middle, away from the tank" if row.setting.under else f"lid {row.lid}"
        say(console, f"{row.number:2d}  {row.name}: {expected}, {where}")


def _below(row: SheetRow) -> str:
    return f"{100 * (row.below_light or 0.0):.0f} cm ({(row.below_light or 0.0) / 0.0254:.1f} in)"


def before_reading(scene: Scene) -> tuple[str, ...]:
    """What makes a reading worth fitting; common practice, no source."""
    lit_by = scene.tank_scenes[scene.light_number]
    levels = sorted({round(100 * fixture.level) for fixture in lit_by.fixtures})
    dimmed = "full power" if levels == [100] else " and ".join(f"{level} %" for level in levels)
    rim = lit_by.tank.inside_m[2] - scene.light_rim_m
    heights = sorted({both_units(lit_by.fixture_centre_m(f)[2] - rim) for f in lit_by.fixtures})
    lines = [
        f"Leave the light on for 20-30 minutes at {dimmed}, {' and '.join(heights)} over the rim. If it hangs or runs "
        "differently, write that down.",
        "Turn the room light off and draw the curtains. Turn pumps off or down, so that the surface is still. Fill the "
        "water up to its mark.",
        "Does the meter's value include the underwater correction?  yes / no   If not, its immersion factor: ______  "
        "It then shows less than the sheet says.",
        "Hold the head level, facing straight up, at the height given over the substrate. Keep your hand, arm and body "
        "out of the light.",
        "Wait until the value is steady and take the average of 5-10 seconds. Write down what the meter shows, "
        "uncorrected.",
        "If a value is far from the one beside its box, read it once more and keep it: it tells something about the tank.",
    ]
    if scene.lid is not None:
        lines.append(
            "Leave the lid as dirty as it is. First read all spots with the lid on. Then take it off and read the dark numbers."
        )
    return tuple(lines)


IN_THE_OPEN = (
    "In air: unplug the light, take it off the tank and hang it in the open. Plug it in, with no other light on. Hold the head "
    "level below its middle."
)


COLUMNS = (
    ("no.", 0.05), ("spot", 0.26), ("from the left\ncm (in)", 0.13), ("from the front\ncm (in)", 0.13),
    ("over the substrate\ncm (in)", 0.15), ("expect", 0.08), ("most likely\nbetween", 0.09), ("reading", 0.11),
)  # fmt: skip
FOOT = (
    "Then type the readings into the csv file that came with this sheet and run underlit fit. It tells how strong the light is, "
    "what the lid and the panes take, and which reading does not fit the others."
)
LID_COLUMN = ("lid", 0.05)
LONGEST_NAME = 23
"""Letters of a spot's name that fit beside the lid."""


def sheet_page(sheet: Sheet) -> Page:
    """The sheet's words."""
    scene = sheet.lowered.scene
    has_lid = scene.lid is not None
    columns = list(COLUMNS)
    if has_lid:
        columns[1] = ("spot", columns[1][1] - LID_COLUMN[1])
        columns.insert(2, LID_COLUMN)
    return Page(
        title=f"Reading sheet: {scene.title}" if scene.title else "Reading sheet",
        subtitle="PAR (PPFD) in umol/m2/s: what a level meter should show, and the range that holds 19 times in 20 with the "
        "tank error. The spots were chosen because they tell most about the tank.",
        before=(*before_reading(scene), *([IN_THE_OPEN] if any(row.setting.under for row in sheet.rows) else [])),
        cautions=CAUTIONS
        + " Keep your hands dry. Keep cables out of the water unless they are made for it. Switch off and unplug a light "
        "before you move it. A glass lid takes two people to lift.",
        columns=tuple(columns),
        lines=tuple(_line(row, has_lid) for row in sheet.rows),
        foot=FOOT,
    )


def _line(row: SheetRow, has_lid: bool) -> Line:
    places = [f"{100 * v:.1f} ({v / 0.0254:.1f})" for v in (row.at[0], row.at[1], row.above_substrate)]
    if row.below_light is not None:
        places = ["-", "-", f"{100 * row.below_light:.0f} ({row.below_light / 0.0254:.1f}) below"]
    room = LONGEST_NAME if has_lid else LONGEST_NAME + 6
    name = row.name if len(row.name) <= room else row.name[: room - 1] + "…"
    cells = [
        str(row.number),
        name,
        *(["-" if row.setting.under else str(row.lid)] if has_lid else []),
        *places,
        light(row.ppfd),
        f"{row.low:.0f}-{row.high:.0f}",
    ]
    return Line(
        row.number, None if row.setting.under else row.at[:2], tuple(cells), has_lid and row.lid is LidState.OFF
    )


def write_reading_sheet(sheet: Sheet, path: Path, paper: Paper, *, foot: str = FOOT) -> list[Path]:
    """Write the sheet (PDF or PNG) and beside it the csv to type into. foot: what to do with the readings. Returns the files."""
    written = write_sheet(
        replace(sheet_page(sheet), foot=foot),
        _drawing(sheet),
        hardscape_footprints(sheet.lowered.compiled.meshes),
        paper,
        path,
    )
    template = path.with_suffix(".csv")
    write_text(template, template_csv(sheet.lowered.scene, sheet.rows))
    return [*written, template]


def _drawing(sheet: Sheet) -> Overlay:
    """The tank with plants where zones would be; the sheet draws its spots itself."""
    lowered = sheet.lowered
    plain = replace(lowered, scene=lowered.scene.model_copy(update={"spots": ()}))
    plants = [ZoneMark(g.name, as_points(g.outline)) for g in lowered.plantings if g.outline is not None]
    return replace(overlay(plain), zones=tuple(plants))
