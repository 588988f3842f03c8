"""From the contents of a world to the kernels' tables: flat arrays, the tree, the layout of the tally row."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby

import numpy as np

from underlit.geometry.tree_build import build_tree
from underlit.lowering.compile.contents import Contents
from underlit.lowering.compile.instances import compile_instances
from underlit.lowering.compiled import LAYERS, CompiledScene, Grid, InstancedMesh, Mesh
from underlit.lowering.records import Face
from underlit.transport.tables import (
    BINS,
    HEAD,
    LAYOUT,
    LED,
    MAP,
    MEDIUM,
    PLANES,
    SOURCE,
    SURFACE,
    TRIANGLE,
    WEB,
    ZONE,
    Counter,
    LensKind,
    SurfaceKind,
    Tables,
)

_PLANE_ROUNDING = 1e-9


def plane_groups(normals: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Number the planes that triangles lie in: normals (n, 3), a point of each (n, 3) [m] -> (n,) int32.

    A ray that leaves a plane cannot meet it again, so it may skip all triangles of it: no distance epsilon is needed.
    """
    largest = np.argmax(np.abs(normals), axis=1)
    sign = np.sign(normals[np.arange(len(normals)), largest])
    n = normals * sign[:, None]
    keys = np.concatenate([n, (n * points).sum(axis=1, keepdims=True)], axis=1)
    # adding zero turns -0 into 0
    keys = np.round(keys / _PLANE_ROUNDING) * _PLANE_ROUNDING + 0.0
    _, group = np.unique(keys, axis=0, return_inverse=True)
    return group.reshape(-1).astype(np.int32)


def compile_contents(world: Contents) -> CompiledScene:
    """Tables and records of a world's contents. ValueError if there is no source or no mesh, or one that counters need."""
    _check(world)
    corners, surface, part = _gather(world)
    normals = np.cross(corners[:, 3:6] - corners[:, :3], corners[:, 6:] - corners[:, :3])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    group = plane_groups(normals, corners[:, :3])
    leds = _led_rows(world, normals, corners, group)
    extent = float(max(np.abs(corners).max(), np.abs(leds["position"]).max()))
    extent = max([extent, *(float(np.abs(c.origins).max()) + 1.0 for c in world.instances)])
    node_box, node_child, order = build_tree(corners, extent)
    instanced = compile_instances(
        world.templates, world.instances, world.parts, nodes=len(node_box), items=len(corners), slots=len(corners),
        groups=int(group.max()) + 1, extent=extent,
    )  # fmt: skip
    surfaces = _surface_rows(world)
    triangles = _triangle_rows(surfaces, group[order], surface[order], part[order], order)
    sources, spectra, lens_rows, webs, web_values = _source_rows(world)
    zones, outline = _zone_rows(world)
    maps, n_map = _map_rows(world)
    planes, n_planes = _plane_rows(world)
    layout = _layout(world, len(corners) + instanced.slots, n_map, n_planes, instanced.root)
    tables = Tables(
        node_box=np.concatenate([node_box, *instanced.boxes]),
        node_child=np.concatenate([node_child, *instanced.children]),
        corners=np.concatenate([corners[order], *instanced.corners]),
        normals=np.concatenate([normals[order], *instanced.normals]),
        triangles=np.concatenate([triangles, *instanced.triangles]),
        instances=instanced.instances,
        surfaces=surfaces,
        reflectance=np.ascontiguousarray(np.stack([s.reflectance for s in world.surfaces])),
        transmittance=np.ascontiguousarray(np.stack([s.transmittance for s in world.surfaces])),
        media=np.array([(medium.bucket, medium.g) for medium in world.media], MEDIUM),
        optics=np.ascontiguousarray(np.stack([medium.optics for medium in world.media])),
        sources=sources,
        spectra=spectra,
        leds=leds,
        lens_rows=lens_rows,
        webs=webs,
        web_values=web_values,
        zones=zones,
        outline=outline,
        heads=np.array([(head.centre, head.normal, head.radius) for head in world.heads], HEAD),
        maps=maps,
        planes=planes,
        layout=layout,
    )
    return CompiledScene(
        tables=tables,
        sources=tuple(s.source for s in world.sources),
        ppf=tuple(s.ppf for s in world.sources),
        zones=tuple(z.info for z in world.zones),
        heads=tuple(world.heads),
        lines=tuple(world.lines),
        plain_meshes=_meshes(world),
        plane_grids=_in_row(world.planes, planes, int(layout["planes"][0])),
        map_grids=_in_row((grid for _, grid in world.maps), maps, int(layout["map"][0])),
        notes=tuple(world.notes),
        cautions=tuple(world.cautions),
        instanced=_instanced_meshes(world, len(corners)),
        frames=tuple(world.frames),
    )


def _check(world: Contents) -> None:
    if not world.sources:
        raise ValueError("the world has no light source")
    if not world.meshes and not world.instances:
        raise ValueError("the world has no surface")
    wanted = [(f"zone {z.info.name!r}", z.part) for z in world.zones if z.part is not None]
    wanted += [("the map", part) for part, _ in world.maps]
    for what, part in wanted:
        if part not in world.parts:
            raise ValueError(f"{what}: there is no mesh of {part.name!r} to count on")


def _gather(world: Contents) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Corners (n, 9), surface and part (n,) int32 of all plain triangles."""
    corners = [mesh.vertices[mesh.faces].reshape(-1, 9) for mesh in world.meshes]
    surface = [np.full(len(mesh.faces), mesh.surface, np.int32) for mesh in world.meshes]
    part = [np.full(len(mesh.faces), world.parts[mesh.part.whole], np.int32) for mesh in world.meshes]
    return np.concatenate(corners), np.concatenate(surface), np.concatenate(part)


def _meshes(world: Contents) -> tuple[Mesh, ...]:
    first = np.cumsum([0, *(len(mesh.faces) for mesh in world.meshes)])
    rows = zip(world.meshes, first, strict=False)
    return tuple(Mesh(m.part, m.vertices, m.faces, int(slot), m.surface) for m, slot in rows)


def _instanced_meshes(world: Contents, first_slot: int) -> tuple[InstancedMesh, ...]:
    """The instances of each part as one mesh to be."""
    found, templates = [], tuple(world.templates)
    for part, instances in groupby(world.instances, key=lambda c: c.part):
        together = tuple(instances)
        found.append(InstancedMesh(replace(part, face=Face.INSTANCES), together, templates, first_slot))
        first_slot += sum(len(c.scales) for c in together) * LAYERS
    return tuple(found)


def _surface_rows(world: Contents) -> np.ndarray:
    rows = np.zeros(len(world.surfaces), SURFACE)
    for name in SURFACE.names or ():
        rows[name] = [getattr(surface, name) for surface in world.surfaces]
    return rows


def _triangle_rows(
    surfaces: np.ndarray, group: np.ndarray, surface: np.ndarray, part: np.ndarray, order: np.ndarray
) -> np.ndarray:
    rows = np.zeros(len(order), TRIANGLE)
    rows["group"], rows["surface"], rows["part"], rows["slot"] = group, surface, part, order
    is_interface = surfaces["kind"] == SurfaceKind.INTERFACE
    for side in ("front", "back"):
        rows[f"{side}_medium"] = np.where(is_interface, surfaces[side], -1)[surface]
    return rows


def _led_rows(world: Contents, normals: np.ndarray, corners: np.ndarray, group: np.ndarray) -> np.ndarray:
    """LED records; an LED that stands in the plane of a triangle (its board) skips that plane at the start."""
    rows = np.zeros(sum(len(s.positions) for s in world.sources), LED)
    i = 0
    offset = (normals * corners[:, :3]).sum(axis=1)
    for s in world.sources:
        block = rows[i : i + len(s.positions)]
        block["position"], block["u"], block["v"], block["w"] = s.positions, s.u, s.v, s.w
        block["half_u"], block["half_v"] = s.half
        first = s.positions[0]
        facing = np.abs(normals @ s.w[0]) > 1 - 1e-12
        near = facing & (np.abs(normals @ first - offset) < _PLANE_ROUNDING)
        block["group"] = group[np.argmax(near)] if near.any() else -1
        i += len(block)
    return rows


def _source_rows(world: Contents) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Records, spectra, lens rows, webs and the webs' values."""
    rows = np.zeros(len(world.sources), SOURCE)
    spectra = np.zeros((len(rows), BINS))
    lens, web_values = [np.zeros((0, 3))], [np.zeros(0)]
    webs: list[tuple[int, int, int]] = []
    first_led = first_lens = 0
    for i, s in enumerate(world.sources):
        row = rows[i]
        row["key"], row["first_led"], row["led_count"] = s.key, first_led, len(s.positions)
        row["face_shape"], row["medium"], row["bucket"] = s.face, s.medium, s.bucket
        row["lens_exponent"] = s.exponent
        if s.table is not None:
            row["lens_kind"], row["lens_first"], row["lens_count"] = LensKind.TABLE, first_lens, len(s.table)
            lens.append(s.table)
            first_lens += len(s.table)
        if s.web is not None:
            row["lens_kind"], row["lens_first"] = LensKind.WEB, len(webs)
            webs.append((*s.web.shape, sum(map(len, web_values))))
            web_values.append(s.web.values)
        spectra[i] = s.cumulative
        first_led += len(s.positions)
    return rows, spectra, np.concatenate(lens), np.array(webs, dtype=WEB), np.concatenate(web_values)


def _zone_rows(world: Contents) -> tuple[np.ndarray, np.ndarray]:
    rows = np.zeros(len(world.zones), ZONE)
    first = 0
    for i, z in enumerate(world.zones):
        part = -1 if z.part is None else world.parts[z.part]
        rows[i] = (z.kind, part, first, len(z.outline), z.z, z.min_up)
        first += len(z.outline)
    outlines = [np.zeros((0, 2)), *(z.outline for z in world.zones)]
    return rows, np.ascontiguousarray(np.concatenate(outlines))


def _map_rows(world: Contents) -> tuple[np.ndarray, int]:
    """Rows of all maps, and how many cells they have together."""
    rows = np.zeros(len(world.maps), MAP)
    first = 0
    for i, (part, grid) in enumerate(world.maps):
        (nx, ny, _), (x0, y0, _), (dx, dy, _) = grid.shape, grid.origin, grid.spacing
        rows[i] = (world.parts[part], nx, ny, first, x0, y0, dx, dy)
        first += grid.cells
    return rows, first


def _plane_rows(world: Contents) -> tuple[np.ndarray, int]:
    """Rows of all stacks of planes, and how many cells they have together."""
    rows = np.zeros(len(world.planes), PLANES)
    first = 0
    for i, grid in enumerate(world.planes):
        rows[i] = (*grid.shape, first, *grid.origin, *grid.spacing)
        first += grid.cells
    return rows, first


def _in_row(grids: Iterable[Grid], rows: np.ndarray, start: int) -> tuple[Grid, ...]:
    """Grids with the place of their cells in a tally row, where those of all of them begin at `start`."""
    return tuple(replace(grid, first=start + int(row["first"])) for grid, row in zip(grids, rows, strict=True))


def _layout(world: Contents, n_slots: int, n_map: int, n_planes: int, instance_root: int) -> np.ndarray:
    layout = np.zeros(1, LAYOUT)
    row = layout[0]
    row["instance_root"] = instance_root
    sizes = [2 * n_slots, n_map, n_planes, len(world.zones), len(world.heads), len(world.lines), len(Counter)]
    offsets = np.concatenate([[0], np.cumsum(sizes)])
    names = ("faces", "map", "planes", "zones", "heads", "ledger", "counters", "end")
    for name, offset in zip(names, offsets, strict=True):
        row[name] = offset
    return layout
