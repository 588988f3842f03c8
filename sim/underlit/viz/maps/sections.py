"""Light inside the water: upright sections along and across the tank through the light planes, true to scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from underlit.results.result import Result
from underlit.viz.figures import Canvas, Extent, quiet_ticks, show_map
from underlit.viz.overlay import Overlay
from underlit.viz.palette import BAR_TITLE, INK, SOFT_INK, colour_range

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDTH, _MARGIN, _GAP = 8.2, 0.62, 0.75
"""Of the figure, round it and between its panels [in]."""


def draw_sections(result: Result, overlay: Overlay) -> Figure:
    """Sections through the middle of the tank: along, seen from the front, and across, seen from the right."""
    grid = result.compiled.planes
    found = result.planes().value
    assert grid is not None
    level = overlay.water_level or overlay.height
    usable = _WIDTH - 2 * _MARGIN - _GAP - 0.9
    scale = usable / (overlay.length + overlay.depth)
    tall = scale * overlay.height
    canvas = Canvas(_WIDTH, 2 * 0.55 + tall)
    low, high = colour_range(found)
    nz, ny, nx = found.shape
    panels = (
        ("along, through the middle, seen from the front", found[:, ny // 2, :], overlay.length, grid.spacing[0] * nx),
        ("across, seen from the right", found[:, :, nx // 2], overlay.depth, grid.spacing[1] * ny),
    )
    left = _MARGIN
    for name, values, side, span in panels:
        axes = canvas.axes(left, 0.55, scale * side, tall)
        z0 = grid.origin[2] - grid.spacing[2] / 2
        extent = (0.0, span, z0, z0 + grid.spacing[2] * nz)
        image = show_map(axes, values, extent, (low, high))
        _contours(axes, values, extent, high)
        _frame(axes, name, side, overlay.height, level)
        left += scale * side + _GAP
    canvas.bar(image, (left - 0.35, 0.55, 0.14, tall), BAR_TITLE, "max", 8)
    return canvas.figure


def _contours(axes: Axes, values: np.ndarray, extent: Extent, high: float) -> None:
    from scipy.ndimage import gaussian_filter

    smooth = gaussian_filter(np.nan_to_num(values), 1.0)
    smooth[~np.isfinite(values)] = np.nan
    step = next(s for s in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000) if high / s <= 8)
    levels = np.arange(step, high, step)
    if len(levels):
        lines = axes.contour(smooth, levels=levels, origin="lower", extent=extent, colors="white", linewidths=0.7)
        axes.clabel(lines, fontsize=7, fmt="%g")


def _frame(axes: Axes, name: str, side: float, top: float, level: float) -> None:
    axes.set(xlim=(0, side), ylim=(0, top))
    axes.axhline(level, color="#5b93b5", linewidth=1.0)
    axes.set_title(name, fontsize=9, color=INK, loc="left")
    axes.set_xlabel("cm", fontsize=8, color=SOFT_INK)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(lambda metres, _: f"{100 * metres:.0f}")
    quiet_ticks(axes)
