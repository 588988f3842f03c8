"""Maps of the panes: PPFD from the water on the inside of each, unrolled to a flat picture.

    lowered = lower(scene, pane_cell_m=PANE_CELL_M)
    for pane in pane_maps(lowered, trace(lowered).result):
        print(pane.side, pane.ppfd)

Only panes that were divided into cells when the scene was lowered have a map; others, and those of a tank from meshes, have none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.records import Face
from underlit.lowering.scene import Lowered
from underlit.lowering.shapes.shape import face_areas
from underlit.lowering.tank.panes import UPRIGHT, pane
from underlit.planning.patches import Patches
from underlit.planning.pools import Cells, pooled
from underlit.results.result import Result
from underlit.scene import Scene

PANE_CELL_M = 0.03
"""Side of a cell [m]: a meter head."""
_SEEN_BACKWARDS = ("back", "left")
"""Panes whose edges run the other way than people look at them: the back pane from the front, the left one from the right."""


@dataclass(frozen=True)
class PaneMap:
    """PPFD on the inside of a pane up to the water, unrolled: length_m along it, top_m its height [m].

    number: patch of each cell (rows, columns), the lowest row first, -1 where the substrate covers it; columns run from left
    to right on the front and back pane, from front to back on the side panes. patches: PPFD [umol/m2/s] on the others.
    """

    side: str
    length_m: float
    top_m: float
    number: np.ndarray
    patches: Patches

    @property
    def ppfd(self) -> np.ndarray:
        """PPFD (rows, columns); NaN where the substrate covers the pane."""
        return np.where(self.number >= 0, np.append(self.patches.values, np.nan)[self.number], np.nan)


def pane_maps(lowered: Lowered, result: Result) -> list[PaneMap]:
    """The maps of the upright panes of the tank that this is seen from."""
    scene = lowered.scene
    if scene.tank.meshes is not None:
        return []
    found = (_pane_map(scene, result, side) for side in UPRIGHT)
    return [one for one in found if one is not None]


def _pane_map(scene: Scene, result: Result, side: str) -> PaneMap | None:
    import shapely

    outline = scene.tank.inside_outline
    edges = outline.edges(side)
    part = pane(side, Face.WET_INSIDE).moved_to(result.compiled.frame)
    mesh = next((m for m in result.compiled.own_meshes if m.part == part), None)
    if mesh is None or not edges:
        return None
    chain = shapely.LineString(
        [outline.points[edges[0]], *(outline.points[(e + 1) % len(outline.points)] for e in edges)]
    )
    top = float(mesh.vertices[:, 2].max())
    columns, rows = (max(1, round(size / PANE_CELL_M)) for size in (chain.length, top))
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    along = shapely.line_locate_point(chain, shapely.points(middle[:, :2])) / chain.length
    if side in _SEEN_BACKWARDS:
        along = 1.0 - along
    column, row = (
        np.minimum((share * n).astype(int), n - 1) for share, n in ((along, columns), (middle[:, 2] / top, rows))
    )
    free = middle[:, 2] > scene.bed_heights_m(middle[:, 0], middle[:, 1])
    if len(np.unique(row * columns + column)) < rows * columns or not free.any():
        return None
    used, patch = np.unique((row * columns + column)[free], return_inverse=True)
    number = np.full(rows * columns, -1)
    number[used] = np.arange(len(used))
    area = face_areas(mesh.vertices, mesh.faces)[free]
    index = result.cells("faces").start + 2 * mesh.face_slots()[free]
    cells = Cells(index, area, np.ones(len(area)), patch.reshape(-1))
    return PaneMap(side, float(chain.length), top, number.reshape(rows, columns), pooled(result, cells))
