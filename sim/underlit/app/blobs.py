"""Shapes and light as bytes for the browser: a JSON header, then float32 arrays.

Layout of a blob: 4 bytes, little-endian: length of the header; the header (UTF-8, padded with spaces to a multiple of 4);
the arrays one after the other. The header names every array by [offset, count].

Light is sent source by source at full power with its variance, so the page answers a dimmer by itself:
value = sum of share x mean, error^2 = sum of share^2 x variance.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from underlit.app.values import value_at
from underlit.lowering.compiled import CompiledScene, Grid, Mesh
from underlit.lowering.records import Frame, Part, Role, Source
from underlit.lowering.scene import Lowered
from underlit.lowering.shapes.shape import face_areas
from underlit.results.estimate import mean_of_groups
from underlit.results.result import Field, Result
from underlit.viz.overlay import as_points
from underlit.viz.palette import ROLE_COLOURS, VALUED, colour_map, colour_range
from underlit.viz.tank3d.pooling import PATCH_M, bed_sides, certain, cubes, patch_means, shown_side
from underlit.viz.tank3d.surfaces import bed_cells
from underlit.viz.tank3d.tank_scene import floor_of

COLOURS = 256
STEADY_CUBE_M = 0.02
"""Size of the neighbourhood whose mean an uncertain face shows."""
UNSEEN = frozenset({Role.BACKING, Role.HOOD})
"""Roles that would hide the tank; their light is traced all the same."""


class Blob:
    """A blob in the making."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._length = 0

    def put(self, array: np.ndarray) -> list[int]:
        """Add an array; returns its place for the header."""
        data = np.ascontiguousarray(array, dtype="<f4").tobytes()
        place = [self._length, int(np.size(array))]
        self._parts.append(data)
        self._length += len(data)
        return place

    def bytes(self, header: Mapping[str, object]) -> bytes:
        """The whole blob."""
        text = json.dumps(header, separators=(",", ":")).encode()
        text += b" " * (-len(text) % 4)
        return struct.pack("<I", len(text)) + text + b"".join(self._parts)


MOVABLE = {"fixture": Role.FIXTURE, "wood": Role.WOOD, "stone": Role.STONE, "plants": Role.PLANTS}
"""Tables of a scene whose things can be picked up in the view, and the role of their parts."""


def items_of(lowered: Lowered) -> dict[Part, str]:
    """What can be moved as the page names it, table and number, by its part."""
    things = {table: value_at(lowered.scene, (table,)) for table in MOVABLE}
    return {Part(one.name, MOVABLE[table]): f"{table}:{i}" for table in MOVABLE for i, one in enumerate(things[table])}


def page_key(source: Source) -> str:
    """What the page knows a source by."""
    return json.dumps([source.tank, source.fixture, source.channel, source.group, source.upward])


def palette() -> list[list[int]]:
    """The colour map of every picture, (256, 3) bytes."""
    colours: list[list[int]] = (colour_map()(np.linspace(0, 1, COLOURS))[:, :3] * 255).round().astype(int).tolist()
    return colours


def shape_blob(lowered: Lowered) -> bytes:
    """The tank's shapes: every mesh that is shown, the grids of the light, zones and spots."""
    blob, compiled = Blob(), lowered.compiled
    items = items_of(lowered)
    meshes = []
    sides = [
        side for mesh in compiled.meshes if mesh.role is Role.BED for side in bed_sides(mesh, floor_of(mesh, compiled))
    ]
    shown: list[tuple[int | str, Mesh, str]] = [
        (k, mesh, mesh.role.name.lower())
        for k, mesh in enumerate(compiled.meshes)
        if not compiled.is_mapped(mesh) or mesh.part.tank == compiled.frame.tank
    ]
    shown += [(_key_of_bed(frame), bed, "neighbour") for frame, bed, _ in _other_beds(compiled)]
    shown += [(-1 - k, side, "ground") for k, side in enumerate(sides)]
    for key, mesh, role in shown:
        if mesh.role in UNSEEN:
            continue
        meshes.append(
            {
                "key": key,
                "name": mesh.name,
                "role": role,
                "colour": ROLE_COLOURS[mesh.role],
                "valued": role == "neighbour" or (role != "ground" and _by_faces(compiled, mesh)),
                "item": items.get(mesh.part.whole),
                "corners": blob.put(mesh.vertices[mesh.faces].reshape(-1)),
            }
        )
    header = {
        "meshes": meshes,
        "bed": _grid(compiled.bed_map),
        "planes": _grid(compiled.planes),
        "sources": [page_key(s) for s in compiled.sources],
        "zones": [as_points(z.outline) for z in lowered.zones if z.outline is not None],
        "spots": [{"name": h.name, "at": list(h.centre)} for h in compiled.heads],
        "water": lowered.scene.water_level_m,
        "palette": palette(),
    }
    return blob.bytes(header)


def _other_beds(compiled: CompiledScene) -> Iterator[tuple[Frame, Mesh, np.ndarray]]:
    """The substrates of the other tanks as cells of their maps, where they stand, and the number of each face's cell."""
    for frame in compiled.frames[1:]:
        made = bed_cells(compiled.of_tank(frame.tank))
        if made is not None:
            yield frame, made[0].seen_from(frame, np.array(frame.offset)), made[1]


def _key_of_bed(frame: Frame) -> str:
    """As the page knows the substrate of another tank; other meshes are known by their number."""
    return f"bed of tank {frame.tank}"


def _by_faces(compiled: CompiledScene, mesh: Mesh) -> bool:
    """Whether a mesh as traced is coloured face by face."""
    return mesh.role in VALUED and not compiled.is_mapped(mesh)


def _grid(grid: Grid | None) -> dict[str, list[float]] | None:
    return None if grid is None else {key: list(getattr(grid, key)) for key in ("origin", "spacing", "shape")}


def light_blob(lowered: Lowered, result: Result) -> bytes:
    """The light as counted so far, source by source at full power; -1 where no light can reach."""
    blob = Blob()
    sources = result.compiled.sources
    alone = [replace(result, dimming={s: float(s == source) for s in sources}) for source in sources]
    meshes: list[dict[str, object]] = []
    for key, mesh in enumerate(lowered.compiled.meshes):
        if _by_faces(lowered.compiled, mesh):
            fields = steadied(mesh, result, alone)
            meshes.append({"key": key, "sources": [_field(blob, field) for field in fields]})
    for frame, _, cell in _other_beds(result.compiled):
        fields = [_on_faces(patched_bed(one.of_tank(frame.tank), i), cell) for i, one in enumerate(alone)]
        meshes.append({"key": _key_of_bed(frame), "sources": [_field(blob, field) for field in fields]})
    header = {
        "sources": [page_key(s) for s in sources],
        "meshes": meshes,
        "bed": [_field(blob, patched_bed(one, i)) for i, one in enumerate(alone)] if result.compiled.bed_map else None,
        "planes": [_field(blob, one.planes()) for one in alone] if result.compiled.planes is not None else None,
        "scale": light_scale(result),
    }
    return blob.bytes(header)


def light_scale(result: Result) -> tuple[float, float]:
    """Range of the colours [umol/m2/s], of the bed as dimmed."""
    return colour_range(result.bed().value) if result.compiled.bed_map is not None else (0.0, 100.0)


def patched_bed(result: Result, source: int) -> Field:
    """PPFD of one source on the bed, (ny, nx), as means over a meter head's size like the plan map's, with their error."""
    grid = result.compiled.bed_map
    assert grid is not None
    nx, ny, _ = grid.shape
    with np.errstate(divide="ignore", invalid="ignore"):
        area = np.where(grid.open_area > 0, grid.open_area, np.nan).reshape(ny, nx)
    groups = result.group_means(result.cells("map"), source).reshape(-1, ny, nx) / area
    size = (PATCH_M / grid.spacing[0], PATCH_M / grid.spacing[1])
    patched = np.array([patch_means(group, *size) for group in groups])
    mean, variance, dof = mean_of_groups(patched, result.counts[source].group_batches)
    return Field(mean, np.sqrt(variance), dof)


def _on_faces(found: Field, cell: np.ndarray) -> Field:
    """A field on the cells of a map as one on faces whose cells have these numbers (m,)."""
    return Field(found.value.reshape(-1)[cell], found.standard_error.reshape(-1)[cell], found.dof)


def steadied(mesh: Mesh, together: Result, alone: list[Result]) -> list[Field]:
    """Light on each face from each source: its own where that is certain in all light together, else its cube's mean.

    The choice is the same for every source, so that light still adds.
    """
    whole = shown_side(mesh, together.faces(mesh))
    own = certain(whole.value, whole.standard_error)
    index, area = cubes(mesh, STEADY_CUBE_M), face_areas(mesh.vertices, mesh.faces)
    total = np.bincount(index, area)
    fields = []
    for one in alone:
        field = shown_side(mesh, one.faces(mesh))
        mean = (np.bincount(index, field.value * area) / total)[index]
        error = (np.sqrt(np.bincount(index, (field.standard_error * area) ** 2)) / total)[index]
        fields.append(Field(np.where(own, field.value, mean), np.where(own, field.standard_error, error), field.dof))
    return fields


def _field(blob: Blob, field: Field) -> dict[str, list[int]]:
    value = np.where(np.isfinite(field.value), field.value, -1.0)
    error = np.where(np.isfinite(field.standard_error), field.standard_error, 0.0)
    return {"mean": blob.put(value), "variance": blob.put(error**2)}
