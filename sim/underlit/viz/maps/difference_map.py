"""Plan maps of several results side by side on one scale, and under them how each differs from the first."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.results.estimate import student_factor
from underlit.results.result import Field, Result
from underlit.viz.figures import LEGEND, Canvas, Extent, beside_corner, outlined, show_map
from underlit.viz.maps.diverging import diverging_map
from underlit.viz.maps.plan_map import frame
from underlit.viz.overlay import Points
from underlit.viz.palette import BAR_TITLE, INK, SCREEN_DPI, SOFT_INK, colour_range, nice_ceiling
from underlit.viz.tank3d.pooling import PATCH_M, patch_means

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HATCH = "////"
_WIDEST, _TALLEST = 4.6, 3.2
_LEFT, _RIGHT, _GAP, _TOP, _BOTTOM, _BETWEEN = 0.62, 0.95, 0.5, 0.9, 0.6, 0.95
"""Sizes and margins [in]."""


@dataclass(frozen=True)
class Panel:
    """One result to draw. difference: PPFD minus that of the first panel, smoothed as the maps are; None without one.

    words: why there is no difference to draw, or what to say under the name; outlines: zones on the plan.
    """

    name: str
    result: Result
    difference: Field | None
    words: str = ""
    outlines: tuple[Points, ...] = ()


def smoothed(values: np.ndarray, spacing: Sequence[float]) -> np.ndarray:
    """A map as the pictures show it: means over patches as large as a meter head."""
    return patch_means(values, PATCH_M / spacing[0], PATCH_M / spacing[1])


def within_error(difference: Field) -> np.ndarray:
    """Where a difference lies within its simulation error (95 %), (ny, nx) bool; False where there is no value."""
    width = student_factor(difference.dof) * difference.standard_error
    return np.asarray(np.isfinite(difference.value) & ~(np.abs(difference.value) > width))


def draw_difference_maps(panels: Sequence[Panel], title: str = "") -> Figure:
    """Maps in a row and, under each but the first, its difference from the first. Results need a map of the bed."""
    maps = [smoothed(p.result.bed().value, _grid(p).spacing) for p in panels]
    extents = [_extent(p) for p in panels]
    length, depth = max(e[1] for e in extents), max(e[3] for e in extents)
    width = min(_WIDEST, _TALLEST * length / depth)
    height = width * depth / length
    canvas = Canvas(
        _LEFT + len(panels) * width + (len(panels) - 1) * _GAP + _RIGHT, _TOP + 2 * height + _BETWEEN + _BOTTOM
    )
    canvas.title(_LEFT, title, down=0.3)

    def axes_at(column: int, row: int) -> Axes:
        x, y = _LEFT + column * (width + _GAP), _BOTTOM + (1 - row) * (height + _BETWEEN)
        axes = canvas.axes(x, y, width, height)
        frame(axes, length, depth, across="from the left, cm", up="from the front pane, cm" if column == 0 else "")
        return axes

    limits = colour_range(np.concatenate([m.ravel() for m in maps]))
    top = [axes_at(column, 0) for column in range(len(panels))]
    for axes, panel, values, extent in zip(top, panels, maps, extents, strict=True):
        image = show_map(axes, values, extent, limits)
        _heading(axes, panel.name, panel.words if panel.difference is None else "")
        _outlines(axes, panel.outlines)
    above = max(float(np.nanmax(m, initial=0.0)) for m in maps) > limits[1]
    canvas.bar(image, canvas.beside(top[-1], 0.14, 0.14), BAR_TITLE, "max" if above else "neither", 8.5)
    _differences(canvas, panels, extents, axes_at)
    _key(canvas, height)
    return canvas.figure


def _differences(
    canvas: Canvas, panels: Sequence[Panel], extents: Sequence[Extent], axes_at: Callable[[int, int], Axes]
) -> None:
    shown = [(k, p.difference) for k, p in enumerate(panels) if p.difference is not None]
    if not shown:
        return
    largest = np.concatenate([np.abs(d.value[np.isfinite(d.value)]) for _, d in shown])
    limit = nice_ceiling(float(np.percentile(largest, 99.0))) if largest.size and largest.max() > 0 else 1.0
    beyond = bool(largest.size and largest.max() > limit)
    for k, found in shown:
        axes = axes_at(k, 1)
        image = show_map(axes, found.value, extents[k], (-limit, limit), diverging_map())
        _hatch(axes, within_error(found), extents[k])
        _heading(axes, f"{panels[k].name} minus {panels[0].name}", panels[k].words)
        _outlines(axes, panels[k].outlines)
        if k == shown[-1][0]:
            place = canvas.beside(axes, 0.14, 0.14)
            canvas.bar(image, place, "difference, µmol/m²/s", "both" if beyond else "neither", 8.5)


def _hatch(axes: Axes, mask: np.ndarray, extent: Extent) -> None:
    if not mask.any():
        return
    ny, nx = mask.shape
    x0, x1, y0, y1 = extent
    x = x0 + (x1 - x0) * (np.arange(nx) + 0.5) / nx
    y = y0 + (y1 - y0) * (np.arange(ny) + 0.5) / ny
    # Held at the edges, so that the hatch reaches the panes.
    padded = np.pad(mask.astype(float), 1, mode="edge")
    xs, ys = np.concatenate([[x0], x, [x1]]), np.concatenate([[y0], y, [y1]])
    drawn = axes.contourf(xs, ys, padded, levels=[0.5, 1.5], colors="none", hatches=[HATCH])
    drawn.set(edgecolor=SOFT_INK, linewidth=0.0)


def _grid(panel: Panel) -> Grid:
    grid = panel.result.compiled.bed_map
    if grid is None:
        raise KeyError(f"{panel.name}: this world has no map of the bed")
    return grid


def _extent(panel: Panel) -> Extent:
    grid = _grid(panel)
    (x0, y0, _), (dx, dy, _), (nx, ny, _) = grid.origin, grid.spacing, grid.shape
    return x0, x0 + nx * dx, y0, y0 + ny * dy


def _heading(axes: Axes, name: str, words: str) -> None:
    wide = int(axes.get_window_extent().width / SCREEN_DPI / 0.085)
    axes.set_title(
        textwrap.shorten(name, wide, placeholder=" ..."), fontsize=9.5, color=INK, loc="left", pad=16 if words else 5
    )
    if words:
        beside_corner(axes, textwrap.shorten(words, int(wide * 1.2), placeholder=" ..."))


def _outlines(axes: Axes, outlines: Sequence[Points]) -> None:
    for outline in outlines:
        outlined(axes, outline)


def _key(canvas: Canvas, height: float) -> None:
    """Under the first map, where no difference is: how to read the others."""
    from matplotlib.patches import Patch

    lines = (
        f"On the substrate, means over {100 * PATCH_M:.0f} cm (a meter head).",
        "Front pane below. Outlines: zones.",
    )
    top = _BOTTOM + height
    for row, line in enumerate(lines):
        canvas.text(_LEFT, top - 0.1 - 0.19 * row, line, color=SOFT_INK)
    handles = [
        Patch(facecolor=diverging_map()(255), label="brighter than the first"),
        Patch(facecolor=diverging_map()(0), label="dimmer than the first"),
        Patch(facecolor="none", edgecolor=SOFT_INK, hatch=HATCH, label="within the simulation error (95 %)"),
    ]
    at = ((_LEFT - 0.05) / canvas.width, (top - 0.5) / canvas.height)
    style = {**LEGEND, "fontsize": 8.5, "handlelength": 2.4, "handleheight": 1.2}
    canvas.figure.legend(handles=handles, loc="upper left", bbox_to_anchor=at, **style)
