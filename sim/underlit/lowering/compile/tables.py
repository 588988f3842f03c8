"""From a `World` to the kernels' tables: flat arrays, the tree, the layout of the tally row."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from underlit.geometry.tree_build import build_tree
from underlit.lowering.compile.instances import as_mesh, compile_instances
from underlit.lowering.world import COPIES, LAYERS, CompiledScene, Mesh
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

if TYPE_CHECKING:
    from underlit.lowering.world import World

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


def compile_world(world: World) -> CompiledScene:
    """Tables and names of a world."""
    meshes, corners, surface, part = _gather(world)
    normals = np.cross(corners[:, 3:6] - corners[:, :3], corners[:, 6:] - corners[:, :3])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    group = plane_groups(normals, corners[:, :3])
    leds = _led_rows(world, normals, corners, group)
    extent = float(max(np.abs(corners).max(), np.abs(leds["position"]).max()))
    extent = max([extent, *(float(np.abs(c.origins).max()) + 1.0 for c in world._copies)])
    node_box, node_child, order = build_tree(corners, extent)
    copied = compile_instances(
        world._templates, world._copies, nodes=len(node_box), items=len(corners), slots=len(corners),
        groups=int(group.max()) + 1, extent=extent,
    )  # fmt: skip
    surfaces = np.zeros(len(world._surfaces), SURFACE)
    for i, s in enumerate(world._surfaces):
        for key, value in s["row"].items():
            surfaces[key][i] = value
    triangles = np.zeros(len(corners), TRIANGLE)
    triangles["group"], triangles["surface"], triangles["part"] = group[order], surface[order], part[order]
    triangles["slot"] = order
    for side in ("front", "back"):
        is_interface = surfaces["kind"] == SurfaceKind.INTERFACE
        triangles[f"{side}_medium"] = np.where(is_interface, surfaces[side], -1)[surface[order]]
    sources, spectra, lens_rows, webs, web_values = _source_rows(world)
    zones, outline = _zone_rows(world)
    heads = np.zeros(len(world._heads), HEAD)
    for i, head in enumerate(world._heads):
        heads[i] = (head.centre, head.normal, head.radius)
    media = np.zeros(len(world._media), MEDIUM)
    for i, (bucket, g, _) in enumerate(world._media):
        media[i] = (bucket, g)
    tables = Tables(
        node_box=np.concatenate([node_box, *copied.boxes]),
        node_child=np.concatenate([node_child, *copied.children]),
        corners=np.concatenate([corners[order], *copied.corners]),
        normals=np.concatenate([normals[order], *copied.normals]),
        triangles=np.concatenate([triangles, *copied.triangles]),
        instances=copied.instances,
        surfaces=surfaces,
        reflectance=np.ascontiguousarray(np.stack([s["reflectance"] for s in world._surfaces])),
        transmittance=np.ascontiguousarray(np.stack([s["transmittance"] for s in world._surfaces])),
        media=media,
        optics=np.ascontiguousarray(np.stack([optics for _, _, optics in world._media])),
        sources=sources,
        spectra=spectra,
        leds=leds,
        lens_rows=lens_rows,
        webs=webs,
        web_values=web_values,
        zones=zones,
        outline=outline,
        heads=heads,
        maps=_map_rows(world),
        planes=_plane_rows(world),
        layout=_layout(world, len(corners) + copied.slots, copied.root),
    )
    return CompiledScene(
        tables=tables,
        sources=tuple(s["info"] for s in world._sources),
        zones=tuple(z["info"] for z in world._zones),
        heads=tuple(world._heads),
        buckets=tuple(world._buckets),
        plain_meshes=meshes,
        plane_grids=tuple(world._planes),
        map_grids=tuple(grid for _, grid in world._maps),
        notes=tuple(world.notes),
        write_out=_write_out(world, len(corners)),
    )


def _gather(world: World) -> tuple[tuple[Mesh, ...], np.ndarray, np.ndarray, np.ndarray]:
    meshes, corners, surface, part = [], [], [], []
    slot = 0
    for name, part_index, vertices, faces, surface_index, role in world._meshes:
        meshes.append(Mesh(name, vertices, faces, slot, surface_index, role))
        corners.append(vertices[faces].reshape(-1, 9))
        surface.append(np.full(len(faces), surface_index, np.int32))
        part.append(np.full(len(faces), part_index, np.int32))
        slot += len(faces)
    return tuple(meshes), np.concatenate(corners), np.concatenate(surface), np.concatenate(part)


def _write_out(world: World, first_slot: int) -> tuple[Callable[[], Mesh], ...]:
    """What writes out the copies of each part as one mesh, named as the part, or apart from its plain mesh of that name."""
    plain = {name for name, *_ in world._meshes}
    writers = []
    for part, copies in groupby(world._copies, key=lambda c: c.name):
        together = tuple(copies)
        name = f"{part}{COPIES}" if part in plain else part
        writers.append(partial(as_mesh, name, together, world._templates, first_slot))
        first_slot += sum(len(c.scales) for c in together) * LAYERS
    return tuple(writers)


def _led_rows(world: World, normals: np.ndarray, corners: np.ndarray, group: np.ndarray) -> np.ndarray:
    """LED records; an LED that stands in the plane of a triangle (its board) skips that plane at the start."""
    rows = np.zeros(sum(len(s["positions"]) for s in world._sources), LED)
    i = 0
    offset = (normals * corners[:, :3]).sum(axis=1)
    for s in world._sources:
        block = rows[i : i + len(s["positions"])]
        block["position"], block["u"], block["v"], block["w"] = s["positions"], s["u"], s["v"], s["w"]
        block["half_u"], block["half_v"] = s["half"]
        first = s["positions"][0]
        facing = np.abs(normals @ s["w"][0]) > 1 - 1e-12
        near = facing & (np.abs(normals @ first - offset) < _PLANE_ROUNDING)
        block["group"] = group[np.argmax(near)] if near.any() else -1
        i += len(block)
    return rows


def _source_rows(world: World) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Records, spectra, lens rows, webs and the webs' values."""
    rows = np.zeros(len(world._sources), SOURCE)
    spectra = np.zeros((len(rows), BINS))
    lens, web_values = [np.zeros((0, 3))], [np.zeros(0)]
    webs: list[tuple[int, int, int]] = []
    first_led = first_lens = 0
    for i, s in enumerate(world._sources):
        row = rows[i]
        row["key"], row["first_led"], row["led_count"] = s["key"], first_led, len(s["positions"])
        row["face_shape"], row["medium"], row["bucket"] = s["face"], s["medium"], s["bucket"]
        row["lens_exponent"] = s["exponent"]
        if s["table"] is not None:
            row["lens_kind"], row["lens_first"], row["lens_count"] = LensKind.TABLE, first_lens, len(s["table"])
            lens.append(s["table"])
            first_lens += len(s["table"])
        if s["web"] is not None:
            shape, values = s["web"]
            row["lens_kind"], row["lens_first"] = LensKind.WEB, len(webs)
            webs.append((*shape, sum(map(len, web_values))))
            web_values.append(values)
        spectra[i] = s["cumulative"]
        first_led += len(s["positions"])
    return rows, spectra, np.concatenate(lens), np.array(webs, dtype=WEB), np.concatenate(web_values)


def _zone_rows(world: World) -> tuple[np.ndarray, np.ndarray]:
    rows = np.zeros(len(world._zones), ZONE)
    first = 0
    for i, z in enumerate(world._zones):
        rows[i] = (z["kind"], z["part"], first, len(z["outline"]), z["z"], z["min_up"])
        first += len(z["outline"])
    outlines = [np.zeros((0, 2)), *(z["outline"] for z in world._zones)]
    return rows, np.ascontiguousarray(np.concatenate(outlines))


def _map_rows(world: World) -> np.ndarray:
    rows = np.zeros(len(world._maps), MAP)
    first = 0
    for i, (part, grid) in enumerate(world._maps):
        (nx, ny, _), (x0, y0, _), (dx, dy, _) = grid.shape, grid.origin, grid.spacing
        rows[i] = (world._parts[part], nx, ny, first, x0, y0, dx, dy)
        first += grid.cells
    return rows


def _plane_rows(world: World) -> np.ndarray:
    rows = np.zeros(len(world._planes), PLANES)
    first = 0
    for i, grid in enumerate(world._planes):
        rows[i] = (*grid.shape, first, *grid.origin, *grid.spacing)
        first += grid.cells
    return rows


def _layout(world: World, n_slots: int, instance_root: int) -> np.ndarray:
    layout = np.zeros(1, LAYOUT)
    row = layout[0]
    row["instance_root"] = instance_root
    n_map, n_planes = sum(grid.cells for _, grid in world._maps), sum(grid.cells for grid in world._planes)
    sizes = [2 * n_slots, n_map, n_planes, len(world._zones), len(world._heads), len(world._buckets), len(Counter)]
    offsets = np.concatenate([[0], np.cumsum(sizes)])
    names = ("faces", "map", "planes", "zones", "heads", "ledger", "counters", "end")
    for name, offset in zip(names, offsets, strict=True):
        row[name] = offset
    return layout
