"""Suggestions: what may change, what was found, and trying one of them as the other variant."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.heavy.suggesting import SuggestAnswer, Way, own_kinds, suggest_work
from underlit.app.section import METRES_PER_INCH, Page, refused
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import (
    Cell,
    TankChoice,
    entries,
    image,
    number,
    numbers,
    other_side,
    sentences,
    several,
    thing,
    use_as_other,
)
from underlit.app.sections.work.working import Work, Working
from underlit.catalogue import Kind
from underlit.planning import chart
from underlit.planning.suggest import SearchSpace
from underlit.scene import Scene

USUAL_HEIGHTS_M = (0.02, 0.4)
MOST_LIGHTS = 6
"""So many lights to buy at once are tried at the most: each asks for some twenty traces."""


class Suggest(Card):
    """What to hang, where, and how far to dim it."""

    title = "How should I set it?"
    about = (
        "Tries the lights at other heights and positions, dims each one separately, and traces the best ways in full."
    )

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        self._jobs = jobs
        self._own: list[str] = []
        self._prices: dict[str, ui.number] = {}
        self._units = ""
        with self.body:
            self._build_form()
            self._work = Working(page, jobs, "suggest", "Suggest settings", self._begin, self._show)
            self._answer = ui.element("div").classes("stack")
        self._work.recall()

    def _build_form(self) -> None:
        self._tank = TankChoice(lambda _: self.scene_changed())
        with thing("What may change"):
            with ui.row().classes("fields"):
                self._only_dimming = ui.checkbox("Only the dimmers", on_change=lambda _: self._ask_for_moves())
                self._apart = ui.checkbox("Channels may be dimmed separately (changes the colour)")
            with ui.element("div").classes("stack") as self._moves:
                with ui.row().classes("fields"):
                    self._low, self._high = number(""), number("")
                    self._most = number("Most lights of one kind", 2, 3, 1)
                with ui.row().classes("fields"):
                    self._turned = ui.checkbox("Lights may run from front to back")
                    self._lid = ui.checkbox("The lid may be removed (not with fish that jump)")
                self._lights = several("Lights that may be bought", entries(Kind.FIXTURE), [], self._ask_prices)
                self._prices_row = ui.row().classes("fields")

    def _ask_for_moves(self) -> None:
        """Hide what makes no sense where nothing is moved or bought."""
        self._moves.set_visibility(not self._only_dimming.value)

    def _ask_prices(self, _: object = None) -> None:
        """A price for each light that may be bought, those that hang there too."""
        held = {name: field.value for name, field in self._prices.items()}
        self._prices_row.clear()
        self._prices = {}
        with self._prices_row:
            for name in [*self._own, *self._lights.value]:
                label = f"Price of another {name}" if name in self._own else f"Price of {name}"
                self._prices[name] = number(label, held.get(name)).classes(add="wide", remove="field")

    def scene_changed(self) -> None:
        """Follow the lid and the user's unit."""
        rack, units = self.page.scene, self.page.session.units
        if rack is None:
            return
        self._tank.follow(rack)
        scene = self._tank.seen(rack)
        self._lid.set_visibility(scene.lid is not None)
        own = own_kinds(scene)
        if own != self._own:
            self._own = own
            self._ask_prices()
        self._work.scene_changed()
        if units != self._units:
            low, high = USUAL_HEIGHTS_M if not self._units else self._heights_m(self._units)
            self._units = units
            for field, label, metres in ((self._low, "Lowest", low), (self._high, "Highest", high)):
                field.props(f'label="{label} above the rim ({units})"')
                field.set_value(self.page.shown_length(metres))

    def _heights_m(self, units: str) -> tuple[float, float]:
        unit = METRES_PER_INCH if units == "in" else 0.01
        return float(self._low.value or 0) * unit, float(self._high.value or 0) * unit

    def _begin(self) -> Work[SuggestAnswer] | None:
        session, rack = self.page.session, self.page.scene
        if rack is None or session.variant is None:
            return None
        tank, scene = self._tank.number_in(rack), self._tank.seen(rack)
        reason = self._why_not(scene)
        if reason:
            refused(reason)
            return None
        space = self._space(scene)
        text, folder = session.variant.text, session.folder
        return partial(suggest_work, text=text, tank=tank, space=space, folder=folder, jobs=self._jobs)

    def _space(self, scene: Scene) -> SearchSpace:
        if self._only_dimming.value:
            return SearchSpace(only_dimming=True, channels_apart=bool(self._apart.value))
        return SearchSpace(
            most=int(self._most.value or 1),
            above_rim_m=self._heights_m(self._units),
            turned=bool(self._turned.value),
            channels_apart=bool(self._apart.value),
            lid_may_go=bool(self._lid.value) and scene.lid is not None,
            lights=chart.lights(self._lights.value) if self._lights.value else (),
            prices={name: float(field.value) for name, field in self._prices.items() if field.value is not None},
        )

    def _why_not(self, scene: Scene) -> str:
        low, high = self._heights_m(self._units)
        if low > high:
            return "the lowest height is above the highest: change one of them"
        if len(self._lights.value) > MOST_LIGHTS:
            return f"choose at most {MOST_LIGHTS} lights to buy"
        if all(scene.band_of(zone) is None for zone in scene.zones):
            return "no zone has a target: choose what will grow there under Zones and reading spots"
        return ""

    def _show(self, answer: SuggestAnswer) -> None:
        self._answer.clear()
        with self._answer:
            if answer.tank:
                ui.label(f"Tank of the rack: {answer.tank}").classes("quiet")
            sentences(answer.words)
            heads = ("Lights", "Set to", "Targets met", "To buy", "Watts")
            rows = [self._row(way) for way in (answer.now, *answer.ways)]
            numbers(heads, rows, "Suggestions, best first")
            notes = [f"{way.name}: {text}" for way in answer.ways for text in way.notes]
            if notes:
                ui.label("Note").classes("quiet")
                sentences(notes)
            image(
                answer.picture,
                "Light in each zone with each suggestion, and its target; the table lists what is not met",
            )

    def _row(self, way: Way) -> tuple[Cell, ...]:
        return partial(self._hang, way), way.setting, way.met, way.buy, way.watts

    def _hang(self, way: Way) -> None:
        ui.label(f"{way.name}: {way.hang}").classes("roomy")
        ui.label(f"not met: {way.unmet}").classes("quiet")
        if way.text:
            side = other_side(self.page)
            button = ui.button(f"Try as tank {side}", color=None, on_click=lambda: self._use(way))
            button.props(f'flat dense no-caps aria-label="Try suggestion {way.name} as tank {side}"')
        elif way.why_not:
            ui.label(f"not available as a scene: {way.why_not}").classes("quiet")

    def _use(self, way: Way) -> None:
        use_as_other(self.page, way.text, f"suggestion {way.name}")
