"""A result as VTK data: surfaces with PPFD as cell data and the light planes as a grid, for ParaView and pictures."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.lowering.compiled import CompiledScene, Grid, Mesh
from underlit.lowering.records import Role
from underlit.results.atomic import atomic_path, temporary_folder
from underlit.results.result import Result
from underlit.viz.palette import VALUED
from underlit.viz.tank3d.pooling import PATCH_M, patch_means, shown_side

if TYPE_CHECKING:
    import pyvista
    import shapely

PPFD = "PPFD [umol/m2/s]"
PPFD_ERROR = "PPFD standard error [umol/m2/s]"


def poly_data(mesh: Mesh) -> pyvista.PolyData:
    """A mesh as pyvista data, without values."""
    import pyvista

    faces: Any = mesh.faces.astype(np.int64)
    made: pyvista.PolyData = pyvista.PolyData.from_regular_faces(mesh.vertices, faces)
    return made


def valued_poly_data(result: Result, mesh: Mesh) -> pyvista.PolyData:
    """A mesh with PPFD and its standard error on each face.

    Of substrate, wood and stone the front side counts, of leaves the side that looks up; leaves also carry both sides
    (columns front, back).
    """
    data = poly_data(mesh)
    found = result.faces(mesh)
    shown = shown_side(mesh, found)
    data.cell_data[PPFD] = shown.value
    data.cell_data[PPFD_ERROR] = shown.standard_error
    if mesh.role is Role.PLANTS:
        data.cell_data["PPFD by side [umol/m2/s]"] = found.value
        data.cell_data["PPFD by side, standard error [umol/m2/s]"] = found.standard_error
    return data


def planes_grid(result: Result) -> pyvista.ImageData:
    """The light planes as points at cell centres and plane heights; NaN where no light can reach."""
    import pyvista

    grid = result.compiled.planes
    if grid is None:
        raise KeyError("this world has no light planes")
    (x0, y0, z0), (dx, dy, dz) = grid.origin, grid.spacing
    data = pyvista.ImageData(dimensions=grid.shape, spacing=(dx, dy, dz), origin=(x0 + dx / 2, y0 + dy / 2, z0))
    found = result.planes()
    data.point_data[PPFD] = found.value.ravel()
    data.point_data[PPFD_ERROR] = found.standard_error.ravel()
    return data


def bed_from_map(result: Result) -> tuple[Mesh, np.ndarray] | None:
    """The bed as the cells of its map, see `bed_cells`, and the PPFD of each face; None without a map or a bed.

    Values are those of the plan map: means over a meter head's size, NaN where no light can reach.
    """
    grid, made = result.compiled.bed_map, bed_cells(result.compiled)
    if grid is None or made is None:
        return None
    values = patch_means(result.bed().value, PATCH_M / grid.spacing[0], PATCH_M / grid.spacing[1])
    return made[0], values.reshape(-1)[made[1]]


def beds_from_maps(result: Result) -> list[tuple[Mesh, np.ndarray]]:
    """The beds of all tanks, each as `bed_from_map` gives it, where they stand."""
    found = []
    for frame in result.compiled.frames:
        made = bed_from_map(result.of_tank(frame.tank))
        if made is not None:
            found.append((made[0].seen_from(frame, np.array(frame.offset)), made[1]))
    return found


def bed_cells(compiled: CompiledScene) -> tuple[Mesh, np.ndarray] | None:
    """The bed as the cells of its map, each at the bed's own height, and the number of each face's cell (m,).

    Cells end at the bed's own edge and at those of terraces. None without a map or a bed.
    """
    grid = compiled.bed_map
    beds = [m for m in compiled.plain_meshes if m.role is Role.BED and m.part.tank == compiled.frame.tank]
    if grid is None or not beds:
        return None
    (x0, y0, _), (dx, dy, _), (nx, ny, _) = grid.origin, grid.spacing, grid.shape
    edge = bed_edge(beds)
    if len(beds) > 1 or edge.area < (1 - 1e-6) * nx * dx * ny * dy:
        parts = [_cells_within(bed_edge([bed]), grid) for bed in beds]
        vertices = np.concatenate(
            [np.column_stack([xy, _height_at(bed, *xy.T)]) for bed, (xy, _, _) in zip(beds, parts, strict=True)]
        )
        # each face has corners of its own
        faces, cell = np.arange(len(vertices)).reshape(-1, 3), np.concatenate([part[2] for part in parts])
    else:
        x, y = np.meshgrid(x0 + dx * np.arange(nx + 1), y0 + dy * np.arange(ny + 1))
        at = (np.arange(ny)[:, None] * (nx + 1) + np.arange(nx)[None]).reshape(-1)
        quads = np.stack([at, at + 1, at + nx + 2, at, at + nx + 2, at + nx + 1], axis=1)
        vertices = np.stack([x, y, _height_at(beds[0], x, y)], axis=-1).reshape(-1, 3)
        faces, cell = quads.reshape(-1, 3), np.repeat(np.arange(nx * ny), 2)
    return Mesh(replace(beds[0].part, face="map"), vertices, faces.astype(np.int32), 0, beds[0].surface), cell


def bed_edge(beds: list[Mesh]) -> shapely.Geometry:
    """The outline of the bed seen from above."""
    import shapely

    corners = np.concatenate([m.vertices[m.faces][:, [0, 1, 2, 0], :2] for m in beds])
    # not on a grid: that tears slivers and what borders on them apart
    return shapely.union_all(shapely.polygons(corners))


def _cells_within(edge: shapely.Geometry, grid: Grid) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The cells of a grid cut at an outline: vertices (n, 2) [m], faces (m, 3) and the number of each face's cell (m,)."""
    import shapely

    (x0, y0, _), (dx, dy, _), (nx, ny, _) = grid.origin, grid.spacing, grid.shape
    left, front = np.meshgrid(x0 + dx * np.arange(nx), y0 + dy * np.arange(ny))
    pieces = shapely.intersection(edge, shapely.box(left, front, left + dx, front + dy)).reshape(-1)
    parts, cell = shapely.get_parts(shapely.constrained_delaunay_triangles(pieces), return_index=True)
    xy = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    return xy.reshape(-1, 2), np.arange(3 * len(xy)).reshape(-1, 3), cell


def _height_at(bed: Mesh, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Height of a bed or a terrace at places on the plan."""
    from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

    points, z = bed.vertices[:, :2], bed.vertices[:, 2]
    found = LinearNDInterpolator(points, z)(x, y)
    outside = ~np.isfinite(found)
    if outside.any():
        found[outside] = NearestNDInterpolator(points, z)(x[outside], y[outside])
    return np.asarray(found)


def to_multiblock(result: Result) -> pyvista.MultiBlock:
    """All meshes, one block each, named "role: mesh"; of each tank "substrate map" (bed cell by cell) and "light planes".

    Substrate, wood, stone and plants carry `PPFD` and `PPFD_ERROR` as cell data (see `valued_poly_data`); glass, water,
    lid, fixture and the rest carry no values.
    """
    import pyvista

    blocks = pyvista.MultiBlock()
    for mesh in result.compiled.meshes:
        data = valued_poly_data(result, mesh) if mesh.role in VALUED else poly_data(mesh)
        blocks.append(data, f"{mesh.role.value}: {mesh.name}")
    for frame in result.compiled.frames:
        view, of_tank = result.of_tank(frame.tank), f"{frame.name}: " if frame.name else ""
        bed = bed_cells(view.compiled)
        if bed is not None:
            data, cell, found = poly_data(bed[0]), bed[1], view.bed()
            data.cell_data[PPFD] = found.value.reshape(-1)[cell]
            data.cell_data[PPFD_ERROR] = found.standard_error.reshape(-1)[cell]
            blocks.append(data.translate(frame.offset), f"{of_tank}substrate map")
        if view.compiled.planes is not None:
            planes = planes_grid(view)
            planes.origin = tuple(np.add(planes.origin, frame.offset))
            blocks.append(planes, f"{of_tank}light planes")
    return blocks


def write_vtm(result: Result, path: str | Path) -> None:
    """Write `view.vtm` and, beside it, a folder of data files, so that no reader ever meets half of it.

    The folder's name carries a digest of its contents. It is put in place first and the .vtm that names it replaces the
    old one in one step; only then do folders of earlier writes go. Raises OSError where it cannot be written.
    """
    target = Path(path)
    with temporary_folder(target) as work:
        draft = work / target.name
        to_multiblock(result).save(draft)
        parts = work / target.stem
        name = f"{target.stem}_{_digest(parts)}"
        text = draft.read_text(encoding="utf-8")
        text = text.replace(f'file="{target.stem}/{target.stem}_', f'file="{name}/{target.stem}_')
        folder = target.parent / name
        if not folder.exists():
            os.replace(parts, folder)
    with atomic_path(target) as temporary:
        temporary.write_text(text, encoding="utf-8")
    for old in target.parent.iterdir():
        if old.is_dir() and old.name != name and re.fullmatch(rf"{re.escape(target.stem)}_[0-9a-f]{{12}}", old.name):
            shutil.rmtree(old, ignore_errors=True)


def _digest(folder: Path) -> str:
    found = hashlib.sha256()
    for file in sorted(folder.rglob("*")):
        found.update(file.name.encode())
        if file.is_file():
            found.update(file.read_bytes())
    return found.hexdigest()[:12]
