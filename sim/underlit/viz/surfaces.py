"""A result as VTK data: surfaces with PPFD as cell data and the light planes as a grid, for ParaView and for our pictures."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.world import Mesh, Role
from underlit.results.atomic import atomic_path, temporary_folder
from underlit.results.result import Result
from underlit.viz.palette import VALUED
from underlit.viz.pooling import shown_side

if TYPE_CHECKING:
    import pyvista

PPFD = "PPFD [umol/m2/s]"
PPFD_ERROR = "PPFD standard error [umol/m2/s]"


def poly_data(mesh: Mesh) -> pyvista.PolyData:
    """A mesh as pyvista data, without values."""
    import pyvista

    return pyvista.PolyData.from_regular_faces(mesh.vertices, mesh.faces.astype(np.int64))


def valued_poly_data(result: Result, mesh: Mesh) -> pyvista.PolyData:
    """A mesh with PPFD and its standard error on each face.

    Of substrate, wood and stone the front side counts, of leaves the side that looks up; leaves also carry both sides
    (columns front, back).
    """
    data = poly_data(mesh)
    found = result.faces(mesh.name)
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

    grid = result.plan.planes
    if grid is None:
        raise KeyError("this world has no light planes")
    (x0, y0, z0), (dx, dy, dz) = grid.origin, grid.spacing
    data = pyvista.ImageData(dimensions=grid.shape, spacing=(dx, dy, dz), origin=(x0 + dx / 2, y0 + dy / 2, z0))
    found = result.planes()
    data.point_data[PPFD] = found.value.ravel()
    data.point_data[PPFD_ERROR] = found.standard_error.ravel()
    return data


def to_multiblock(result: Result) -> pyvista.MultiBlock:
    """All meshes, one block each, named "role: mesh", and the block "light planes".

    Substrate, wood, stone and plants carry `PPFD` and `PPFD_ERROR` as cell data (see `valued_poly_data`); glass, water,
    lid, fixture and the rest carry no values.
    """
    import pyvista

    blocks = pyvista.MultiBlock()
    for mesh in result.plan.meshes:
        data = valued_poly_data(result, mesh) if mesh.role in VALUED else poly_data(mesh)
        blocks.append(data, f"{mesh.role.value}: {mesh.name}")
    if result.plan.planes is not None:
        blocks.append(planes_grid(result), "light planes")
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
