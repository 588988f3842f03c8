"""The layout drawing: plan, front and right-hand views of a scene with its measures, before any light is traced."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.compiled import Mesh
from underlit.lowering.records import Role
from underlit.lowering.shapes.shape import face_normals
from underlit.viz.figures import Canvas, polygon, write_png
from underlit.viz.labels import LabelBoard
from underlit.viz.maps.plan_map import mark_fixtures, mark_zones_and_spots
from underlit.viz.overlay import Overlay, Points
from underlit.viz.palette import INK, PAPER, ROLE_COLOURS, SOFT_INK, both_units
from underlit.viz.tank3d.pooling import bed_sides
from underlit.viz.tank3d.sloped_panes import bed_against, panes_inside, profiles

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SOLID = (Role.BED, Role.WOOD, Role.STONE, Role.PLANTS, Role.FIXTURE, Role.HOOD, Role.FRAME, Role.OTHER)
_MARGIN_LEFT, _MARGIN_RIGHT, _MARGIN_TOP, _MARGIN_BOTTOM, _GAP = 1.25, 1.15, 0.95, 1.0, 0.75
"""Margins round the views and between them [in]."""

# View name -> (axis along the paper, axis up the paper, axis of sight, +1 if the viewer stands at its high end).
_VIEWS = {"plan": (0, 1, 2, 1), "front": (0, 2, 1, -1), "side": (1, 2, 0, 1)}


def write_layout(meshes: Iterable[Mesh], overlay: Overlay, path: str | Path) -> None:
    """Draw a scene's layout and write it as PNG, whole or not at all. Raises OSError where it cannot be written."""
    write_png(draw_layout(tuple(meshes), overlay), path)


def draw_layout(meshes: Sequence[Mesh], overlay: Overlay) -> Figure:
    """Plan, front view and right-hand view to one scale, as a matplotlib figure."""
    panes = panes_inside(meshes)
    beds = [m for m in meshes if m.role is Role.BED]
    solids = [*meshes, *(s for bed in beds for s in ([bed_against(panes, bed)] if panes else bed_sides(bed)))]
    top = max([overlay.height, *(f.top for f in overlay.fixtures)]) + 0.03
    low = -max(overlay.glass, 0.005) - 0.01
    tall = top - low
    far = _MARGIN_RIGHT + (1.0 if len({round(f.bottom, 3) for f in overlay.fixtures}) > 1 else 0.0)
    scale = min(9.5 / (overlay.length + overlay.depth), 8.0 / (tall + overlay.depth))
    width = _MARGIN_LEFT + scale * (overlay.length + overlay.depth) + _GAP + far
    height = _MARGIN_BOTTOM + scale * (overlay.depth + tall) + _GAP + _MARGIN_TOP
    canvas = Canvas(width, height)
    wide, deep, high = scale * overlay.length, scale * overlay.depth, scale * tall
    front = canvas.axes(_MARGIN_LEFT, _MARGIN_BOTTOM + deep + _GAP, wide, high)
    side = canvas.axes(_MARGIN_LEFT + wide + _GAP, _MARGIN_BOTTOM + deep + _GAP, deep, high)
    plan = canvas.axes(_MARGIN_LEFT, _MARGIN_BOTTOM, wide, deep)
    for axes, view, along, up in (
        (front, "front", (0.0, overlay.length), (low, top)),
        (side, "side", (0.0, overlay.depth), (low, top)),
        (plan, "plan", (0.0, overlay.length), (0.0, overlay.depth)),
    ):
        axes.set(xlim=along, ylim=up, aspect="equal")
        axes.set_axis_off()
        _bodies(axes, solids, view)
    for axes, view, along_m, name in (
        (front, "front", overlay.length, "front view"),
        (side, "side", overlay.depth, "from the right (front pane at the left)"),
    ):
        inside, outside = profiles(meshes, _VIEWS[view][:2])
        if outside:
            _sloped_elevation(axes, overlay, inside, outside)
        else:
            _elevation(axes, overlay, along_m)
        axes.set_title(name, fontsize=9, color=SOFT_INK, loc="left", pad=4)
    _plan(plan, overlay)
    _front_measures(front, overlay)
    _side_measures(side, overlay, meshes)
    note = "; ".join(
        t for t in (overlay.note, "layout only, no light traced; inside measures, all views to one scale") if t
    )
    canvas.title(_MARGIN_LEFT, overlay.title or "Layout", note)
    return canvas.figure


def _bodies(axes: Axes, meshes: Sequence[Mesh], view: str) -> None:
    """Everything solid, flat coloured with a little shading, nearest last."""
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import to_rgb

    across, up, sight, sign = _VIEWS[view]
    hidden = (Role.FIXTURE, Role.HOOD, Role.FRAME) if view == "plan" else ()
    triangles, colours, depth = [], [], []
    for mesh in meshes:
        if mesh.role not in _SOLID or mesh.role in hidden:
            continue
        corners = mesh.vertices[mesh.faces]
        facing = np.abs(face_normals(mesh.vertices, mesh.faces)[:, sight])
        base = np.array(to_rgb(ROLE_COLOURS[mesh.role]))
        triangles.append(corners[:, :, [across, up]])
        colours.append(base * (0.72 + 0.28 * facing)[:, None])
        depth.append(sign * corners[:, :, sight].mean(axis=1))
    if not triangles:
        return
    order = np.argsort(np.concatenate(depth), kind="stable")
    faces, fill = np.concatenate(triangles)[order], np.concatenate(colours)[order]
    # Edges in the fill's own colour close the hairlines between triangles.
    axes.add_collection(PolyCollection(list(faces), facecolors=fill, edgecolors=fill, linewidths=0.5, zorder=2))


def _sloped_elevation(axes: Axes, overlay: Overlay, inside: list[Points], outside: list[Points]) -> None:
    """Glass and water of a tank whose panes are not upright."""
    from matplotlib.patches import Polygon, Rectangle

    for outlines, fill, order in ((outside, "#b9d2cb", 0.0), (inside, "white", 0.5)):
        for outline in outlines:
            polygon(axes, outline, fc=fill, ec="#6f9c90", lw=0.6, zorder=order, clip_on=False)
    for outline in inside if overlay.water_level is not None else []:
        low, high = np.min(outline, axis=0), np.max(outline, axis=0)
        water = Rectangle((low[0], low[1]), high[0] - low[0], overlay.water_level - low[1], fc="#dceaf1", zorder=1)
        axes.add_patch(water)
        water.set_clip_path(Polygon(np.asarray(outline), transform=axes.transData))


def _elevation(axes: Axes, overlay: Overlay, along: float) -> None:
    glass = max(overlay.glass, 0.003)
    if overlay.water_level is not None:
        axes.fill_between([0, along], 0, overlay.water_level, color="#dceaf1", zorder=1, lw=0)
        axes.plot([0, along], [overlay.water_level] * 2, color="#4d88ab", lw=1.2, zorder=6)
    for x0, x1, y0, y1 in (
        (-glass, along + glass, -glass, 0.0),
        (-glass, 0.0, 0.0, overlay.height),
        (along, along + glass, 0.0, overlay.height),
    ):  # fmt: skip
        axes.fill_between([x0, x1], y0, y1, color="#b9d2cb", ec="#6f9c90", lw=0.6, zorder=5, clip_on=False)


def _plan(axes: Axes, overlay: Overlay) -> None:
    for outline, fill, order in ((overlay.outside_outline, "#b9d2cb", 0.0), (overlay.inside_outline, "white", 0.5)):
        polygon(axes, outline, fc=fill, ec="#6f9c90", lw=0.6, zorder=order, clip_on=False)
    board = LabelBoard(axes)
    mark_zones_and_spots(axes, board, overlay)
    mark_fixtures(axes, board, overlay)
    for i, line in enumerate(board.key):
        axes.annotate(
            f"{i + 1}  {line}", (1, 1), (0.75 * 72, -12 * i), xycoords="axes fraction", textcoords="offset points",
            fontsize=8, color=INK, va="top", annotation_clip=False,
        )  # fmt: skip
    axes.set_title("plan", fontsize=9, color=SOFT_INK, loc="left", pad=9)
    axes.annotate(
        "front (viewer)", (0.5, 0), (0, -7), xycoords="axes fraction", textcoords="offset points", ha="center",
        va="top", fontsize=9, fontweight="bold", color=INK, annotation_clip=False,
    )  # fmt: skip
    _measure(axes, (0, 0), (overlay.length, 0), (0, -0.42), f"{both_units(overlay.length)} inside")
    _measure(axes, (0, 0), (0, overlay.depth), (-0.32, 0), f"{both_units(overlay.depth)} inside")


def _front_measures(axes: Axes, overlay: Overlay) -> None:
    _measure(axes, (0, 0), (0, overlay.height), (-0.32, 0), f"{both_units(overlay.height)} inside")
    if overlay.water_level is not None:
        _measure(
            axes, (0, 0), (0, overlay.water_level), (-0.78, 0), f"water {both_units(overlay.water_level)}"
        )  # fmt: skip
    for spot in overlay.spots:
        if spot.height is not None:
            axes.plot(spot.at[0], spot.height, marker="o", ms=6, mfc="white", mec=INK, mew=1.1, zorder=12)
            left = spot.at[0] > 0.7 * overlay.length
            axes.annotate(
                spot.name, (spot.at[0], spot.height), (-7 if left else 7, 3), textcoords="offset points", fontsize=8,
                color=INK, zorder=13, ha="right" if left else "left",
                bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.8},
            )  # fmt: skip


def _side_measures(axes: Axes, overlay: Overlay, meshes: Sequence[Mesh]) -> None:
    heights: dict[float, list[str]] = {}
    for fixture in overlay.fixtures:
        if fixture.bottom > overlay.height:
            heights.setdefault(round(fixture.bottom, 3), []).append(fixture.name)
    for i, (bottom, names) in enumerate(sorted(heights.items())[:2]):
        text = f"{both_units(bottom - overlay.height)} over the rim"
        if len(heights) > 1:
            text = f"{', '.join(names)}: {text}"
        _measure(axes, (overlay.depth, overlay.height), (overlay.depth, bottom), (0.28 + 1.0 * i, 0), text)
    beds = [m for m in meshes if m.role is Role.BED]
    if not beds:
        return
    vertices = np.concatenate([m.vertices for m in beds])
    for y, ha, x in ((0.0, "left", 4), (overlay.depth, "right", -4)):
        near = np.abs(vertices[:, 1] - y) < 0.02
        if near.any():
            depth = float(vertices[near, 2].mean())
            axes.annotate(
                both_units(depth), (y, depth / 2), (x, 0), textcoords="offset points", fontsize=8, color=INK, ha=ha,
                va="center", zorder=12,
            )  # fmt: skip


def _measure(
    axes: Axes, start: tuple[float, float], end: tuple[float, float], shift: tuple[float, float], text: str
) -> None:
    """A dimension line from start to end (data), moved by shift [in], with its text along it."""
    dpi = axes.figure.dpi
    transform = axes.transData
    moved = [transform.transform(p) + np.array(shift) * dpi for p in (start, end)]
    a, b = (transform.inverted().transform(m) for m in moved)
    upright = start[0] == end[0]
    axes.annotate(
        "", xy=tuple(b), xytext=tuple(a), annotation_clip=False,
        arrowprops={"arrowstyle": "<|-|>", "color": SOFT_INK, "lw": 0.8, "shrinkA": 0, "shrinkB": 0,
                    "mutation_scale": 7},
    )  # fmt: skip
    for here, there in ((start, a), (end, b)):
        axes.plot([here[0], there[0]], [here[1], there[1]], color="#b5bcc0", lw=0.5, clip_on=False, zorder=0.2)
    middle = (np.asarray(a) + np.asarray(b)) / 2
    label = axes.annotate(
        text, tuple(middle), (0, 0), textcoords="offset points", fontsize=8, color=INK, ha="center", va="center",
        rotation=90 if upright else 0, annotation_clip=False, linespacing=1.15,
        bbox={"boxstyle": "square,pad=0.2", "fc": PAPER, "ec": "none"},
    )  # fmt: skip
    if upright and label.get_window_extent().height > 0.8 * abs(moved[1][1] - moved[0][1]):
        # Too long for its line: beside it, across, each word group on a line of its own.
        label.set(
            rotation=0, ha="left" if shift[0] > 0 else "right", text=text.replace(" (", "\n(").replace(") ", ")\n")
        )
        label.set_position((6 if shift[0] > 0 else -6, 0))
