"""What the light means: how to set it, then every zone in words and the numbers as a table."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.light import Light
from underlit.app.section import Page, Section
from underlit.app.sections.pieces import Cell, numbers, sentences
from underlit.planning.algae import WORTH_SAYING, algae_of
from underlit.planning.decision import decide
from underlit.planning.ends import ends_of
from underlit.planning.zones import Verdict, ZoneReport
from underlit.report.decisions.algae_words import algae_lead
from underlit.report.decisions.decision import RIGHT_AT, lead, right_at, zone_lines
from underlit.report.numbers import estimated, span_text
from underlit.report.summary import cautions_of

HEADS = ("Zone", "PPFD ± simulation", "Real tank (95 %)", "Target", "Right at (%)", "Verdict", "DLI")


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
                made = decide(light.lowered, light.result)
                ui.label(lead(made)).classes("decision").props('role="status"')
                for caution in cautions_of(light.lowered):
                    ui.label(f"Caution: {caution}.").classes("caution")
                scene = light.lowered.scene
                sentences([*zone_lines(made, scene), *notes(light), *scene.pane_notes])
                asking = {zone.name: right_at(zone) for zone in made.zones}
                rows = [_row(report, asking.get(report.name, "")) for report in light.reports]
                numbers(HEADS, rows, "PPFD, target, setting and verdict of each zone")
                units = "PPFD (PAR) in umol/m2/s, DLI in mol/m2/day."
                ui.label(f"{units} {RIGHT_AT[0].upper()}{RIGHT_AT[1:]}." if asking else units).classes("quiet")


def notes(light: Light) -> list[str]:
    """Where the light leaves the ends of a tank dim; once the trace is done, also how much of it no plant uses."""
    told = []
    for frame, tank in zip(light.lowered.compiled.frames, light.lowered.tanks, strict=True):
        own = light.result.of_tank(tank.tank)
        ends, algae = ends_of(tank, own), algae_of(tank, own) if light.done else None
        words = ["" if ends is None else ends.words()]
        if algae is not None and algae.share.value >= WORTH_SAYING:
            words.append(f"As the light is set now, {algae_lead(algae)}")
        told += [f"{frame.name}: {said}" if frame.name else said for said in words if said]
    return told


def _row(report: ZoneReport, at: str) -> tuple[Cell, ...]:
    band = report.band
    return (
        report.name,
        estimated(report.ppfd),
        span_text(report.tank_low, report.tank_high),
        "" if band is None else f"{band.low:g}-{band.high:g}",
        at,
        partial(_verdict, report.verdict),
        f"{report.dli:.1f}",
    )


def _verdict(verdict: Verdict) -> None:
    ui.label(verdict).classes(f"verdict {verdict.replace(' ', '-')}")
