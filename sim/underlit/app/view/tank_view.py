"""The tank in 3D as an element of the page; what it draws it fetches itself (`app/blobs.py`)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import nicegui
from nicegui.element import Element

_THREE = Path(nicegui.__file__).parent / "elements" / "scene" / "dist"
"""three.js as NiceGUI brings it."""


class TankView(Element, component="tank_view.js", esm={"nicegui-scene": str(_THREE)}):
    """Shows shapes and light by their addresses; tells of spots dropped and things moved.

    on_spot: called with (x, y, z) [m]; on_moved: with the item's key, (dx, dy) [m] and a turn [rad];
    on_cut: with where a light plane was dragged to, as a share of the way.
    """

    def __init__(
        self,
        *,
        on_spot: Callable[[float, float, float], None],
        on_moved: Callable[[str, float, float, float], None],
        on_cut: Callable[[float], None] = lambda at: None,
    ) -> None:
        super().__init__()
        self.on("spot", lambda e: on_spot(*(float(v) for v in e.args)))
        self.on("cut", lambda e: on_cut(float(e.args)))
        self.on("moved", lambda e: on_moved(str(e.args[0]), *(float(v) for v in e.args[1:4])))

    def shape(self, address: str, units: str) -> None:
        """Fetch and draw the tank's shapes."""
        self.run_method("shape", address, units)

    def light(self, address: str, shares: dict[str, float]) -> None:
        """Fetch and draw light; shares: level of each source."""
        self.run_method("light", address, shares)

    def dim(self, shares: dict[str, float] | None) -> None:
        """Change the levels only: redrawn from what is there, and a hand on a dimmer no longer holds.

        shares: level of each source; None leaves what was said last.
        """
        self.run_method("dim", shares)

    def dimmers(self, at_full: dict[str, dict[str, float]]) -> None:
        """By dimmer: the level of each source it dims, with it at full; `slide` then answers in the page itself."""
        self.run_method("dimmers", at_full)

    def show(self, options: dict[str, Any]) -> None:
        """What is shown: lid, glass, water, plants (bool); contours [umol/m2/s, 0 for none]; scale [low, high] or None;
        plane: None, or {kind: level | upright, at: share of the way, angle: of an upright one about the vertical [rad]}.
        """
        self.run_method("show", options)
