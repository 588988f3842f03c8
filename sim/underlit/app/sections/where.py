"""Where the light goes, what it costs to run, and what was assumed."""

from __future__ import annotations

from nicegui import ui

from underlit.app.bench import Bench
from underlit.planning.candidates import kwh_a_year, watt_hours_a_day
from underlit.report.ledger import as_percentages, light_ledger, with_rest
from underlit.scene import Scene, assumptions


class Where:
    """Ledger, cost and assumptions."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        with ui.element("details").classes("card"):
            with ui.element("summary").classes("heading"):
                ui.label("Where the light goes, what it costs").props('role="heading" aria-level="2"')
            self._cost = ui.element("div").classes("body")
            self._price = ui.number("Price of a kWh", min=0, max=10, step=0.01, on_change=self.scene_changed)
            self._price.props('dense outlined clearable debounce="400"').classes("field")
            self._ledger = ui.element("div").classes("body")
            self._assumed = ui.element("div").classes("body")

    def scene_changed(self) -> None:
        """Cost and assumptions follow the scene."""
        scene = self._bench.scene
        self._cost.clear()
        self._assumed.clear()
        if scene is None:
            return
        with self._cost:
            ui.label(self._cost_words(scene))
        with self._assumed:
            ui.label("Taken as usual, because the scene does not say:").classes("quiet")
            with ui.element("ul"):
                for one in assumptions(scene):
                    with ui.element("li"):
                        ui.label(f"{one.key}: {one.value_text} ({one.range_text})")

    def light_changed(self) -> None:
        """Where the light goes, as counted so far."""
        light = self._bench.light
        self._ledger.clear()
        if light is None:
            return
        with self._ledger, ui.element("table").classes("numbers"), ui.element("tbody"):
            for words, share in as_percentages(with_rest(light_ledger(light.result))):
                with ui.element("tr"):
                    with ui.element("th").props('scope="row"'):
                        ui.label(words)
                    with ui.element("td"):
                        ui.label(f"{share:.1f} %")

    def _cost_words(self, scene: Scene) -> str:
        days = [watt_hours_a_day(fixture) for fixture in scene.fixtures]
        known = [day for day in days if day is not None]
        if len(known) < len(days):
            return "The watts of a light are not said, so what it costs to run is not known."
        a_year = kwh_a_year(sum(known))
        words = f"{sum(known):.0f} Wh a day, {a_year:.0f} kWh a year"
        price = self._price.value
        return words + (f", {a_year * float(price):.2f} a year." if price else ".")
