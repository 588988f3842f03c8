"""The picture of a plant map: a plan of the bed for each plant, three classes that read without colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from underlit.planning.plant_map import Fit, PlantMap, PlantPlace
from underlit.viz.figures import LEGEND, Canvas, polygon
from underlit.viz.overlay import hardscape_footprints
from underlit.viz.palette import COVERED, HARDSCAPE_LINE, INK, PAPER, SOFT_INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_PANELS = 12
_FILL = {Fit.COVERED: COVERED, Fit.TOO_DIM: "#3b3f58", Fit.RIGHT: "#ffffff", Fit.MORE: "#e3c565"}
_HATCH = {Fit.COVERED: "", Fit.TOO_DIM: "", Fit.RIGHT: "", Fit.MORE: "////"}
_WORDS = {Fit.TOO_DIM: "too dim", Fit.RIGHT: "right", Fit.MORE: "more than it needs", Fit.COVERED: "covered or outside"}
_WIDTH, _GAP, _TOP, _BOTTOM, _LEFT = 3.5, 0.42, 0.3, 0.75, 0.3
"""Sizes [in]."""
_MOST_FIGURES = 9
"""Figures along a panel: more would touch."""


def draw_plant_panels(found: PlantMap, places: Sequence[PlantPlace]) -> Figure:
    """The panels as a matplotlib figure: the bed from above, front at the bottom, with PPFD where it is asked for."""
    from matplotlib.patches import Patch

    length, depth, _ = found.traced.lowered.scene.tank.inside_m
    columns = 1 if len(places) == 1 else 2
    rows = -(-len(places) // columns)
    height = _WIDTH * depth / length
    canvas = Canvas(_LEFT + columns * (_WIDTH + 0.3), _TOP + rows * (height + _GAP) + _BOTTOM)
    for i, place in enumerate(places):
        x = _LEFT + (i % columns) * (_WIDTH + 0.3)
        y = canvas.height - _TOP - (i // columns + 1) * (height + _GAP) + 0.1
        _panel(canvas.axes(x, y, _WIDTH, height), found, place, length, depth)
    canvas.title(_LEFT, "Where each plant can grow", down=0.2)
    shown = [fit for fit in (Fit.TOO_DIM, Fit.RIGHT, Fit.MORE, Fit.COVERED)
             if fit != Fit.COVERED or any((place.fit == Fit.COVERED).any() for place in places)]  # fmt: skip
    handles = [Patch(fc=_FILL[f], ec=INK, lw=0.6, hatch=_HATCH[f], label=_WORDS[f]) for f in shown]
    style = {**LEGEND, "fontsize": 8.5, "handlelength": 2.4, "handleheight": 1.5}
    canvas.figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(_LEFT / canvas.width, 0.02), ncols=4, **style
    )
    said = "from above, front pane below; numbers: PAR (PPFD) at the tops of the plants, µmol/m²/s"
    canvas.text(_LEFT, 0.5, said, 8, color=SOFT_INK, va="baseline")
    return canvas.figure


def _panel(axes: Axes, found: PlantMap, place: PlantPlace, length: float, depth: float) -> None:
    from matplotlib.patches import Rectangle

    rows, columns = place.fit.shape
    wide, high = length / columns, depth / rows
    for r in range(rows):
        for c in range(columns):
            fit = Fit(int(place.fit[r, c]))
            axes.add_patch(Rectangle((c * wide, r * high), wide, high, fc=_FILL[fit], ec="none", lw=0))
            if _HATCH.get(fit):
                axes.add_patch(
                    Rectangle((c * wide, r * high), wide, high, fc="none", ec="#6b5a1e", hatch=_HATCH[fit], lw=0)
                )
    _edges(axes, place.fit, wide, high)
    for footprint in hardscape_footprints(found.traced.result.compiled.meshes):
        for outline in footprint.outlines:
            polygon(axes, outline, fc="none", ec=HARDSCAPE_LINE, lw=1.2)
    _figures(axes, place, wide, high)
    axes.set(xlim=(0, length), ylim=(0, depth), aspect="equal", xticks=(), yticks=())
    band = place.wish.band
    tops = "at the surface" if place.reaches_surface else f"tops at {100 * place.wish.height_m:.0f} cm"
    name = f"{place.wish.name}: {band.low:g}-{band.high:g}, {tops}"
    axes.set_title(f"{name}; right on {100 * place.share(Fit.RIGHT):.0f} %", fontsize=8.5, color=INK, loc="left", pad=4)


def _edges(axes: Axes, fit: np.ndarray, wide: float, high: float) -> None:
    """Lines between classes."""
    rows, columns = fit.shape
    for r in range(rows):
        for c in range(columns):
            if c + 1 < columns and fit[r, c] != fit[r, c + 1]:
                axes.plot([(c + 1) * wide] * 2, [r * high, (r + 1) * high], color=INK, lw=0.8)
            if r + 1 < rows and fit[r, c] != fit[r + 1, c]:
                axes.plot([c * wide, (c + 1) * wide], [(r + 1) * high] * 2, color=INK, lw=0.8)


def _figures(axes: Axes, place: PlantPlace, wide: float, high: float) -> None:
    rows, columns = place.ppfd.shape
    step = max(1, -(-columns // _MOST_FIGURES))
    box = {"boxstyle": "square,pad=0.1", "fc": PAPER, "ec": "none", "alpha": 0.85}
    for r in range(step // 2, rows, step):
        for c in range(step // 2, columns, step):
            value = place.ppfd[r, c]
            if np.isfinite(value):
                at = ((c + 0.5) * wide, (r + 0.5) * high)
                axes.text(*at, f"{value:.0f}", fontsize=5.5, color=INK, ha="center", va="center", bbox=box)
