"""Labels that do not sit on each other: each goes where it fits, or becomes a number with a line in a key."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.viz.overlay import Points
from underlit.viz.palette import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Box = tuple[float, float, float, float]
_PAD = 3.0


@dataclass
class LabelBoard:
    """Places labels on axes whose size is settled. Boxes are in display pixels."""

    axes: Axes
    size: float = 8.0
    taken: list[Box] = field(default_factory=list)
    key: list[str] = field(default_factory=list)

    def block(self, x: float, y: float, radius_px: float) -> None:
        """Keep labels off a round place (data coordinates)."""
        px, py = self.axes.transData.transform((x, y))
        self.taken.append((px - radius_px, py - radius_px, px + radius_px, py + radius_px))

    def in_area(self, outline: Points, text: str) -> None:
        """Label an area: inside it where the text fits, else a number and a line in the key."""
        area = self._pixels(outline)
        for at in _inner_points(area):
            if self._try(text, at, within=area):
                return
        self.key.append(text.replace("\n", ": "))
        badge = str(len(self.key))
        for at in _inner_points(area):
            if self._try(badge, at, badge=True):
                return
        self._draw(badge, next(iter(_inner_points(area))), badge=True)

    def near(self, x: float, y: float, text: str) -> None:
        """Label a point: beside it where there is room, else a number and a line in the key."""
        px, py = self.axes.transData.transform((x, y))
        width, height = self._extent(text)
        gap = 0.1 * self.axes.figure.dpi
        offsets = [
            (gap + width / 2, 0), (-gap - width / 2, 0), (0, gap + height / 2), (0, -gap - height / 2),
            (gap + width / 2, gap + height / 2), (gap + width / 2, -gap - height / 2),
            (-gap - width / 2, gap + height / 2), (-gap - width / 2, -gap - height / 2),
        ]  # fmt: skip
        for dx, dy in offsets:
            if self._try(text, (px + dx, py + dy)):
                return
        self.key.append(text.replace("\n", ": "))
        badge = str(len(self.key))
        for dx, dy in ((24, 0), (-24, 0), (0, 24), (0, -24), (22, 22), (-22, 22)):
            if self._try(badge, (px + dx, py + dy), badge=True):
                return
        self._draw(badge, (px + 24, py), badge=True)

    # -- insides ----------------------------------------------------------------------------------------------
    def _pixels(self, outline: Points) -> np.ndarray:
        return np.asarray(self.axes.transData.transform(np.asarray(outline)))

    def _style(self, badge: bool) -> dict[str, Any]:
        box = {"boxstyle": "circle,pad=0.25" if badge else "round,pad=0.25", "fc": "white", "ec": "none", "alpha": 0.85}
        return {"fontsize": self.size, "color": INK, "ha": "center", "va": "center", "bbox": box, "zorder": 20,
                "linespacing": 1.15, "fontweight": "bold" if badge else "normal"}  # fmt: skip

    def _extent(self, text: str) -> tuple[float, float]:
        probe = self.axes.text(0, 0, text, **self._style(False))
        found = probe.get_window_extent()
        probe.remove()
        # The box behind the text is wider by its pad on each side.
        pad = 0.5 * self.size * self.axes.figure.dpi / 72
        return found.width + pad, found.height + pad

    def _try(self, text: str, at: Sequence[float], *, within: np.ndarray | None = None, badge: bool = False) -> bool:
        width, height = self._extent(text)
        box = (at[0] - width / 2, at[1] - height / 2, at[0] + width / 2, at[1] + height / 2)
        view = self.axes.get_window_extent()
        if box[0] < view.x0 or box[1] < view.y0 or box[2] > view.x1 or box[3] > view.y1:
            return False
        if any(_overlap(box, other) for other in self.taken):
            return False
        if within is not None and not _covers(within, box):
            return False
        self._draw(text, at, badge=badge)
        return True

    def _draw(self, text: str, at: Sequence[float], *, badge: bool) -> None:
        width, height = self._extent(text)
        self.taken.append((at[0] - width / 2, at[1] - height / 2, at[0] + width / 2, at[1] + height / 2))
        x, y = self.axes.transData.inverted().transform(at)
        self.axes.text(x, y, text, **self._style(badge))


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] + _PAD and b[0] < a[2] + _PAD and a[1] < b[3] + _PAD and b[1] < a[3] + _PAD


def _covers(area: np.ndarray, box: Box) -> bool:
    import shapely

    shape = shapely.make_valid(shapely.Polygon(area))
    return bool(shape.contains(shapely.box(*box)))


def _inner_points(area: np.ndarray) -> Iterable[tuple[float, float]]:
    """Points inside an area, its roomiest first."""
    import shapely

    shape = shapely.make_valid(shapely.Polygon(area))
    centre = shape.centroid if shape.contains(shape.centroid) else shape.representative_point()
    yield centre.x, centre.y
    x0, y0, x1, y1 = shape.bounds
    spots = [(x, y) for x in np.linspace(x0, x1, 15)[1:-1] for y in np.linspace(y0, y1, 15)[1:-1]]
    inside = [p for p in spots if shape.contains(shapely.Point(p))]
    yield from sorted(inside, key=lambda p: (p[0] - centre.x) ** 2 + (p[1] - centre.y) ** 2)
