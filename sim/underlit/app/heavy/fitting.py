"""Readings as people type them into the page, checked; the fit to them; the sheet to take to the tank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from underlit.app.document import own_tank
from underlit.app.heavy.jobs import Job, Jobs
from underlit.app.heavy.scratch import drawn, made_whole, on_disk, picture
from underlit.planning.fit import Reading, fit
from underlit.planning.fit.corrected import corrected_files
from underlit.planning.fit.light import PHOTONS as FIT_PHOTONS
from underlit.planning.fit.readings import ReadingsError, read_readings
from underlit.planning.fit.sheet import PHOTONS as SHEET_PHOTONS
from underlit.planning.fit.sheet import reading_sheet
from underlit.report.decisions.reading_sheet import write_reading_sheet
from underlit.report.fit.files import fit_summary, write_residual_picture
from underlit.results.atomic import write_text
from underlit.results.csv_text import csv_text
from underlit.scene import Scene, load_scene
from underlit.text.problem import Problem
from underlit.viz.sheets.reading_sheet import Paper

KEYS = (
    "name", "x", "y", "above_substrate", "value", "medium", "corrected", "immersion_factor", "lid", "dimming",
    "under_light", "light",
)  # fmt: skip
WORDS = {
    "name": "where", "x": "from the left", "y": "from the front", "above_substrate": "above the substrate",
    "value": "the meter shows", "medium": "the meter head was", "corrected": "underwater correction",
    "immersion_factor": "immersion factor", "dimming": "dimmed to",
    "under_light": "below the middle of the light",
}  # fmt: skip
"""What the page calls a column of readings, where it has another name for it."""

FOOT = (
    "Then enter the readings under Meter readings and start the fit. It shows how strong the light is, how much lid and walls "
    "take, and which reading does not fit the others."
)
Row = Mapping[str, str]


@dataclass(frozen=True)
class FitAnswer:
    """A fit as the page shows it. summary: as `report.fit.files.fit_summary`; corrected: text of the scene that was found;
    tank: of the rack, where it is not the scene's own.
    """

    summary: dict[str, Any]
    picture: str
    corrected: str
    of: str
    tank: str


def checked_readings(rows: Sequence[Row], scene: Scene, folder: Path) -> list[Reading]:
    """Readings out of rows of `KEYS`. Raises ValueError that says, in a line each, which reading is wrong and how."""
    with on_disk(folder, "") as path:
        write_text(path, csv_text(rows, KEYS))
        try:
            return read_readings(path, scene)
        except ReadingsError as problem:
            raise ValueError("\n".join(_said(p, len(rows)) for p in problem.problems)) from None


def _said(problem: Problem, count: int) -> str:
    column = str(problem.key[0]) if problem.key else ""
    where = [f"reading {problem.line - 1}"] if count > 1 and problem.line > 1 else []
    return ": ".join([*where, *([WORDS.get(column, column)] if column else []), problem.message])


def rack_name(rack: Scene, tank: int) -> str:
    """Name of a tank in its rack by its number; empty for the scene's own."""
    return rack.rack[tank - 1].name if tank else ""


def fit_work(job: Job, *, text: str, tank: int = 0, rows: Sequence[Row], folder: Path, jobs: Jobs) -> FitAnswer:
    """Fit a scene to readings that were taken in a tank of its rack, by its number."""
    job.tell("building the tank")
    with on_disk(folder, text) as path:
        rack = load_scene(path)
        scene = rack.seen_from(tank, own_tank(rack))
        readings = checked_readings(rows, scene, folder)
        found = fit(scene, readings, photons=jobs.photons(FIT_PHOTONS), threads=1, told=job.tell)
        job.tell("drawing")
        corrected = made_whole(folder, lambda out: corrected_files(found.fitted, rack, tank, out))
    drawing = picture(lambda to: write_residual_picture(found.fitted, to))
    return FitAnswer(fit_summary(found), drawing, corrected, text, rack_name(rack, tank))


def sheet_work(job: Job, *, text: str, tank: int = 0, folder: Path, jobs: Jobs) -> bytes:
    """Make the reading sheet of a tank of a rack, by its number, a PDF."""
    job.tell("building the tank")
    with on_disk(folder, text) as path:
        rack = load_scene(path)
        scene = rack.seen_from(tank, own_tank(rack))
        made = reading_sheet(scene, photons=jobs.photons(SHEET_PHOTONS), threads=1, told=job.tell)
    job.tell("drawing")
    return drawn("sheet.pdf", lambda to: write_reading_sheet(made, to, Paper.A4, foot=FOOT))
