"""The report, made from the light in hand."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.heavy.papers import report_work
from underlit.app.section import Page, refused
from underlit.app.sections.card import Card
from underlit.app.sections.light.day import NOT_TRACED
from underlit.app.sections.pieces import choice, hand_over, price_number
from underlit.app.sections.work.working import Work, Working

PAPERS = {"a4": "A4", "letter": "Letter"}


class ReportCard(Card):
    """A page to read, print and hand on."""

    title = "Report"
    about = "One file with the light in each zone, maps, pictures, assumptions and what to measure. It opens in any browser."

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        with self.body:
            with ui.row().classes("fields"):
                self._price, self._paper = price_number(), choice("Paper", PAPERS, "a4")
            for kind, label, ending in (
                ("report", "Download the report", "-report.html"), ("printed", "Download as PDF", "-report.pdf"),
            ):  # fmt: skip
                begin = partial(self._begin, pdf=kind == "printed")
                Working(page, jobs, kind, label, begin, hand_over(page, ending), forget=True).recall()

    def scene_changed(self) -> None:
        """Nothing here shows the scene."""

    def _begin(self, *, pdf: bool) -> Work[bytes] | None:
        light, variant = self.page.light, self.page.variant
        if light is None or variant is None or light.revision != variant.revision:
            refused(NOT_TRACED)
            return None
        return partial(report_work, light=light, price=self._price.value, paper=str(self._paper.value), pdf=pdf)
