"""Labelled inputs that say one value of the scene, and follow it: what is shown is what holds."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, NamedTuple

from nicegui import ui

from underlit.app.section import Page
from underlit.scene import Scene

Key = str | int
Read = Callable[[Scene], Any]
Say = Callable[[Any], Any]
CLOSE = 1e-6


def _at(read: Callable[[Scene], Sequence[float]], axis: int, scene: Scene) -> float:
    return read(scene)[axis]


class Limits(NamedTuple):
    """What a number may be, and the step of its arrows."""

    least: float
    most: float
    step: float


class Range(ui.element):
    """The browser's own slider from 0 to 100: fully worked by the keyboard. slid: told while it moves; ended: where it ends.

    What it said itself is not shown to it again: the hand may be further on by then, and an echo would pull it back.
    """

    def __init__(
        self, label: str, slid: Callable[[float], Any], ended: Callable[[float], Any] | None = None, at_once: str = ""
    ) -> None:
        """at_once: JavaScript run in the page at every move, `percent` being where the slider stands."""
        super().__init__("input")
        self._stands: float | None = None
        self.props(f'type="range" min="0" max="100" step="1" aria-label="{label}"').classes("range")
        number = "(event) => emit(Number(event.target.value))"
        if at_once:
            self.on("input", js_handler=f"(event) => {{ const percent = Number(event.target.value); {at_once} }}")
        self.on("input", lambda event: slid(float(event.args)), js_handler=number, throttle=0.05)
        if ended is not None:
            self.on("change", lambda event: self._ended(ended, float(event.args)), js_handler=number)

    def _ended(self, ended: Callable[[float], Any], percent: float) -> None:
        self._stands = percent
        ended(percent)

    def show(self, percent: float) -> bool:
        """Move it; False where it stands there by its own saying."""
        if percent == self._stands:
            return False
        self._stands = percent
        # not as a property of the element: the page would set it again whenever anything is drawn anew
        self.client.run_javascript(
            f'const at = document.getElementById("{self.html_id}"); if (at) at.value = {percent}'
        )
        return True


class Fields:
    """The inputs of one section. They are kept while the scene has the same parts, so the keyboard keeps its place."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._followers: list[Callable[[Scene], object]] = []

    def clear(self) -> None:
        """Forget the inputs; the section builds others."""
        self._followers.clear()

    def follow(self) -> None:
        """Show what the scene says now."""
        scene = self.page.scene
        if scene is not None:
            for follower in self._followers:
                follower(scene)

    def says(self, *path: Key) -> Say:
        """A function that says a value at a path of the scene."""
        return lambda value: self.page.set(*path, value=value)

    # -- kinds of input -------------------------------------------------------------------------------------
    def length(
        self, label: str, read: Read, say: Say, *, least: float = 0.0, most: float = 3.0, may_be_empty: bool = False
    ) -> ui.number:
        """A length in the user's unit: read gives metres or None, say takes a text such as "5 cm", None if that may be."""
        page = self.page

        def shown(scene: Scene) -> float | None:
            metres = read(scene)
            return None if metres is None else page.shown_length(metres)

        limits = Limits(page.shown_length(least), page.shown_length(most), 0.25 if page.inches else 0.5)
        field = self._number(f"{label} ({page.session.units})", shown, lambda v: say(page.typed_length(v)), limits)
        if may_be_empty:
            field.on_value_change(
                lambda event: say(None) if event.value is None and self._held(read) is not None else None
            )
        else:
            self._never_empty(field, shown)
        return field

    def lengths(
        self, labels: Sequence[str], read: Callable[[Scene], Sequence[float]], say: Callable[[list[str]], Any],
        *, least: float = 0.0,
    ) -> None:  # fmt: skip
        """Several lengths that the scene says together, such as a point: say takes the texts of all."""
        for axis, label in enumerate(labels):
            self.length(label, partial(_at, read, axis), partial(self._say_one, read, say, axis), least=least)

    def rectangle(self, read: Callable[[Scene], Any], say: Callable[[list[list[str]]], Any]) -> None:
        """Two corners on the plan."""
        labels = ("From the left", "From the front", "To, from the left", "To, from the front")

        def flat(scene: Scene) -> tuple[float, ...]:
            corners = read(scene)
            return (*corners[0], *corners[1])

        self.lengths(labels, flat, lambda texts: say([texts[:2], texts[2:]]))

    def _say_one(
        self, read: Callable[[Scene], Sequence[float]], say: Callable[[list[str]], Any], axis: int, text: str
    ) -> None:
        scene = self.page.scene
        if scene is not None:
            texts = [self.page.length_text(metres) for metres in read(scene)]
            texts[axis] = text
            say(texts)

    def number(
        self, label: str, read: Read, say: Say, *, least: float, most: float, step: float, unit: str = ""
    ) -> ui.number:
        """A number; with a unit, say takes a text such as "8 h"."""
        limits = Limits(least, most, step)
        shown = f"{label} ({unit})" if unit else label
        field = self._number(shown, read, lambda v: say(f"{v:g} {unit}" if unit else v), limits)
        self._never_empty(field, read)
        return field

    def _never_empty(self, field: ui.number, read: Read) -> None:
        """Where a number was cleared and left so, show again what holds."""
        field.on("blur", lambda: field.set_value(self._held(read)) if field.value is None else None)

    def _held(self, read: Read) -> Any:
        scene = self.page.scene
        return None if scene is None else read(scene)

    def _number(self, label: str, read: Read, say: Say, limits: Limits) -> ui.number:
        def said(event: Any) -> None:
            scene = self.page.scene
            held = read(scene) if scene else None
            if event.value is None or (held is not None and abs(float(event.value) - held) < CLOSE):
                return
            say(float(event.value))

        field = (
            ui.number(label, on_change=said, min=limits.least, max=limits.most, step=limits.step)
            .props('dense outlined debounce="250"')
            .classes("field")
        )
        self._follow(lambda scene: field.set_value(read(scene)))
        return field

    def choice(self, label: str, options: Mapping[Any, str], read: Read, say: Say) -> ui.select:
        """One of several: options by value; what holds is shown even where it is none of them."""

        def said(event: Any) -> None:
            scene = self.page.scene
            if scene is not None and event.value != read(scene):
                say(event.value)

        def show(scene: Scene) -> None:
            held = read(scene)
            if held not in field.options:
                field.set_options({**options, held: str(held)})
            field.set_value(held)

        field = ui.select(dict(options), label=label, on_change=said)
        field.props("dense outlined options-dense").classes("field")
        self._follow(show)
        return field

    def switch(self, label: str, read: Read, say: Say) -> ui.switch:
        """Yes or no."""

        def said(event: Any) -> None:
            scene = self.page.scene
            if scene is not None and bool(event.value) != bool(read(scene)):
                say(bool(event.value))

        field = ui.switch(label, on_change=said)
        self._follow(lambda scene: field.set_value(bool(read(scene))))
        return field

    def percent(self, label: str, read: Read, say: Say, at_once: str = "") -> Range:
        """A share of one as a slider in percent; say is told where it ends. at_once: see `Range`."""
        with ui.row().classes("dimmer"):
            ui.label(label)
            number = ui.label("").classes("end")

            def slid(percent: float) -> None:
                number.set_text(f"{percent:.0f} %")

            slider = Range(f"{label}, percent", slid, lambda percent: say(round(percent / 100, 4)), at_once)

        def show(scene: Scene) -> None:
            percent = round(100 * read(scene))
            if slider.show(percent):
                number.set_text(f"{percent} %")

        self._follow(show)
        return slider

    def text(self, label: str, read: Read, say: Say) -> ui.input:
        """A line of text."""

        def said(event: Any) -> None:
            scene = self.page.scene
            if scene is not None and event.value != read(scene):
                say(event.value)

        field = ui.input(label, on_change=said).props('dense outlined debounce="500"').classes("field")
        self._follow(lambda scene: field.set_value(read(scene)))
        return field

    def _follow(self, show: Callable[[Scene], object]) -> None:
        self._followers.append(show)
        if self.page.scene is not None:
            show(self.page.scene)
