"""Meter readings: typed in, kept with the session, fitted; the sheet to take to the tank."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.fitting import FitAnswer, Row, checked_readings, fit_work, sheet_work
from underlit.app.heavy.jobs import Jobs
from underlit.app.section import Page, refused
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import (
    Cell,
    TankChoice,
    choice,
    hand_over,
    image,
    number,
    numbers,
    other_side,
    sentences,
    thing,
    use_as_other,
)
from underlit.app.sections.work.working import Work, Working

ELSEWHERE = "another place"
WATER = {"water": "under water", "air": "in air"}
CORRECTED = {"yes": "already applied", "no": "not yet applied"}
LID = {"on": "on", "off": "off"}


class Readings(Card):
    """What a meter showed, and what it makes of the tank."""

    title = "Meter readings"
    about = (
        "Enter what a meter shows, and the fit corrects the tank: output and beam of the light, lid, water and walls."
    )

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        self._jobs = jobs
        self._lights: dict[str, str] = {}
        self._has_lid = False
        with self.body:
            self._tank = TankChoice(self._turn_to_tank)
            save = hand_over(page, "-readings.pdf")
            label = "Reading sheet to take to the tank (PDF)"
            sheet = Working(page, jobs, "sheet", label, self._sheet, save, forget=True)
            self._build_form()
            self._list = ui.element("div").classes("stack")
            self._fit = Working(page, jobs, "fit", "Fit the tank to the readings", self._begin, self._show)
            self._answer = ui.element("div").classes("stack")
        self._list_all()
        sheet.recall()
        self._fit.recall()

    # -- typing in ------------------------------------------------------------------------------------------
    def _build_form(self) -> None:
        with thing("One reading"):
            with ui.row().classes("fields"):
                self._where = choice("Where", {ELSEWHERE: ELSEWHERE}, ELSEWHERE, self._adapt)
                self._left, self._front, self._over, self._below = (number("") for _ in range(4))
                self._value = number("The meter shows")
                self._medium = choice("The meter head was", WATER, "water", self._adapt)
                self._corrected = choice("Underwater correction", CORRECTED, "yes", self._adapt)
                self._factor = number("Immersion factor", step=0.01)
                self._lid = choice("Lid", LID, "on")
                self._dimmed = number("Dimmed to (%)")
            ui.label(
                "Readings are in umol/m2/s. Leave the height empty if it is that of reading spots, and the dimming empty if it "
                "is as set here."
            ).classes("quiet")
            ui.button("Add the reading", on_click=self._add).props("outline dense no-caps")
        self._adapt()

    def _adapt(self, _: object = None) -> None:
        """Show the inputs that the others ask for."""
        elsewhere, in_the_open = self._where.value == ELSEWHERE, self._where.value in self._lights
        self._below.set_visibility(in_the_open)
        for field in (self._over, self._medium):
            field.set_visibility(not in_the_open)
        self._lid.set_visibility(self._has_lid and not in_the_open)
        self._left.set_visibility(elsewhere)
        self._front.set_visibility(elsewhere)
        under = self._medium.value == "water" and not in_the_open
        self._corrected.set_visibility(under)
        self._factor.set_visibility(under and self._corrected.value == "no")

    def scene_changed(self) -> None:
        """Follow the scene's spots and lid, and the user's unit."""
        rack, units = self.page.scene, self.page.session.units
        if rack is None:
            return
        self._tank.follow(rack)
        scene = self._tank.seen(rack)
        lights = scene.tank_scenes[scene.light_number].fixtures
        self._lights = {f"in the open, below {light.name}": light.name for light in lights}
        self._has_lid = scene.lid is not None
        names = [*(spot.name for spot in scene.spots), ELSEWHERE, *self._lights]
        places = {name: name for name in names}
        held = self._where.value if self._where.value in places else next(iter(places))
        self._where.set_options(places, value=held)
        for field, label in ((self._left, "From the left"), (self._front, "From the front")):
            field.props(f'label="{label} ({units})"')
        self._over.props(f'label="Above the substrate ({units})"')
        self._below.props(f'label="Below the middle of the light ({units})"')
        self._adapt()
        self._fit.scene_changed()

    def _turn_to_tank(self, _: object = None) -> None:
        """Show the places and the readings of the tank that was chosen."""
        self.scene_changed()
        self._list_all()

    def _read(self) -> list[dict[str, str]]:
        """The readings that were taken in the tank in hand."""
        return [row for row in self.page.session.readings if row.get("tank", "") == self._tank.name]

    def _row(self) -> dict[str, str]:
        """What is typed in, as `heavy.fitting.KEYS` name it; what is out of sight was not asked."""
        units = self.page.session.units

        def typed(field: ui.number, unit: str = "") -> str:
            return f"{field.value:g} {unit}".strip() if field.visible and field.value is not None else ""

        x, y = typed(self._left, units), typed(self._front, units)
        return {
            "name": " / ".join(filter(None, (x, y))) if self._left.visible else str(self._where.value),
            "x": x,
            "y": y,
            "above_substrate": typed(self._over, units),
            "value": typed(self._value),
            "under_light": typed(self._below, units),
            "light": self._lights.get(str(self._where.value), ""),
            "medium": str(self._medium.value) if self._medium.visible else "air",
            "corrected": str(self._corrected.value) if self._corrected.visible else "",
            "immersion_factor": typed(self._factor),
            "lid": str(self._lid.value) if self._lid.visible else "",
            "dimming": typed(self._dimmed, "%"),
            "tank": self._tank.name,
        }

    def _add(self) -> None:
        session, scene, row = self.page.session, self.page.scene, self._row()
        if scene is None:
            return
        try:
            checked_readings([row], self._tank.seen(scene), session.folder)
        except ValueError as problem:
            refused(problem)
            return
        session.keep_readings([*session.readings, row])
        self._value.set_value(None)
        self._list_all()

    def _list_all(self) -> None:
        self._list.clear()
        rows = self._read()
        with self._list:
            if rows:
                heads = ("Where", "Reading", "Meter head", "Lid", "Dimmed to", "Remove")
                cells: list[list[Cell]] = [
                    [*_cells(row), partial(self._remove_button, k, row)] for k, row in enumerate(rows)
                ]
                numbers(heads, cells, "Readings")

    def _remove_button(self, index: int, row: dict[str, str]) -> None:
        button = ui.button("Remove", on_click=lambda: self._remove(row))
        button.props(f'flat dense no-caps aria-label="Remove reading {index + 1}"')

    def _remove(self, row: dict[str, str]) -> None:
        session = self.page.session
        session.keep_readings([other for other in session.readings if other is not row])
        self._list_all()

    # -- fitting --------------------------------------------------------------------------------------------
    def _begin(self) -> Work[FitAnswer] | None:
        session, scene = self.page.session, self.page.scene
        if scene is None or session.variant is None:
            return None
        rows, tank = self._read(), self._tank.number_in(scene)
        if not rows:
            refused("there is no reading yet: enter what the meter shows")
            return None
        try:
            checked_readings(rows, self._tank.seen(scene), session.folder)
        except ValueError as problem:
            refused(problem)
            return None
        text = session.variant.text
        return partial(fit_work, text=text, tank=tank, rows=rows, folder=session.folder, jobs=self._jobs)

    def _show(self, answer: FitAnswer) -> None:
        self._answer.clear()
        with self._answer:
            said = answer.summary["in_words"]
            if answer.tank:
                ui.label(f"Tank of the rack: {answer.tank}").classes("quiet")
            ui.label(said[0])
            numbers(("Quantity", "In the scene", "Fitted", "95 % range"), _found(answer), "What was fitted")
            numbers(
                ("Reading", "Read", "In the scene", "Fitted", "Read against fitted"), _read(answer), "Readings and fit"
            )
            ui.label("* set aside: it does not fit the other readings").classes("quiet")
            sentences(said[1:])
            image(
                answer.picture,
                "How far each reading is from the tank before and after the fit; the tables hold the same numbers",
            )
            label = f"Use the corrected tank as tank {other_side(self.page)}"
            button = ui.button(label, color=None, on_click=lambda: self._use(answer)).props("unelevated no-caps")
            button.classes("strong")

    def _use(self, answer: FitAnswer) -> None:
        use_as_other(self.page, answer.corrected, "the tank corrected by the readings")

    # -- the sheet ------------------------------------------------------------------------------------------
    def _sheet(self) -> Work[bytes] | None:
        variant, scene, folder = self.page.variant, self.page.scene, self.page.session.folder
        if variant is None or scene is None:
            return None
        tank = self._tank.number_in(scene)
        return partial(sheet_work, text=variant.text, tank=tank, folder=folder, jobs=self._jobs)


def _cells(row: Row) -> tuple[str, ...]:
    under = row.get("medium") == "water"
    factor = row.get("immersion_factor")
    head = "in air" if not under else f"under water, x {factor}" if factor else "under water, corrected"
    over = row.get("above_substrate")
    below = row.get("under_light")
    where = row.get("name", "") + (f", {over} above the substrate" if over else f", {below} below it" if below else "")
    return where, row.get("value", ""), head, row.get("lid") or "-", row.get("dimming") or "as set"


def _found(answer: FitAnswer) -> list[tuple[str, ...]]:
    return [
        (p["name"], f"{p['scene']:.3g}", f"{p['found']:.3g} {p['unit']}", f"{p['low_95']:.3g} to {p['high_95']:.3g}")
        for p in answer.summary["parameters"]
    ]


def _read(answer: FitAnswer) -> list[tuple[str, ...]]:
    rows = []
    for k, r in enumerate(answer.summary["readings"], 1):
        values = [f"{r[key]:.0f}" for key in ("read_umol_m2_s", "before_umol_m2_s", "fitted_umol_m2_s")]
        rows.append((f"{k}  {r['name']}", *values, f"{100 * r['departure']:+.0f} %" + (" *" if r["set_aside"] else "")))
    return rows
