"""The other variant beside the one in hand: its picture on the same colours, what changes and by how much."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.papers import traced_of
from underlit.app.light import Light
from underlit.app.section import Page, Section
from underlit.app.sections.pieces import Cell, numbers, other_side
from underlit.app.session import Side
from underlit.app.view import TankView
from underlit.planning.candidates import Candidate, candidate
from underlit.planning.compare import Change, compare
from underlit.report.decisions.compared_settings import best_words
from underlit.report.decisions.comparison import in_words, signed
from underlit.report.numbers import estimated
from underlit.results.estimate import Estimate


class Compare(Section):
    """A card that is shown while the session has two variants."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._card = ui.element("div").classes("card")
        with self._card:
            self._title = ui.label("").classes("heading").props('role="heading" aria-level="2"')
            self._view = TankView().classes("picture small")
            self._said = ui.element("div").classes("body")

    def scene_changed(self) -> None:
        """The variants may have changed places."""
        self.light_changed()

    def light_changed(self) -> None:
        """Show the other one's light and the differences."""
        session, side = self._page.session, other_side(self._page)
        there, here = session.variants.get(side), self._page.light
        self._card.set_visibility(there is not None)
        if there is None or there.light is None:
            return
        self._title.set_text(f"Tank {side} for comparison")
        self._view.draw(side, there.light, session.units, dimmed=True)
        if here is not None:
            self._view.show({"scale": list(here.scale)})
            self._tell({session.side: here, side: there.light})

    def _tell(self, lights: dict[Side, Light]) -> None:
        made = compare([_candidate(f"Tank {side}", lights[side]) for side in Side])
        self._said.clear()
        with self._said:
            for line in (*best_words(made), *in_words(made)):
                ui.label(line)
            heads = ("Zone or spot", *(c.name for c in made.candidates), "Difference")
            rows: list[list[Cell]] = [
                [row.name, *map(_value, row.values), partial(_change, row.changes[1])] for row in made.rows
            ]
            numbers(heads, rows, "PPFD of both tanks and the difference")


def _value(value: Estimate | None) -> str:
    return "" if value is None else estimated(value)


def _change(change: Change | None) -> None:
    if change is not None:
        ui.label(signed(change.ppfd))
        if not change.beyond_error:
            ui.label("within the error").classes("quiet")


def _candidate(name: str, light: Light) -> Candidate:
    return candidate(name, traced_of(light), light.reports)
