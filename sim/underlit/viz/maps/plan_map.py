"""The plan map: PPFD on the substrate from above, with contours, zones, reading spots and the fixtures' outlines."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.results.estimate import student_factor
from underlit.results.result import Field, Result
from underlit.viz.figures import (
    LEGEND,
    Canvas,
    Extent,
    outlined,
    polygon,
    quiet_ticks,
    show_map,
    ticks_cm,
    without_sides,
    write_png,
)
from underlit.viz.labels import LabelBoard
from underlit.viz.overlay import Footprint, Overlay, Points, hardscape_footprints
from underlit.viz.palette import COVERED, HARDSCAPE_LINE, INK, SCREEN_DPI, SOFT_INK, both_units, colour_range
from underlit.viz.tank3d.pooling import PATCH_M, patch_means
from underlit.viz.tank3d.sloped_panes import ground_outline

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _TOP, _BOTTOM = 0.62, 1.1, 0.57, 0.97
"""Margins round the map [in]."""


def write_plan_map(result: Result, overlay: Overlay, path: str | Path) -> None:
    """Draw the map of the bed and write it as PNG, whole or not at all.

    result: traced or stored, with a bed map. Raises KeyError if the world has none, OSError where it cannot be written.
    """
    write_png(draw_plan_map(result, overlay), path)


def draw_plan_map(result: Result, overlay: Overlay) -> Figure:
    """The map of the bed as a matplotlib figure."""
    figure, key_lines = _draw(result, overlay, 0)
    # Which labels fit is known only once they are placed; those that don't need room below for the key.
    return _draw(result, overlay, key_lines)[0] if key_lines else figure


def _draw(result: Result, overlay: Overlay, key_lines: int) -> tuple[Figure, int]:
    """The figure with room for a key of so many lines, and how many lines the key came to have."""
    found = result.bed()
    grid = result.compiled.bed_map
    assert grid is not None
    footprints = (
        overlay.hardscape if overlay.hardscape is not None else hardscape_footprints(result.compiled.own_meshes)
    )
    (x0, y0, _), (dx, dy, _), (nx, ny, _) = grid.origin, grid.spacing, grid.shape
    extent: Extent = (x0, x0 + nx * dx, y0, y0 + ny * dy)
    values = patch_means(found.value, PATCH_M / dx, PATCH_M / dy)
    size = f"{both_units(overlay.length)} x {both_units(overlay.depth)} inside"
    lines = ["; ".join(t for t in (overlay.note, size) if t), *_notes(found, values, grid.spacing, result)]
    canvas, axes = plan_axes(overlay, key_lines, lines)
    vmin, vmax = colour_range(values)
    image = show_map(axes, values, extent, (vmin, vmax))
    drawn = _contours(axes, values, grid.origin, grid.spacing, vmax)
    ground = ground_outline(result.compiled.own_meshes) or overlay.inside
    _within_panes(axes, overlay, ground, [image] if drawn is None else [image, drawn])
    _footprints(axes, footprints)
    above = bool(np.nanmax(values, initial=0.0) > vmax)
    canvas.bar(image, canvas.beside(axes, 0.22, 0.17), extend="max" if above else "neither")
    board = LabelBoard(axes)
    mark_zones_and_spots(axes, board, overlay)
    mark_fixtures(axes, board, overlay)
    _key(canvas, axes, board, footprints, lit=bool(overlay.fixtures))
    return canvas.figure, len(board.key)


def _notes(found: Field, values: np.ndarray, spacing: Sequence[float], result: Result) -> tuple[str, str]:
    what = f"colours: light on the substrate itself, below the plants; means over {100 * PATCH_M:.0f} cm (a meter head)"
    parts = []
    # A Gaussian of the variance of a box averages over 4 pi sigma_x sigma_y cells.
    cells = max(1.0, 4 * np.pi * PATCH_M**2 / (12 * spacing[0] * spacing[1]))
    relative = found.standard_error / np.where(values > 0, values, np.nan) / np.sqrt(cells)
    if np.isfinite(relative).any():
        factor = student_factor(found.dof)
        parts.append(f"simulation error typically ± {100 * factor * float(np.nanmedian(relative)):.1f} % (95 %)")
    parts.append(f"{result.photons / 1e6:.3g} million photons, seed {result.seed}")
    return what, "; ".join(parts)


# -- parts shared with the layout drawing -----------------------------------------------------------------------
def plan_axes(overlay: Overlay, key_lines: int, lines: Sequence[str]) -> tuple[Canvas, Axes]:
    """Axes over the tank's inside, true to scale, below a title and lines, with room for a key of that many lines."""
    ratio = overlay.depth / overlay.length
    width = min(8.2, 6.2 / ratio)
    height = width * ratio
    total_w = _LEFT + width + _RIGHT
    # About .075 in a character at 8.5 points, and .12 in a character of the title.
    rows = [row for line in lines for row in textwrap.wrap(line, int((total_w - _LEFT) / 0.075)) or [""]]
    title = textwrap.fill(overlay.title or "Light on the substrate", int((total_w - _LEFT) / 0.12))
    below = _BOTTOM + 0.17 * ((key_lines + 1) // 2) + (0.16 if key_lines else 0.0)
    total_h = below + height + _TOP + 0.19 * len(rows) + 0.22 * title.count("\n")
    canvas = Canvas(total_w, total_h)
    axes = canvas.axes(_LEFT, below, width, height)
    style_plan(axes, overlay)
    top = below + height
    for row, line in enumerate(reversed(rows)):
        canvas.text(_LEFT, top + 0.17 + 0.19 * row, line, color=SOFT_INK, va="bottom")
    canvas.text(_LEFT, top + 0.22 + 0.19 * len(rows), title, 13, fontweight="bold", va="bottom")
    return canvas, axes


def style_plan(axes: Axes, overlay: Overlay) -> None:
    """Limits, ticks in cm, the words front and back, and a scale bar in cm and inches."""
    frame(axes, overlay.length, overlay.depth, up="from the front pane, cm")
    axes.annotate(
        "front (viewer)", (0.5, 0), (0, -19), xycoords="axes fraction", textcoords="offset points", ha="center",
        va="top", fontsize=9, color=INK, fontweight="bold", annotation_clip=False,
    )  # fmt: skip
    scale_bar(axes, overlay.length)


def frame(axes: Axes, length: float, depth: float, across: str = "", up: str = "") -> None:
    """The inside of a tank from above, true to scale: limits, ticks in cm, and what they count."""
    axes.set(xlim=(0, length), ylim=(0, depth), aspect="equal")
    ticks_cm(axes.xaxis, length)
    ticks_cm(axes.yaxis, depth)
    quiet_ticks(axes)
    axes.spines[:].set(color=INK, linewidth=1.1)
    axes.set_xlabel(across, fontsize=8, color=SOFT_INK, labelpad=2)
    axes.set_ylabel(up, fontsize=8, color=SOFT_INK)


def scale_bar(axes: Axes, length: float) -> None:
    """A bar of round centimetres over a bar of round inches, below the axes at the left."""
    pairs = ((5, 2), (10, 4), (20, 8), (30, 12), (50, 20))
    cm, inch = max((p for p in pairs if p[0] / 100 <= length / 3.6), default=pairs[0])
    transform = axes.get_xaxis_transform()
    height_px = axes.get_window_extent().height
    for row, (size, text) in enumerate(((cm / 100, f"{cm} cm"), (inch * 0.0254, f"{inch} in"))):
        y = -(46 + 15 * row) * SCREEN_DPI / 72 / height_px * 0.72 - 0.02
        axes.plot([0, size], [y, y], transform=transform, clip_on=False, color=INK, lw=2.2, solid_capstyle="butt")
        axes.annotate(
            text, (size, y), (5, 0), xycoords=transform, textcoords="offset points", va="center", fontsize=8,
            color=SOFT_INK, annotation_clip=False,
        )  # fmt: skip


def mark_zones_and_spots(axes: Axes, board: LabelBoard, overlay: Overlay) -> None:
    """Zone outlines and reading spots with their labels."""
    for outline in (*(z.outline for z in overlay.zones), *(f.outline for f in overlay.fixtures)):
        board.avoid(outline)
    for zone in overlay.zones:
        outlined(axes, zone.outline, 1.2, 2.6, order=8)
    for spot in overlay.spots:
        axes.plot(*spot.at, marker="o", ms=6.5, mfc="white", mec=INK, mew=1.1, zorder=12)
        axes.plot(*spot.at, marker=".", ms=2.5, color=INK, zorder=13)
        board.block(*spot.at, radius_px=9)
    for zone in overlay.zones:
        board.in_area(zone.outline, "\n".join(t for t in (zone.name, zone.text) if t))
    for spot in overlay.spots:
        board.near(*spot.at, "\n".join(t for t in (spot.name, spot.text) if t))


def mark_fixtures(axes: Axes, board: LabelBoard, overlay: Overlay) -> None:
    """Dashed outlines of the fixtures above, named at a corner."""
    for fixture in overlay.fixtures:
        outlined(axes, fixture.outline, 1.1, 2.4, order=6, ls=(0, (6, 3)))
        points = np.asarray(fixture.outline)
        corner = points[np.argmin(points[:, 0] - points[:, 1])]
        board.near(float(corner[0]), float(corner[1]), f"{fixture.name} (above)", passes=(False,))


def _footprints(axes: Axes, footprints: Sequence[Footprint]) -> None:
    for piece in footprints:
        for outline in piece.outlines:
            polygon(axes, outline, fill=False, ec="#f3ede4", lw=2.2, zorder=4)
            polygon(axes, outline, fill=False, ec=HARDSCAPE_LINE, lw=1.1, zorder=5)


def _within_panes(axes: Axes, overlay: Overlay, ground: Points, drawn: Sequence[Artist]) -> None:
    """Nothing is drawn beyond the substrate; the panes are the frame of the map where the tank is no box."""
    from matplotlib.patches import Polygon

    if not overlay.inside:
        return
    polygon(axes, overlay.inside, fill=False, ec=INK, lw=1.1, zorder=10, clip_on=False)
    axes.patch.set_visible(False)
    edge = Polygon(np.asarray(ground), transform=axes.transData)
    for artist in drawn:
        artist.set_clip_path(edge)
    without_sides(axes, "top", "right")
    axes.spines[["left", "bottom"]].set(color=SOFT_INK, linewidth=0.5)


def _contours(
    axes: Axes, values: np.ndarray, origin: Sequence[float], spacing: Sequence[float], vmax: float
) -> Artist | None:
    from matplotlib.contour import ContourSet
    from matplotlib.ticker import MaxNLocator

    ny, nx = values.shape
    if min(nx, ny) < 2 or not np.isfinite(values).any():
        return None
    low, high = np.nanmin(values), np.nanmax(values)
    levels = [v for v in MaxNLocator(nbins=8, steps=[1, 2, 2.5, 5, 10]).tick_values(0, vmax) if low < v < high]
    if not levels:
        return None
    x = origin[0] + spacing[0] * (np.arange(nx) + 0.5)
    y = origin[1] + spacing[1] * (np.arange(ny) + 0.5)
    # Light lines over dim places, dark ones over bright places: both stay legible.
    colours = ["white" if v < 0.6 * vmax else INK for v in levels]
    segments = [_long_lines(x, y, values, level) for level in levels]
    if not any(segments):
        return None
    drawn = ContourSet(axes, levels, segments, colors=colours, linewidths=0.8, zorder=3)
    for text in axes.clabel(drawn, fmt="%g", fontsize=7.5, inline=True, inline_spacing=3) or []:
        text.set_rotation(0)
    return drawn


def _long_lines(x: np.ndarray, y: np.ndarray, values: np.ndarray, level: float) -> list[np.ndarray]:
    """Contour lines of a level, without the small loops that noise draws (shorter than four patches)."""
    from contourpy import contour_generator

    lines = contour_generator(x, y, np.ma.masked_invalid(values)).lines(level)
    paths = [np.asarray(line, dtype=np.float64) for line in lines]
    return [path for path in paths if np.hypot(*np.diff(path, axis=0).T).sum() > 4 * PATCH_M]


def _key(canvas: Canvas, axes: Axes, board: LabelBoard, footprints: Sequence[Footprint], *, lit: bool) -> None:
    """Names for the numbers on the map, in two columns, and what the lines mean."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    place = axes.get_position()
    left, bottom, width = place.x0 * canvas.width, place.y0 * canvas.height, place.width * canvas.width
    for i, line in enumerate(board.key):
        x, y = left + (i % 2) * width / 2, bottom - 0.86 - 0.17 * (i // 2)
        canvas.text(x, y, f"{i + 1}", 8, fontweight="bold")
        canvas.text(x + 0.18, y, line, 8)
    handles: list[Artist] = []
    if lit:
        handles.append(Line2D([], [], color=INK, lw=1.1, ls=(0, (6, 3)), label="fixture, from above"))
    if footprints:
        handles.append(Line2D([], [], color=HARDSCAPE_LINE, lw=1.3, label="wood and stone, from above"))
        handles.append(Patch(fc=COVERED, ec="none", label="covered"))
    style = {**LEGEND, "labelcolor": SOFT_INK, "borderaxespad": 0, "handlelength": 2.2, "columnspacing": 1.4}
    at = (1.0, -0.38 / (place.height * canvas.height))
    axes.legend(handles=handles, loc="upper right", bbox_to_anchor=at, ncols=3, **style)
