"""What the light means: every zone in words, and the numbers as a table."""

from __future__ import annotations

from nicegui import ui

from underlit.app.light import Light
from underlit.app.section import Page
from underlit.planning.zones import Verdict, ZoneReport

WORDS = {
    Verdict.RIGHT: "right",
    Verdict.BORDERLINE: "borderline",
    Verdict.TOO_DIM: "too dim",
    Verdict.TOO_BRIGHT: "too bright",
    Verdict.NO_AIM: "no aim set",
}


class Verdicts:
    """Zones with verdicts."""

    def __init__(self, page: Page) -> None:
        self._page = page
        with ui.element("div").classes("card"):
            ui.label("Will it grow?").classes("heading").props('role="heading" aria-level="2"')
            self._body = ui.element("div").classes("zones")
        self._shown: Light | None = None
        self._show()

    def scene_changed(self) -> None:
        """Aims that changed come with the light, judged anew."""

    def light_changed(self) -> None:
        """Show every zone anew, where the light is another."""
        if self._page.light is not self._shown:
            self._shown = self._page.light
            self._show()

    def _show(self) -> None:
        light = self._shown
        self._body.clear()
        with self._body:
            if light is None:
                ui.label("Nothing traced yet.").classes("quiet")
                return
            with ui.element("table").classes("numbers"):
                with ui.element("thead"), ui.element("tr"):
                    for title in ("Zone", "PPFD", "± counted", "± tank", "Aim", "DLI", "Verdict"):
                        with ui.element("th").props('scope="col"'):
                            ui.label(title)
                with ui.element("tbody"):
                    for report in light.reports:
                        self._row(report)

    def _row(self, report: ZoneReport) -> None:
        band = report.band
        aim = "" if band is None else f"{band.low:g} - {band.high:g}"
        cells = (
            f"{report.ppfd.value:.0f}",
            f"{report.ppfd.half_width:.1f}",
            f"{report.unknown:.0f}",
            aim,
            f"{report.dli:.1f}",
        )
        with ui.element("tr"):
            with ui.element("th").props('scope="row"'):
                ui.label(report.name)
            for cell in cells:
                with ui.element("td"):
                    ui.label(cell)
            with ui.element("td"):
                ui.label(WORDS[report.verdict]).classes(f"verdict {str(report.verdict).replace(' ', '-')}")
