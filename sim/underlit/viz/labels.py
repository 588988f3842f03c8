"""Labels that do not sit on each other: each goes where it fits, or becomes a number with a line in a key."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.viz.overlay import Points
from underlit.viz.palette import INK

if TYPE_CHECKING:
    import shapely
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
    lines: list[shapely.LinearRing] = field(default_factory=list)
    _sizes: dict[str, tuple[float, float]] = field(default_factory=dict)

    def avoid(self, outline: Points) -> None:
        """Keep labels off a closed line where that can be (data coordinates)."""
        import shapely

        self.lines.append(shapely.LinearRing(self._pixels(outline)))

    def block(self, x: float, y: float, radius_px: float) -> None:
        """Keep labels off a round place (data coordinates)."""
        px, py = self.axes.transData.transform((x, y))
        self.taken.append((px - radius_px, py - radius_px, px + radius_px, py + radius_px))

    def in_area(self, outline: Points, text: str) -> None:
        """Label an area: inside it where the text fits, else a number and a line in the key.

        A label in a smaller area inside this one would be read as that one's, so room outside of those comes first.
        """
        import shapely

        area = shapely.make_valid(shapely.Polygon(self._pixels(outline)))
        rings = [shapely.make_valid(shapely.Polygon(ring)) for ring in self.lines]
        smaller = [s for s in rings if s.area < 0.95 * area.area and s.intersection(area).area > 0.9 * s.area]
        own = shapely.difference(area, shapely.union_all(smaller)) if smaller else area
        points, own_points = _inner_points(area), _inner_points(own)
        badge = str(len(self.key) + 1)
        ways = [(text, own_points, own, True), (text, own_points, own, False)]
        if smaller:
            ways += [(badge, own_points, own, True), (text, points, area, True), (text, points, area, False)]
        ways += [(badge, points, None, False)]
        for words, places, within, calm in ways:
            for at in places:
                if self._try(words, at, within=within, badge=words == badge, calm=calm):
                    if words == badge:
                        self.key.append(text.replace("\n", ": "))
                    return
        self.key.append(text.replace("\n", ": "))
        self._draw(badge, points[0], badge=True)

    def near(self, x: float, y: float, text: str, passes: Sequence[bool] = (True, False)) -> None:
        """Label a point: beside it where there is room, else a number and a line in the key.

        passes: whether to keep off lines, one try after the other.
        """
        px, py = self.axes.transData.transform((x, y))
        width, height = self._extent(text)
        gap = 0.1 * self.axes.figure.dpi
        offsets = [
            (gap + width / 2, 0), (-gap - width / 2, 0), (0, gap + height / 2), (0, -gap - height / 2),
            (gap + width / 2, gap + height / 2), (gap + width / 2, -gap - height / 2),
            (-gap - width / 2, gap + height / 2), (-gap - width / 2, -gap - height / 2),
        ]  # fmt: skip
        for calm in passes:
            for dx, dy in offsets:
                if self._try(text, (px + dx, py + dy), calm=calm):
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
        box = {"boxstyle": "circle,pad=0.25" if badge else "round,pad=0.25", "fc": "white", "ec": "none", "alpha": 0.9}
        return {"fontsize": self.size, "color": INK, "ha": "center", "va": "center", "bbox": box, "zorder": 20,
                "linespacing": 1.15, "fontweight": "bold" if badge else "normal"}  # fmt: skip

    def _extent(self, text: str) -> tuple[float, float]:
        if text in self._sizes:
            return self._sizes[text]
        probe = self.axes.text(0, 0, text, **self._style(False))
        found = probe.get_window_extent()
        probe.remove()
        # The box behind the text is wider by its pad on each side.
        pad = 0.5 * self.size * self.axes.figure.dpi / 72
        self._sizes[text] = (found.width + pad, found.height + pad)
        return self._sizes[text]

    def _try(
        self,
        text: str,
        at: Sequence[float],
        *,
        within: shapely.Geometry | None = None,
        badge: bool = False,
        calm: bool = False,
    ) -> bool:
        import shapely

        width, height = self._extent(text)
        box = (at[0] - width / 2, at[1] - height / 2, at[0] + width / 2, at[1] + height / 2)
        view = self.axes.get_window_extent()
        if box[0] < view.x0 or box[1] < view.y0 or box[2] > view.x1 or box[3] > view.y1:
            return False
        if any(_overlap(box, other) for other in self.taken):
            return False
        if within is not None and not within.contains(shapely.box(*box)):
            return False
        if calm and any(line.intersects(shapely.box(*box)) for line in self.lines):
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


def _inner_points(shape: shapely.Geometry) -> list[tuple[float, float]]:
    """Points inside a shapely area, nearest its middle first."""
    import shapely

    if shape.is_empty:
        return []
    centre = shape.centroid if shape.contains(shape.centroid) else shape.representative_point()
    x0, y0, x1, y1 = shape.bounds
    spots = [(x, y) for x in np.linspace(x0, x1, 25)[1:-1] for y in np.linspace(y0, y1, 15)[1:-1]]
    inside = [p for p in spots if shape.contains(shapely.Point(p))]
    return [(centre.x, centre.y), *sorted(inside, key=lambda p: (p[0] - centre.x) ** 2 + (p[1] - centre.y) ** 2)]
