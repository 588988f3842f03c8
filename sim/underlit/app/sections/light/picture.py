"""The tank in 3D with the bar that says what its colours mean and what is shown."""

from __future__ import annotations

import math
from collections.abc import Sequence

from nicegui import ui

from underlit.app.blobs import MOVABLE
from underlit.app.fields import Range
from underlit.app.light import Light
from underlit.app.section import Page, Section
from underlit.app.sections.edit.zones import next_spot
from underlit.app.values import value_at
from underlit.app.view import TankView
from underlit.report.numbers import known_to
from underlit.scene import Fixture, Plants
from underlit.viz.palette import BAR_TITLE

PLANES = {"none": "no light plane", "level": "horizontal plane", "upright": "vertical section"}


class Picture(Section):
    """3D view and its bar."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self.view = TankView(on_spot=self._dropped, on_moved=self._moved, on_cut=self._cut).classes("picture")
        self._progress = ui.label("").classes("progress").props('role="status"')
        with ui.row().classes("bar"):
            self._low = ui.label("0").classes("end")
            ui.element("div").classes("ramp").props('role="img" aria-label="Colours from dim to bright"')
            self._high = ui.label("").classes("end")
            ui.label(BAR_TITLE).classes("quiet")
            self._pinned = ui.number("Scale up to", min=1, max=5000, step=10, on_change=self._show)
            self._pinned.props('dense outlined clearable debounce="400"').classes("narrow")
            self._contours = ui.number("Contours every", value=20, min=0, max=500, step=5, on_change=self._show)
            self._contours.props('dense outlined debounce="400"').classes("narrow")
        with ui.row().classes("bar"):
            shown = (("lid", "Lid"), ("glass", "Glass"), ("water", "Water"), ("plants", "Plants"))
            self._shown = {key: ui.checkbox(label, value=True, on_change=self._show) for key, label in shown}
            self._plane = ui.select(PLANES, label="Light in the water", value="none", on_change=self._show)
            self._plane.props("dense outlined options-dense").classes("medium")
            self._at = 0.5
            self._where = Range("Position of the light plane, percent", self._slid)
            self._where.show(50)
            self._angle = ui.number("Angle (deg)", value=0, min=0, max=180, step=15, on_change=self._show)
            self._angle.props('dense outlined debounce="300"').classes("narrow")
        self._show()

    # -- following the tank ---------------------------------------------------------------------------------
    def scene_changed(self) -> None:
        """Dimming may have changed: redraw at once from what the page holds."""
        light = self._page.light
        self.view.dim(None if light is None else light.lowered.dimming)

    def light_changed(self) -> None:
        """Draw what is new and say how far the trace is."""
        page, variant, light = self._page, self._page.variant, self._page.light
        if variant is None or light is None:
            others = page.session.service.waiting - 1
            behind = f" (in turn with {others} more)" if others > 0 else ""
            self._progress.set_text("" if variant is None else variant.trouble or f"Tracing ...{behind}")
            return
        self.view.draw(page.session.side, light, page.session.units)
        self._progress.set_text(variant.trouble or self._told(light, variant.revision))
        self._show_ends()

    def _told(self, light: Light, revision: int) -> str:
        if light.revision != revision:
            return "Tracing your change. The picture still shows the tank before it."
        state = "Done" if light.done else "So far"
        least = f"least certain: {known_to(light.worst_name, light.worst_relative)} (simulation error)"
        return f"{state}: {light.result.photons / 1e6:.2g} million photons; {least}"

    # -- what is shown --------------------------------------------------------------------------------------
    def _scale(self) -> list[float] | None:
        top = self._pinned.value
        return [0.0, float(top)] if top and math.isfinite(top) and top > 0 else None

    def _slid(self, percent: float) -> None:
        self._at = percent / 100
        self._show()

    def _cut(self, at: float) -> None:
        """The plane was dragged in the view: the slider follows."""
        self._at = min(max(at, 0.0), 1.0)
        self._where.show(round(100 * self._at))

    def _show(self, _: object = None) -> None:
        kind = self._plane.value
        self._where.set_visibility(kind != "none")
        self._angle.set_visibility(kind == "upright")
        turned = math.radians(self._angle.value or 0.0)
        plane = None if kind == "none" else {"kind": kind, "at": self._at, "angle": turned}
        self.view.show(
            {
                **{key: box.value for key, box in self._shown.items()},
                "contours": float(self._contours.value or 0),
                "scale": self._scale(),
                "plane": plane,
            }
        )
        self._show_ends()

    def _show_ends(self) -> None:
        pinned = self._scale()
        light = self._page.light
        if pinned is None and light is not None:
            pinned = list(light.scale)
        self._high.set_text(f"{pinned[1]:g}" if pinned else "")

    # -- what people do in it -------------------------------------------------------------------------------
    def _dropped(self, x: float, y: float, z: float) -> None:
        page, scene = self._page, self._page.scene
        if scene is None:
            return
        name = next_spot([spot.name for spot in scene.spots])
        at = [page.length_text(x), page.length_text(y)]
        page.edit(
            lambda document: document.add("spot", {"name": name, "at": at, "height": page.length_text(z + 0.005)})
        )

    def _moved(self, item: str, dx: float, dy: float, turn: float) -> None:
        table, _, number = item.partition(":")
        page, scene = self._page, self._page.scene
        if scene is None or table not in MOVABLE or not number.isdigit():
            return
        path = (table, int(number))
        thing = value_at(scene, path)
        if thing is None:
            return

        def moved(point: Sequence[float]) -> list[str]:
            return [page.length_text(at + by) for at, by in zip(point, (dx, dy), strict=True)]

        if turn:
            page.set(*path, "turn", value=f"{math.degrees(thing.turn + turn) % 360:.0f} deg")
        elif isinstance(thing, Fixture):
            page.set(*path, "position", value=moved(scene.fixture_centre_m(thing)[:2]))
        elif not isinstance(thing, Plants) or not thing.outline_keys:
            page.set(*path, "at", value=moved(thing.at))
        elif thing.circle is not None:
            page.set(*path, "circle", "centre", value=moved(thing.circle.centre))
        else:
            key = thing.outline_keys[0]
            page.set(*path, key, value=[moved(point) for point in getattr(thing, key)])
