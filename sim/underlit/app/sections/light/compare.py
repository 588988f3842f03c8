"""The other variant beside the one in hand: its picture on the same colours, what changes and by how much."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from underlit.app.light import Light
from underlit.app.section import Page
from underlit.app.session import Side, Variant
from underlit.app.view import TankView
from underlit.planning.candidates import Candidate, candidate
from underlit.planning.compare import Change, compare
from underlit.report.decisions.comparison import in_words
from underlit.results.estimate import Estimate
from underlit.run import Traced


class Compare:
    """A card that is shown while the session has two variants."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._shape: Any = None
        self._light: Any = None
        self._card = ui.element("div").classes("card")
        with self._card:
            self._title = ui.label("").classes("heading").props('role="heading" aria-level="2"')
            self._view = TankView(on_spot=lambda *_: None, on_moved=lambda *_: None).classes("picture small")
            self._words = ui.element("div").classes("body")
            self._table = ui.element("div").classes("body")

    @property
    def _other(self) -> Side:
        return Side.B if self._page.session.side is Side.A else Side.A

    def scene_changed(self) -> None:
        """The variants may have changed places."""
        self.light_changed()

    def light_changed(self) -> None:
        """Show the other one's light and the differences."""
        session = self._page.session
        here, there = session.variants.get(session.side), session.variants.get(self._other)
        self._card.set_visibility(there is not None)
        if there is None or there.light is None:
            return
        self._title.set_text(f"Tank {self._other} beside it")
        self._draw(there.light, session.variants.get(session.side))
        if here is not None and here.light is not None:
            first, second = (here.light, there.light) if session.side is Side.A else (there.light, here.light)
            self._tell(first, second)

    def _draw(self, light: Light, here: Variant | None) -> None:
        side = self._other
        shape = (side, light.revision)
        if shape != self._shape:
            self._shape, self._light = shape, None
            self._view.shape(f"/session/{side}/shape/{light.revision}", self._page.session.units)
        now = (side, light.revision, light.result.photons, tuple(light.lowered.dimming.items()))
        if now != self._light:
            self._light = now
            stamp = f"{light.revision}-{light.result.photons}"
            self._view.light(f"/session/{side}/light/{stamp}", light.lowered.dimming)
        if here is not None and here.light is not None:
            self._view.show({"scale": list(here.light.scale)})

    def _tell(self, first: Light, second: Light) -> None:
        made = compare([_candidate("Tank A", first), _candidate("Tank B", second)])
        self._words.clear()
        with self._words:
            for line in in_words(made):
                ui.label(line)
        self._table.clear()
        with self._table, ui.element("table").classes("numbers"):
            with ui.element("thead"), ui.element("tr"):
                for title in ("Place", *(c.name for c in made.candidates), "Difference"):
                    with ui.element("th").props('scope="col"'):
                        ui.label(title)
            with ui.element("tbody"):
                for row in made.rows:
                    self._row(row.name, row.values, row.changes[1])

    def _row(self, name: str, values: tuple[Estimate | None, ...], change: Change | None) -> None:
        with ui.element("tr"):
            with ui.element("th").props('scope="row"'):
                ui.label(name)
            for value in values:
                with ui.element("td"):
                    ui.label("" if value is None else f"{value.value:.0f}")
            with ui.element("td"):
                if change is not None:
                    mark = "" if change.beyond_error else " (within the error)"
                    ui.label(f"{change.ppfd.value:+.1f} ± {change.ppfd.half_width:.1f}{mark}")


def _candidate(name: str, light: Light) -> Candidate:
    return candidate(
        name, Traced(light.lowered, light.result, light.done, light.worst_name, light.worst), light.reports
    )
