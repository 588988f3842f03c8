"""The report, made from the light in hand."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.heavy.papers import report_work
from underlit.app.section import Page
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import file_name, refused
from underlit.app.sections.work.working import Work, Working

PAPERS = {"a4": "A4", "letter": "Letter"}


class ReportCard(Card):
    """A page to read, print and hand on."""

    title = "Report"
    opened = False

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        with self.body.classes("stack"):
            ui.label(
                "What reaches each zone, maps and pictures, what was assumed and what to measure, in one file that needs nothing "
                "else."
            ).classes("quiet")
            with ui.row().classes("fields"):
                self._price = ui.number("Price of a kWh", min=0, max=999, step=0.01)
                self._price.props("dense outlined clearable").classes("field")
                self._paper = (
                    ui.select(PAPERS, label="Paper", value="a4").props("dense outlined options-dense").classes("field")
                )
            for kind, label, pdf, save in (
                ("report", "Download the report", False, self._save_page),
                ("printed", "Download it as PDF", True, self._save_pdf),
            ):
                Working(page, jobs, kind, label, partial(self._begin, pdf=pdf), save, forget=True).recall()

    def scene_changed(self) -> None:
        """Nothing here shows the scene."""

    def _begin(self, *, pdf: bool) -> Work | None:
        light, variant = self.page.light, self.page.variant
        if light is None or variant is None or light.revision != variant.revision:
            refused("the light of this tank is not traced yet: try again in a moment")
            return None
        return report_work(light, self._price.value, str(self._paper.value), pdf=pdf)

    def _save_page(self, content: bytes) -> None:
        ui.download.content(content, file_name(self.page, "-report.html"), "text/html")

    def _save_pdf(self, content: bytes) -> None:
        ui.download.content(content, file_name(self.page, "-report.pdf"), "application/pdf")
