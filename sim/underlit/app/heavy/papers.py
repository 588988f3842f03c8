"""Papers made from the light in hand: the report, the settings card; and where plants would do, as a picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from underlit.app.heavy.jobs import Job, Jobs
from underlit.app.heavy.scratch import drawn, on_disk, picture
from underlit.app.light import Light
from underlit.run import Traced

DOUBT = "What is not known of the tank leaves doubt near the edges of bands: begin in the middle of an area."
PDF_LIBRARIES = "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


def traced_of(light: Light) -> Traced:
    """The light in hand as a traced scene."""
    return Traced(light.lowered, light.result, light.done, light.worst_name, light.worst_relative)


def report_work(light: Light, price: float | None, paper: str, *, pdf: bool) -> Callable[[Job], bytes]:
    """Work that makes the report: a page with everything in it, or printed as PDF."""

    def work(job: Job) -> bytes:
        from underlit.report.page import report_html, report_pdf

        job.tell("drawing the pictures")
        html = report_html(traced_of(light), price=price, paper=paper)
        if not pdf:
            return html.encode()
        job.tell("printing")
        try:
            return drawn("report.pdf", lambda to: report_pdf(html, to))
        except ImportError:
            raise ValueError("no PDF here: install it with pip install 'underlit[pdf]', or print the page") from None
        except OSError as problem:
            if "library" not in str(problem):
                raise
            raise ValueError(f"no PDF here: a system library is missing; on Debian: {PDF_LIBRARIES}") from None

    return work


def card_work(light: Light, price: float | None) -> Callable[[Job], bytes]:
    """Work that makes the settings card, a PDF."""

    def work(job: Job) -> bytes:
        from underlit.planning.dose import dose
        from underlit.report.decisions.dose import settings_card
        from underlit.viz.sheets.reading_sheet import Paper
        from underlit.viz.sheets.settings_card import write_cards

        job.tell("drawing")
        card = settings_card(dose(light.lowered, light.result, price=price))
        return drawn("cards.pdf", lambda to: write_cards([card], Paper.A4, to.parent))

    return work


@dataclass(frozen=True)
class PlantRow:
    """Where a plant or need would do: its band, shares of the open bed in words, and where it is right."""

    name: str
    band: str
    too_dim: str
    right: str
    more: str
    where: str


@dataclass(frozen=True)
class PlantAnswer:
    """Rows, what to mind, and the plans of the bed. of: text of the scene that was asked about."""

    rows: tuple[PlantRow, ...]
    words: tuple[str, ...]
    picture: str
    of: str


def plants_work(text: str, names: Sequence[str], folder: Path, jobs: Jobs) -> Callable[[Job], PlantAnswer]:
    """Work that maps where plants of the catalogue, or needs, would do."""

    def work(job: Job) -> PlantAnswer:
        from underlit.planning.plant_map import PHOTONS, plant_map
        from underlit.scene import load_scene
        from underlit.viz.maps.plant_panels import write_plant_panels

        job.tell("tracing the bed without what stands in it")
        with on_disk(folder, text) as path:
            found = plant_map(load_scene(path), names, photons=jobs.photons(PHOTONS), threads=1)
        job.tell("drawing")
        cleared = [f"The bed was taken as cleared: without {', '.join(found.cleared)}."] if found.cleared else []
        drawing = picture(lambda to: write_plant_panels(found, found.places, to))
        return PlantAnswer(tuple(_plant_row(place) for place in found.places), (*cleared, DOUBT), drawing, text)

    return work


def _plant_row(place) -> PlantRow:
    from underlit.planning.plant_map import Fit
    from underlit.report.decisions.plant_map import where_words
    from underlit.report.numbers import percent

    band = place.wish.band
    dim, right, more = (percent(place.share(fit)) for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE))
    return PlantRow(place.wish.name, f"{band.low:g}-{band.high:g}", dim, right, more, where_words(place))
