"""The picture of light that no plant uses: the bed from above and each pane flat, warm where they are above the threshold."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.aquascape.bed import bare_bottom
from underlit.lowering.scene import Lowered
from underlit.planning.algae import BOTTOM, Algae
from underlit.planning.panes import PaneMap
from underlit.viz.figures import LEGEND, Canvas, polygon, quiet_ticks, ticks_cm
from underlit.viz.overlay import hardscape_footprints
from underlit.viz.palette import COVERED, HARDSCAPE_LINE, INK, PAPER, SOFT_INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

_BELOW, _ABOVE = ("#33475c", "#dfe6e6"), ("#f4c85d", "#8e1b12")
"""Cool and ever paler up to the threshold, warm and ever darker above it."""
_PLANTED = "#7fa574"
_HIGHEST = 2.0
"""Times the threshold at which the colours end."""
_WIDTH, _LEFT, _GAP, _ROW_GAP, _TOP, _BOTTOM, _BAR = 8.4, 0.45, 0.4, 0.62, 0.95, 0.25, 0.9
"""Sizes [in]."""
_STEPS = 128
_SEEN = {"front": ("left", "right"), "back": ("left", "right"), "left": ("front", "back"), "right": ("front", "back")}


def colours() -> Colormap:
    """From dark blue through pale to the threshold in the middle, then from yellow to dark red; clear without a value."""
    from matplotlib.colors import LinearSegmentedColormap, ListedColormap

    halves = [LinearSegmentedColormap.from_list("", ends)(np.linspace(0, 1, _STEPS)) for ends in (_BELOW, _ABOVE)]
    return ListedColormap(np.concatenate(halves)).with_extremes(bad=(0, 0, 0, 0))


def draw_algae(lowered: Lowered, found: Algae, note: str) -> Figure:
    """The bed and the panes of a tank as a matplotlib figure, all to one scale."""
    length, depth, _ = lowered.scene.tank.inside_m
    panes = {pane.side: pane for pane in found.panes}
    rows = [[panes[side] for side in pair if side in panes] for pair in (("front", "left"), ("back", "right"))]
    rows = [row for row in rows if row]
    widths = [length, *(sum(pane.length_m for pane in row) for row in rows)]
    scale = min((_WIDTH - _LEFT - _BAR - _GAP) / max(widths), 6.0 / length)
    heights = [depth, *(max(pane.top_m for pane in row) for row in rows)]
    lines = textwrap.wrap(note, 125)
    top = _TOP + 0.16 * len(lines)
    canvas = Canvas(_WIDTH, top + sum(scale * h + _ROW_GAP for h in heights) + _BOTTOM)
    y = canvas.height - top - scale * depth
    bed = canvas.axes(_LEFT, y, scale * length, scale * depth)
    _draw_bed(bed, lowered, found)
    _bar(canvas, (_WIDTH - _BAR, y, 0.16, scale * depth), found)
    for row in rows:
        y -= _ROW_GAP + scale * max(pane.top_m for pane in row)
        x = _LEFT
        for pane in row:
            _draw_pane(canvas.axes(x, y, scale * pane.length_m, scale * pane.top_m), pane, found.threshold)
            x += scale * pane.length_m + _GAP
    canvas.title(_LEFT, "Light that no plant uses", down=0.3)
    for k, line in enumerate(lines):
        canvas.text(_LEFT, canvas.height - 0.52 - 0.16 * k, line, 8, color=SOFT_INK)
    _legend(canvas, has_panes=bool(found.panes), planted=bool(found.planted.any()))
    return canvas.figure


def _draw_bed(axes: Axes, lowered: Lowered, found: Algae) -> None:
    from matplotlib.colors import ListedColormap

    length, depth, _ = lowered.scene.tank.inside_m
    axes.set_facecolor(COVERED)
    planted = np.where(found.planted, 1.0, np.nan)
    box = (0.0, length, 0.0, depth)
    axes.imshow(planted, origin="lower", extent=box, cmap=ListedColormap([_PLANTED]).with_extremes(bad=(0, 0, 0, 0)))
    _patches(axes, found.bed, found.bed / found.bed_thresholds, length, depth)
    for footprint in hardscape_footprints(lowered.compiled.own_meshes):
        for outline in footprint.outlines:
            polygon(axes, outline, fc="none", ec=HARDSCAPE_LINE, lw=1.3, zorder=3)
    outside = lowered.scene.tank.inside_outline.points
    if not lowered.scene.tank.is_box:
        _outside(axes, outside, length, depth)
    below = BOTTOM if bare_bottom(lowered.scene) else "substrate"
    _named(axes, f"{below}, from above (front pane below)", length, depth)


def _draw_pane(axes: Axes, pane: PaneMap, threshold: float) -> None:
    axes.set_facecolor(COVERED)
    _patches(axes, pane.ppfd, pane.ppfd / threshold, pane.length_m, pane.top_m)
    _named(axes, f"{pane.side} pane, {' to '.join(_SEEN[pane.side])}", pane.length_m, pane.top_m)


def _patches(axes: Axes, values: np.ndarray, ratio: np.ndarray, length: float, height: float) -> None:
    """Patches coloured by how many times the threshold they get, with a line round those above it, and some figures."""
    shown = np.clip(ratio, 0.0, _HIGHEST - 1e-9)
    axes.imshow(
        shown, origin="lower", extent=(0, length, 0, height), cmap=colours(), vmin=0, vmax=_HIGHEST,
        interpolation="nearest", aspect="equal",
    )  # fmt: skip
    _edges(axes, ratio >= 1.0, length, height)
    rows, columns = values.shape
    step = max(1, round(0.09 * columns), round(0.25 * rows))
    box = {"boxstyle": "square,pad=0.1", "fc": PAPER, "ec": "none", "alpha": 0.8}
    for r in range(step // 2, rows, step):
        for c in range(step // 2, columns, step):
            if np.isfinite(values[r, c]):
                at = ((c + 0.5) * length / columns, (r + 0.5) * height / rows)
                axes.text(*at, f"{values[r, c]:.0f}", fontsize=6, color=INK, ha="center", va="center", bbox=box)


def _edges(axes: Axes, above: np.ndarray, length: float, height: float) -> None:
    """A line round what is above the threshold."""
    from matplotlib.collections import LineCollection

    rows, columns = above.shape
    wide, high = length / columns, height / rows
    padded = np.pad(above, 1)
    lines = [
        [(c * wide, r * high), (c * wide, (r + 1) * high)]
        for r, c in zip(*np.nonzero(padded[1:-1, 1:] != padded[1:-1, :-1]), strict=True)
    ]
    lines += [
        [(c * wide, r * high), ((c + 1) * wide, r * high)]
        for r, c in zip(*np.nonzero(padded[1:, 1:-1] != padded[:-1, 1:-1]), strict=True)
    ]
    axes.add_collection(LineCollection(lines, colors=INK, linewidths=1.0, zorder=2))


def _outside(axes: Axes, outline: object, length: float, depth: float) -> None:
    """What lies beyond the panes is left white."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    corners = np.array([(0, 0), (0, depth), (length, depth), (length, 0), (0, 0)])
    inner = np.asarray(outline, dtype=np.float64)
    points = np.concatenate([corners, inner, inner[:1]])
    codes = [Path.MOVETO, *[Path.LINETO] * 4, Path.MOVETO, *[Path.LINETO] * len(inner)]
    axes.add_patch(PathPatch(Path(points, codes), fc=PAPER, ec=INK, lw=0.8, zorder=4))


def _named(axes: Axes, name: str, length: float, height: float) -> None:
    axes.set(xlim=(0, length), ylim=(0, height))
    axes.set_title(name, fontsize=8.5, color=INK, loc="left", pad=4)
    ticks_cm(axes.xaxis, length)
    ticks_cm(axes.yaxis, height, 5)
    quiet_ticks(axes, 7)


def _bar(canvas: Canvas, place: tuple[float, float, float, float], found: Algae) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    side = canvas.axes(*place)
    bar = canvas.figure.colorbar(ScalarMappable(Normalize(0, _HIGHEST), colours()), cax=side, extend="max")
    ticks = [0.0, 0.5, 1.0, 1.5, 2.0]
    bar.set_ticks(ticks, labels=[f"{found.threshold * tick:g}" for tick in ticks])
    side.tick_params(labelsize=7.5, labelcolor=SOFT_INK, length=2)
    side.axhline(1.0, color=INK, lw=1.2)
    side.set_title("PPFD\nµmol/m²/s", fontsize=7.5, color=SOFT_INK, loc="left", pad=8)


def _legend(canvas: Canvas, *, has_panes: bool, planted: bool) -> None:
    from matplotlib.patches import Patch

    covered = "covered, or behind the substrate" if has_panes else "covered"
    handles = [
        Patch(fc=_ABOVE[0], ec=INK, lw=1.0, label="above the threshold: algae may grow"),
        Patch(fc=_BELOW[1], ec="none", label="below it"),
        *([Patch(fc=_PLANTED, ec="none", label="planted")] if planted else []),
        Patch(fc=COVERED, ec="none", label=covered),
    ]
    style = {**LEGEND, "handlelength": 1.6, "columnspacing": 1.4, "borderpad": 0}
    at = (_LEFT / canvas.width, 0.22 / canvas.height)
    canvas.figure.legend(handles=handles, loc="lower left", bbox_to_anchor=at, ncols=4, **style)
    canvas.text(_LEFT, 0.16, "sides in cm; numbers in the maps: PPFD in µmol/m²/s", 8, color=SOFT_INK, va="center")
