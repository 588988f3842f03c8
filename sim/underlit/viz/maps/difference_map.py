"""Plan maps of several results side by side on one scale, and under them how each differs from the first."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.results.atomic import atomic_path
from underlit.results.estimate import student_factor
from underlit.results.result import Field, Result
from underlit.viz.maps.diverging import diverging_map
from underlit.viz.maps.plan_map import closed, new_figure, ticks
from underlit.viz.overlay import Points
from underlit.viz.palette import BAR_TITLE, INK, PAPER, SCREEN_DPI, SOFT_INK, colour_map, colour_range, nice_ceiling
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
    """Where a difference lies within its counting error (95 %), (ny, nx) bool; False where there is no value."""
    width = student_factor(difference.dof) * difference.standard_error
    return np.isfinite(difference.value) & ~(np.abs(difference.value) > width)


def write_difference_maps(panels: Sequence[Panel], path: str | Path, title: str = "") -> None:
    """Draw and write as PNG, whole or not at all. Raises OSError where it cannot be written."""
    figure = draw_difference_maps(panels, title)
    with atomic_path(path) as temporary:
        figure.savefig(temporary, dpi=SCREEN_DPI, facecolor=PAPER, format="png")


def draw_difference_maps(panels: Sequence[Panel], title: str = "") -> Figure:
    """Maps in a row and, under each but the first, its difference from the first. Results need a map of the bed."""
    maps = [smoothed(p.result.bed().value, _grid(p).spacing) for p in panels]
    extents = [_extent(p) for p in panels]
    length, depth = max(e[1] for e in extents), max(e[3] for e in extents)
    width = min(_WIDEST, _TALLEST * length / depth)
    height = width * depth / length
    total = (
        _LEFT + len(panels) * width + (len(panels) - 1) * _GAP + _RIGHT,
        _TOP + 2 * height + _BETWEEN + _BOTTOM,
    )
    figure = new_figure(*total)
    figure.text(_LEFT / total[0], 1 - 0.3 / total[1], title, fontsize=13, color=INK, fontweight="bold", va="center")

    def axes_at(column: int, row: int) -> Axes:
        x, y = _LEFT + column * (width + _GAP), _BOTTOM + (1 - row) * (height + _BETWEEN)
        axes = figure.add_axes((x / total[0], y / total[1], width / total[0], height / total[1]))
        _style(axes, length, depth, first=column == 0)
        return axes

    vmin, vmax = colour_range(np.concatenate([m.ravel() for m in maps]))
    top = [axes_at(column, 0) for column in range(len(panels))]
    for axes, panel, values, extent in zip(top, panels, maps, extents, strict=True):
        image = axes.imshow(
            np.ma.masked_invalid(values), origin="lower", extent=extent, cmap=colour_map(), vmin=vmin, vmax=vmax
        )
        _heading(axes, panel.name, panel.words if panel.difference is None else "")
        _outlines(axes, panel.outlines)
    above = max(float(np.nanmax(m, initial=0.0)) for m in maps) > vmax
    _bar(figure, top[-1], image, BAR_TITLE, "max" if above else "neither")
    _differences(figure, panels, extents, axes_at)
    _key(figure, total, height)
    return figure


def _differences(figure: Figure, panels: Sequence[Panel], extents: Sequence[Any], axes_at: Any) -> None:
    shown = [(k, p.difference) for k, p in enumerate(panels) if p.difference is not None]
    if not shown:
        return
    largest = np.concatenate([np.abs(d.value[np.isfinite(d.value)]) for _, d in shown])
    limit = nice_ceiling(float(np.percentile(largest, 99.0))) if largest.size and largest.max() > 0 else 1.0
    beyond = bool(largest.size and largest.max() > limit)
    for k, found in shown:
        axes = axes_at(k, 1)
        image = axes.imshow(
            np.ma.masked_invalid(found.value), origin="lower", extent=extents[k], cmap=diverging_map(), vmin=-limit,
            vmax=limit,
        )  # fmt: skip
        _hatch(axes, within_error(found), extents[k])
        _heading(axes, f"{panels[k].name} minus {panels[0].name}", panels[k].words)
        _outlines(axes, panels[k].outlines)
        if k == shown[-1][0]:
            _bar(figure, axes, image, "difference, µmol/m²/s", "both" if beyond else "neither")


def _hatch(axes: Axes, mask: np.ndarray, extent: Sequence[float]) -> None:
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


def _grid(panel: Panel) -> Any:
    grid = panel.result.compiled.bed_map
    if grid is None:
        raise KeyError(f"{panel.name}: this world has no map of the bed")
    return grid


def _extent(panel: Panel) -> tuple[float, float, float, float]:
    grid = _grid(panel)
    (x0, y0, _), (dx, dy, _), (nx, ny, _) = grid.origin, grid.spacing, grid.shape
    return x0, x0 + nx * dx, y0, y0 + ny * dy


def _style(axes: Axes, length: float, depth: float, *, first: bool) -> None:
    axes.set_xlim(0, length)
    axes.set_ylim(0, depth)
    axes.set_aspect("equal")
    ticks(axes, length, depth)
    for spine in axes.spines.values():
        spine.set(color=INK, linewidth=1.0)
    if first:
        axes.set_ylabel("from the front pane, cm", fontsize=8, color=SOFT_INK)
    axes.set_xlabel("from the left, cm", fontsize=8, color=SOFT_INK, labelpad=2)


def _heading(axes: Axes, name: str, words: str) -> None:
    wide = int(axes.get_window_extent().width / SCREEN_DPI / 0.085)
    axes.set_title(
        textwrap.shorten(name, wide, placeholder=" ..."), fontsize=9.5, color=INK, loc="left", pad=16 if words else 5
    )
    if words:
        axes.annotate(
            textwrap.shorten(words, int(wide * 1.2), placeholder=" ..."), (0, 1), (0, 5), xycoords="axes fraction",
            textcoords="offset points", fontsize=8, color=SOFT_INK,
        )  # fmt: skip


def _outlines(axes: Axes, outlines: Sequence[Points]) -> None:
    for outline in outlines:
        line = closed(outline)
        axes.plot(*line.T, color="white", lw=1.8)
        axes.plot(*line.T, color=INK, lw=0.8)


def _bar(figure: Figure, axes: Axes, image: Any, label: str, extend: str) -> None:
    place, width = axes.get_position(), figure.get_figwidth()
    bar_axes = figure.add_axes((place.x1 + 0.14 / width, place.y0, 0.14 / width, place.height))
    bar = figure.colorbar(image, cax=bar_axes, extend=extend, extendfrac=0.03)
    bar.set_label(label, fontsize=8.5, color=INK, labelpad=5)
    bar.ax.tick_params(labelsize=8, colors=SOFT_INK, length=3)
    bar.outline.set_linewidth(0.6)  # type: ignore[operator]


def _key(figure: Figure, total: tuple[float, float], height: float) -> None:
    """Under the first map, where no difference is: how to read the others."""
    from matplotlib.patches import Patch

    lines = (
        f"On the substrate, means over {100 * PATCH_M:.0f} cm (a meter head).",
        "Front pane below. Outlines: zones.",
    )
    x = _LEFT / total[0]
    for row, line in enumerate(lines):
        y = (_BOTTOM + height - 0.1 - 0.19 * row) / total[1]
        figure.text(x, y, line, fontsize=8.5, color=SOFT_INK, va="top")
    handles = [
        Patch(facecolor=diverging_map()(255), label="brighter than the first"),
        Patch(facecolor=diverging_map()(0), label="dimmer than the first"),
        Patch(facecolor="none", edgecolor=SOFT_INK, hatch=HATCH, label="within the counting error (95 %)"),
    ]
    figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(x - 0.05 / total[0], (_BOTTOM + height - 0.5) / total[1]),
        fontsize=8.5, frameon=False, labelcolor=INK, handlelength=2.4, handleheight=1.2,
    )  # fmt: skip
