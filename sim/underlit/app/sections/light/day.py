"""Daily light in a settled and in a new tank, what it costs, what age leaves, and the settings card to hang at the tank."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from underlit.app.heavy.jobs import Jobs
from underlit.app.heavy.papers import card_work
from underlit.app.section import Page, refused
from underlit.app.sections.card import Card
from underlit.app.sections.pieces import hand_over, numbers, price_number, sentences
from underlit.app.sections.work.working import Work, Working
from underlit.planning.dose import AGEING_A_YEAR, NEW_TANK_HOURS, NEW_TANK_WEEKS, Dose, Span, dose
from underlit.planning.zones import Verdict
from underlit.report.decisions.dose import dial, energy_words, hours_words, suit_words, years_words
from underlit.scene import Scene
from underlit.scene.lights.day import clock_text
from underlit.scene.targets import NEW_TANK_SHARE

NOT_TRACED = "this tank is not traced yet: try again in a moment"


class Day(Card):
    """DLI, energy, cost and ageing; all of it arithmetic on the light in hand."""

    title = "Daily light (DLI) and running cost"

    def __init__(self, page: Page, jobs: Jobs) -> None:
        super().__init__(page)
        self._open = False
        self.details.on(
            "toggle", lambda event: self._turned(bool(event.args)), js_handler="(event) => emit(event.target.open)"
        )
        with self.body.classes("stack"):
            self._price = price_number()
            self._price.on_value_change(self.light_changed)
            self._told = ui.element("div").classes("stack")
            label = "Settings card to hang at the tank (PDF)"
            Working(page, jobs, "card", label, self._card, hand_over(page, "-card.pdf"), forget=True).recall()

    def scene_changed(self) -> None:
        """Hours may have changed."""
        self.light_changed()

    def _turned(self, is_open: bool) -> None:
        self._open = is_open
        self.light_changed()

    def light_changed(self) -> None:
        """Show days and years again, while the card is open."""
        light = self.page.light
        self._told.clear()
        if light is None or not self._open:
            return
        made = dose(light.lowered, light.result, price=self._price.value)
        with self._told:
            sentences(day_lines(light.lowered.scene))
            _table(made)
            low, high = (f"{100 * share:.0f}" for share in NEW_TANK_SHARE)
            least, most = (f"{100 * share:.0f}" for share in AGEING_A_YEAR)
            ui.label(
                f"DLI in mol/m2/day. New tank: {NEW_TANK_HOURS:g} h a day at {low}-{high} % of the set light for the first "
                f"{NEW_TANK_WEEKS:g} weeks, then as set. Lights lose {least}-{most} % of their output per year. Both are "
                "common practice."
            ).classes("quiet")
            sentences([line for line in (suit_words(made), energy_words(made)) if line])

    def _card(self) -> Work[bytes] | None:
        if self.page.light is None:
            refused(NOT_TRACED)
            return None
        return partial(card_work, light=self.page.light, price=self._price.value)


def day_lines(scene: Scene) -> list[str]:
    """How each light is set, its hours, and its schedule where it has one."""
    lines = []
    for fixture in scene.fixtures:
        line = f"{fixture.name}: {dial(fixture)}, {hours_words(fixture)}"
        if fixture.schedule is not None:
            stepped = fixture.dimming_curve is not None
            rows = (
                f"{clock_text(time)} {f'step {v:g}' if stepped else f'{100 * v:.0f} %'}" for time, v in fixture.schedule
            )
            line += f" ({', '.join(rows)})"
        lines.append(line)
    return lines


def _table(made: Dose) -> None:
    heads = ("Zone", "DLI, new tank", "New tank", "DLI, settled", "Settled", "Years until too dim")
    rows = [
        (
            z.name, _span(z.new_dli), _word(z.new_verdict), f"{z.dli:.2f}", _word(z.verdict),
            years_words(z.years_in_band) or "-",
        )
        for z in made.zones
    ]  # fmt: skip
    numbers(heads, rows, "Daily light by zone, in mol/m2/day")


def _word(verdict: Verdict) -> str:
    return "-" if verdict is Verdict.NO_TARGET else str(verdict)


def _span(span: Span) -> str:
    low, high = (f"{value:.2f}" for value in span)
    return low if low == high else f"{low}-{high}"
