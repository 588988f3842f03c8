"""The tank in 3D as an element of the page; what it draws it fetches itself (`app/blobs.py`)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import nicegui
from nicegui.element import Element

from underlit.app.blobs import page_key
from underlit.app.light import Light
from underlit.app.session import Side
from underlit.lowering.records import Source

_THREE = Path(nicegui.__file__).parent / "elements" / "scene" / "dist"
"""three.js as NiceGUI brings it."""


class TankView(Element, component="tank_view.js", esm={"nicegui-scene": str(_THREE)}):
    """Shows a variant's shapes and light; tells of spots dropped and things moved.

    on_spot: called with (x, y, z) [m]; on_moved: with the item's key, (dx, dy) [m] and a turn [rad];
    on_cut: with where a light plane was dragged to, as a share of the way.
    """

    def __init__(
        self,
        *,
        on_spot: Callable[[float, float, float], None] = lambda x, y, z: None,
        on_moved: Callable[[str, float, float, float], None] = lambda item, dx, dy, turn: None,
        on_cut: Callable[[float], None] = lambda at: None,
    ) -> None:
        super().__init__()
        self._drawn: tuple[object, object] = (None, None)
        self.on("spot", lambda e: on_spot(*(float(v) for v in e.args)))
        self.on("cut", lambda e: on_cut(float(e.args)))
        self.on("moved", lambda e: on_moved(str(e.args[0]), *(float(v) for v in e.args[1:4])))

    def draw(self, side: Side, light: Light, units: str, *, dimmed: bool = False) -> None:
        """Have the page fetch what is new of a variant's shapes and light. dimmed: light dimmed otherwise is new too."""
        levels = light.lowered.dimming
        shape = (side, light.revision, units)
        picture = (shape, light.result.photons, tuple(levels.items()) if dimmed else ())
        was, self._drawn = self._drawn, (shape, picture)
        if shape != was[0]:
            self.run_method("shape", f"/session/{side}/shape/{light.revision}", units)
        if picture != was[1]:
            self.run_method("light", f"/session/{side}/light/{light.revision}-{light.result.photons}", _as_keys(levels))

    def dim(self, shares: dict[Source, float] | None) -> None:
        """Change the levels only: redrawn from what is there, and a hand on a dimmer no longer holds.

        shares: level of each source; None leaves what was said last.
        """
        self.run_method("dim", None if shares is None else _as_keys(shares))

    def dimmers(self, at_full: dict[str, dict[Source, float]]) -> None:
        """By dimmer: the level of each source it dims, with it at full; `slide` then answers in the page itself."""
        self.run_method("dimmers", {dimmer: _as_keys(levels) for dimmer, levels in at_full.items()})

    def show(self, options: dict[str, object]) -> None:
        """What is shown: lid, glass, water, plants (bool); contours [umol/m2/s, 0 for none]; scale [low, high] or None;
        plane: None, or {kind: level | upright, at: share of the way, angle: of an upright one about the vertical [rad]}.
        """
        self.run_method("show", options)


def _as_keys(shares: dict[Source, float]) -> dict[str, float]:
    return {page_key(source): share for source, share in shares.items()}
