"""Papers made from the light in hand: the report, the settings card; and where plants can grow, as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from underlit.app.heavy.jobs import Job, Jobs
from underlit.app.heavy.scratch import drawn, on_disk, picture
from underlit.app.light import Light
from underlit.planning.dose import dose
from underlit.planning.plant_map import PHOTONS, Fit, PlantPlace, plant_map
from underlit.report.decisions.dose import settings_card
from underlit.report.decisions.plant_map import in_words, where_words
from underlit.report.numbers import percent
from underlit.report.page import report_html, report_pdf, why_no_pdf
from underlit.run import Traced
from underlit.scene import load_scene
from underlit.viz.figures import write_png
from underlit.viz.maps.plant_panels import draw_plant_panels
from underlit.viz.sheets.reading_sheet import Paper
from underlit.viz.sheets.settings_card import write_cards

DOUBT = "Tank uncertainty leaves doubt near the edges of an area: start planting in its middle."


def traced_of(light: Light) -> Traced:
    """The light in hand as a traced scene."""
    return Traced(light.lowered, light.result, light.done, light.worst_name, light.worst_relative)


def report_work(job: Job, *, light: Light, price: float | None, paper: str, pdf: bool) -> bytes:
    """Make the report: a page with everything in it, or printed as PDF."""
    if pdf and (missing := why_no_pdf()):
        raise ValueError(f"No PDF: {missing}. Or print the page from the browser.")
    job.tell("drawing the pictures")
    html = report_html(traced_of(light), price=price, paper=paper)
    if not pdf:
        return html.encode()
    job.tell("printing")
    return drawn("report.pdf", lambda to: report_pdf(html, to))


def card_work(job: Job, *, light: Light, price: float | None) -> bytes:
    """Make the settings card, a PDF."""
    job.tell("drawing")
    card = settings_card(dose(light.lowered, light.result, price=price))
    return drawn("cards.pdf", lambda to: write_cards([card], Paper.A4, to.parent))


@dataclass(frozen=True)
class PlantRow:
    """Where a plant, or plants of a need, can grow: its band, shares of the open bed in words, and where it is right."""

    name: str
    band: str
    too_dim: str
    right: str
    more: str
    where: str


@dataclass(frozen=True)
class PlantAnswer:
    """Rows, notes, and the plans of the bed. of: text of the scene that was asked about."""

    rows: tuple[PlantRow, ...]
    words: tuple[str, ...]
    picture: str
    of: str


def plants_work(job: Job, *, text: str, names: Sequence[str], folder: Path, jobs: Jobs) -> PlantAnswer:
    """Map where plants of the catalogue, or of needs, can grow."""
    job.tell("tracing the bed without its plants")
    with on_disk(folder, text) as path:
        found = plant_map(load_scene(path), names, photons=jobs.photons(PHOTONS), threads=1)
    job.tell("drawing")
    cleared = [f"Taken out for this: {', '.join(found.cleared)}."] if found.cleared else []
    drawing = picture(lambda to: write_png(draw_plant_panels(found, found.places), to, tight=True))
    words = [in_words(place, found.level) for place in found.places]
    return PlantAnswer(tuple(_plant_row(place) for place in found.places), (*words, *cleared, DOUBT), drawing, text)


def _plant_row(place: PlantPlace) -> PlantRow:
    band = place.wish.band
    dim, right, more = (percent(place.share(fit)) for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE))
    return PlantRow(place.wish.name, f"{band.low:g}-{band.high:g}", dim, right, more, where_words(place))
