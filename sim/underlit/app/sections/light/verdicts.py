"""What the light means: every zone in words, and the numbers as a table."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.light import Light
from underlit.app.section import Page, Section
from underlit.app.sections.pieces import Cell, numbers
from underlit.planning.zones import Verdict, ZoneReport

HEADS = ("Zone", "PPFD", "± simulation", "± tank", "Target", "DLI", "Verdict")


class Verdicts(Section):
    """Zones with verdicts."""

    def __init__(self, page: Page) -> None:
        self._page = page
        with ui.element("div").classes("card"):
            ui.label("Will it grow?").classes("heading").props('role="heading" aria-level="2"')
            self._body = ui.element("div").classes("zones")
        self._shown: Light | None = None
        self._show()

    def light_changed(self) -> None:
        """Show every zone again, where the light is another."""
        if self._page.light is not self._shown:
            self._shown = self._page.light
            self._show()

    def _show(self) -> None:
        light = self._shown
        self._body.clear()
        with self._body:
            if light is None:
                ui.label("No result yet.").classes("quiet")
            elif not light.reports:
                ui.label("There is no zone yet. Add one under Zones and reading spots.").classes("quiet")
            else:
                numbers(HEADS, [_row(report) for report in light.reports], "PPFD, target and verdict of each zone")
                ui.label("PPFD (PAR) in umol/m2/s, DLI in mol/m2/day.").classes("quiet")


def _row(report: ZoneReport) -> tuple[Cell, ...]:
    band = report.band
    return (
        report.name,
        f"{report.ppfd.value:.0f}",
        f"{report.ppfd.half_width:.1f}",
        f"{report.tank_error:.0f}",
        "" if band is None else f"{band.low:g}-{band.high:g}",
        f"{report.dli:.1f}",
        partial(_verdict, report.verdict),
    )


def _verdict(verdict: Verdict) -> None:
    ui.label(verdict).classes(f"verdict {verdict.replace(' ', '-')}")
