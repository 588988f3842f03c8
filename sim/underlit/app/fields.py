"""Labelled inputs that say one value of the scene and show what holds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from nicegui import ui

from underlit.app.bench import Bench
from underlit.scene import Scene

Path = tuple[str | int, ...]


def length(
    bench: Bench,
    label: str,
    path: Path,
    read: Callable[[Scene], float | None],
    *,
    least: float = 0.0,
    most: float = 3.0,
) -> ui.number:
    """A length in the user's unit; read gives it in metres."""
    step = 0.25 if bench.inches else 0.5

    def said(event: Any) -> None:
        if event.value is not None:
            bench.set(*path, value=bench.typed_length(float(event.value)))

    scene = bench.scene
    held = read(scene) if scene else None
    number = ui.number(
        f"{label} ({bench.desk.units})",
        value=None if held is None else bench.shown_length(held),
        min=bench.shown_length(least),
        max=bench.shown_length(most),
        step=step,
        on_change=said,
    )
    return number.props('dense outlined debounce="400"').classes("field")


def number(
    bench: Bench, label: str, path: Path, held: float | None, *, least: float, most: float, step: float, unit: str = ""
) -> ui.number:
    """A plain number, or one with a unit that the scene writes after it."""

    def said(event: Any) -> None:
        if event.value is not None:
            value = float(event.value)
            bench.set(*path, value=f"{value:g} {unit}" if unit else value)

    shown = f"{label} ({unit})" if unit else label
    field = ui.number(shown, value=held, min=least, max=most, step=step, on_change=said)
    return field.props('dense outlined debounce="400"').classes("field")


def choice(
    bench: Bench, label: str, options: Sequence[str] | dict[Any, str], held: Any, said: Callable[[Any], Any]
) -> ui.select:
    """One of several."""
    shown = options if isinstance(options, dict) else list(options)
    select = ui.select(shown, label=label, value=held, on_change=lambda event: said(event.value))
    return select.props("dense outlined options-dense").classes("field")


def switch(bench: Bench, label: str, held: bool, said: Callable[[bool], Any]) -> ui.switch:
    """Yes or no."""
    return ui.switch(label, value=held, on_change=lambda event: said(bool(event.value)))
