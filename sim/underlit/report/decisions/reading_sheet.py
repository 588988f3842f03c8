"""What a reading sheet says: how to read, what to mind, the spots and what the meter should show."""

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
        say(console, f"{row.number:2d}  {row.name}: {expected}, lid {row.lid}")


def before_reading(scene: Scene) -> tuple[str, ...]:
    """What makes a reading worth fitting; common practice, no source."""
    levels = sorted({round(100 * fixture.level) for fixture in scene.fixtures})
    dimmed = "full power" if levels == [100] else " and ".join(f"{level} %" for level in levels)
    heights = sorted({both_units(scene.fixture_centre_m(f)[2] - scene.tank.inside_m[2]) for f in scene.fixtures})
    lines = [
        f"Light on for 20-30 minutes at {dimmed}, hanging {' and '.join(heights)} over the rim. If it hangs or runs "
        "otherwise, write that down.",
        "Room light off, curtains drawn, no sun. Pumps off or low, so that the surface lies still. Water up to its "
        "mark.",
        "Is the underwater correction in the meter's value already?  yes / no   If not, its immersion factor: ______  "
        "Then it shows less than the list says.",
        "Hold the head level, facing straight up, its face at the height given over the substrate. Keep hand, arm and "
        "body out of the light.",
        "Wait until the value is steady, then take the average of 5-10 seconds. Write down what the meter shows, "
        "uncorrected.",
        "A value far from the one beside its box: read once more, then keep it. It is not wrong, it tells something.",
    ]
    if scene.lid is not None:
        lines.append(
            "Leave the lid as dirty as it is. Read all spots under it first, then take it off for the dark numbers."
        )
    return tuple(lines)


COLUMNS = (
    ("no.", 0.05), ("spot", 0.26), ("from the left\ncm (in)", 0.13), ("from the front\ncm (in)", 0.13),
    ("over the substrate\ncm (in)", 0.15), ("should\nshow", 0.08), ("most likely\nbetween", 0.09), ("reading", 0.11),
)  # fmt: skip
FOOT = (
    "Then type the readings into the csv file that came with this sheet and run underlit fit: it says how strong the light is, "
    "what lid and walls take, and which reading does not fit the others."
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
        subtitle="PAR (PPFD) in umol/m2/s. What a level meter should show, and between what 19 times in 20, given all "
        "that is not known about the tank yet. The spots were chosen to tell most about it.",
        before=before_reading(scene),
        cautions=CAUTIONS
        + " Dry hands; no cable of the meter or the lamp in the water that is not made for it; switch off and unplug "
        "before moving a light; two people lift a glass lid.",
        columns=tuple(columns),
        lines=tuple(_line(row, has_lid) for row in sheet.rows),
        foot=FOOT,
    )


def _line(row: SheetRow, has_lid: bool) -> Line:
    places = [f"{100 * v:.1f} ({v / 0.0254:.1f})" for v in (row.at[0], row.at[1], row.above_substrate)]
    room = LONGEST_NAME if has_lid else LONGEST_NAME + 6
    name = row.name if len(row.name) <= room else row.name[: room - 1] + "…"
    cells = [
        str(row.number),
        name,
        *([str(row.lid)] if has_lid else []),
        *places,
        light(row.ppfd),
        f"{row.low:.0f}-{row.high:.0f}",
    ]
    return Line(row.number, row.at[:2], tuple(cells), has_lid and row.lid is LidState.OFF)


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
