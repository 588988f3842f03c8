"""Labelled inputs that say one value of the scene and follow it. A value that nobody gave is shown greyed, as assumed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, NamedTuple

from nicegui import ui
from nicegui.elements.mixins.value_element import ValueElement
from nicegui.events import ValueChangeEventArguments

from underlit.app.section import Page
from underlit.app.values import Path, is_said, value_at
from underlit.scene import Scene

Read = Callable[[Scene], Any]
Say = Callable[[Any], object]
CLOSE = 1e-6
ASSUMED = "assumed"


class Limits(NamedTuple):
    """What a number may be, and the step of its arrows."""

    least: float
    most: float
    step: float = 1.0


LENGTHS = Limits(0.0, 3.0)
"""Of a length where nothing else is said [m]."""


class Range(ui.element):
    """The browser's own slider from 0 to 100: fully worked by the keyboard. slid: told while it moves; ended: where it ends.

    What it said itself is not shown to it again: the hand may be further on by then, and an echo would pull it back.
    """

    def __init__(
        self,
        label: str,
        slid: Callable[[float], object],
        ended: Callable[[float], object] | None = None,
        at_once: str = "",
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

    def _ended(self, ended: Callable[[float], object], percent: float) -> None:
        self._stands = percent
        ended(percent)

    def show(self, percent: float) -> bool:
        """Move it; False where it stands there by its own saying."""
        if percent == self._stands:
            return False
        self._stands = percent
        # not as a property of the element: the page would set it again whenever anything is drawn again
        self.client.run_javascript(
            f'const at = document.getElementById("{self.html_id}"); if (at) at.value = {percent}'
        )
        return True


class Fields:
    """The inputs of one section. They are kept while the scene has the same parts, so the keyboard keeps its place.

    Each is for the value at a path of the scene. read: how to get it, where the value taken is not the scene's own key;
    say: what to do with a new one, where that is more than writing it at the path.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self._followers: list[Callable[[Scene], object]] = []

    def clear(self) -> None:
        """Forget the inputs; the section builds others."""
        self._followers.clear()

    def follow(self) -> None:
        """Show what holds in the scene now."""
        scene = self.page.scene
        if scene is not None:
            for follower in self._followers:
                follower(scene)

    # -- kinds of input -------------------------------------------------------------------------------------
    def length(
        self, label: str, path: Path, read: Read | None = None, say: Say | None = None, *,
        limits: Limits = LENGTHS, may_be_empty: bool = False,
    ) -> None:  # fmt: skip
        """A length in the user's unit: read gives metres or None, say takes a text such as "5 cm", None if that may be."""
        page, read, say = self.page, read or partial(value_at, path=path), say or self._writes(path)

        def shown(scene: Scene) -> float | None:
            metres = read(scene)
            return None if metres is None else page.shown_length(metres)

        least, most = (page.shown_length(metres) for metres in limits[:2])
        label = f"{label} ({page.session.units})"
        own = Limits(least, most, 0.25 if page.inches else 0.5)
        field = self._number(label, path, shown, lambda number: say(page.typed_length(number)), own)
        if may_be_empty:
            field.on_value_change(
                lambda event: say(None) if event.value is None and self._held(read) is not None else None
            )

    def lengths(
        self, labels: Sequence[str], path: Path, read: Read | None = None, say: Say | None = None, *,
        limits: Limits = LENGTHS,
    ) -> None:  # fmt: skip
        """Several lengths that the scene says together, such as a point: say takes the texts of all."""
        read, say = read or partial(value_at, path=path), say or self._writes(path)

        def one_of(axis: int) -> tuple[Read, Say]:
            return lambda scene: read(scene)[axis], lambda text: self._say_one(read, say, axis, text)

        for axis, label in enumerate(labels):
            self.length(label, path, *one_of(axis), limits=limits)

    def rectangle(self, path: Path) -> None:
        """Two corners on the plan."""
        labels = [f"Corner {corner}, from the {side}" for corner in (1, 2) for side in ("left", "front")]
        write = self._writes(path)
        self.lengths(
            labels, path, lambda scene: [at for corner in value_at(scene, path) for at in corner],
            lambda texts: write([texts[:2], texts[2:]]),
        )  # fmt: skip

    def _say_one(self, read: Read, say: Say, axis: int, text: str) -> None:
        scene = self.page.scene
        if scene is not None:
            texts = [self.page.length_text(metres) for metres in read(scene)]
            texts[axis] = text
            say(texts)

    def number(self, label: str, path: Path, limits: Limits, *, unit: str = "", read: Read | None = None) -> None:
        """A number; with a unit, the scene gets a text such as "8 h"."""
        write = self._writes(path)
        shown = f"{label} ({unit})" if unit else label
        read = read or partial(value_at, path=path)
        self._number(shown, path, read, lambda v: write(f"{v:g} {unit}" if unit else v), limits)

    def _number(self, label: str, path: Path, read: Read, say: Say, limits: Limits) -> ui.number:
        def said(event: ValueChangeEventArguments[float | None]) -> None:
            held = self._held(read)
            if event.value is None or (held is not None and abs(float(event.value) - held) < CLOSE):
                return
            say(float(event.value))

        field = (
            ui.number(label, on_change=said, min=limits.least, max=limits.most, step=limits.step)
            .props('dense outlined debounce="250"')
            .classes("field")
        )
        # where a number was cleared and left so, show again what holds
        field.on("blur", lambda: field.set_value(self._held(read)) if field.value is None else None)
        self._follow(field, path, lambda scene: field.set_value(read(scene)))
        return field

    def _held(self, read: Read) -> Any:
        scene = self.page.scene
        return None if scene is None else read(scene)

    def choice(
        self, label: str, options: Mapping[str, str], path: Path, read: Read | None = None, say: Say | None = None
    ) -> None:
        """One of several: options by value; what holds is shown even where it is none of them."""
        read, say = read or partial(value_at, path=path), say or self._writes(path)

        def show(scene: Scene) -> None:
            held = read(scene)
            if held not in field.options:
                field.set_options({**options, held: str(held)})
            field.set_value(held)

        field = ui.select(dict(options), label=label, on_change=self._heard(read, say))
        field.props("dense outlined options-dense").classes("field")
        self._follow(field, path, show)

    def switch(self, label: str, path: Path, read: Read) -> None:
        """Yes or no."""

        def show(scene: Scene) -> None:
            field.set_value(bool(read(scene)))
            field.set_text(label if is_said(scene, path) else f"{label} ({ASSUMED})")

        field = ui.switch(label, on_change=self._heard(read, self._writes(path)))
        self._follow(field, path, show)

    def percent(self, label: str, path: Path, at_once: str = "") -> None:
        """A share of one as a slider in percent, written where it ends. at_once: see `Range`."""
        write = self._writes(path)
        with ui.row().classes("dimmer"):
            ui.label(label)
            number = ui.label("").classes("end")

            def slid(percent: float) -> None:
                number.set_text(f"{percent:.0f} %")

            slider = Range(f"{label}, percent", slid, lambda percent: write(round(percent / 100, 4)), at_once)

        given: bool | None = None

        def show(scene: Scene) -> None:
            nonlocal given
            percent, before, given = round(100 * value_at(scene, path)), given, is_said(scene, path)
            if slider.show(percent) or given is not before:
                number.set_text(f"{percent} %" if given else f"{percent} % ({ASSUMED})")

        self._follow(number, path, show)

    def text(self, label: str, path: Path) -> None:
        """A line of text."""
        read = partial(value_at, path=path)
        field = (
            ui.input(label, on_change=self._heard(read, self._writes(path)))
            .props('dense outlined debounce="500"')
            .classes("field")
        )
        self._follow(field, path, lambda scene: field.set_value(read(scene)))

    def _heard(self, read: Read, say: Say) -> Callable[[ValueChangeEventArguments[Any]], None]:
        """What an input does with what was chosen or typed: nothing where it holds already."""

        def heard(event: ValueChangeEventArguments[Any]) -> None:
            if self.page.scene is not None and event.value != self._held(read):
                say(event.value)

        return heard

    def _writes(self, path: Path) -> Say:
        return lambda value: self.page.set(*path, value=value)

    def _follow(self, field: ui.element, path: Path, show: Callable[[Scene], object]) -> None:
        def follow(scene: Scene) -> None:
            show(scene)
            shown = getattr(field, "value", "") is not None
            assumed = shown and bool(path) and not is_said(scene, path)
            field.classes(add=ASSUMED if assumed else "", remove="" if assumed else ASSUMED)
            if isinstance(field, ValueElement) and not isinstance(field, ui.switch):
                field.props(add=f"suffix={ASSUMED}" if assumed else "", remove="" if assumed else "suffix")

        self._followers.append(follow)
        if self.page.scene is not None:
            follow(self.page.scene)
