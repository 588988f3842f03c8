"""The tank in 3D as pyvista parts: what carries a value, what is solid, what is clear. For stills and the window."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from underlit.lowering.compiled import CompiledScene, Mesh
from underlit.lowering.records import Face, Role
from underlit.results.result import Result
from underlit.viz.palette import ROLE_COLOURS, VALUED, colour_map, colour_range
from underlit.viz.tank3d.pooling import bed_sides, shown_values
from underlit.viz.tank3d.sloped_panes import bed_against, panes_inside
from underlit.viz.tank3d.surfaces import beds_from_maps, poly_data

if TYPE_CHECKING:
    import pyvista

CLEAR = frozenset({Role.SHELL, Role.LID, Role.WATER})
"""Roles that are seen through."""

FLAT_PANES = 4
"""A side of at most so many facets has its edges drawn one by one."""
COLOURS = "colours"
SHOWN = "PPFD as shown [umol/m2/s]"
GLASS_EDGE = "#6f9c90"
GLASS_RIM = "#c4ddd5"
WATER_LINE = "#5b93b5"


@dataclass
class TankScene:
    """Parts by role. valued: (mesh, data with `SHOWN` and `COLOURS` a face); vmin, vmax: range of the colour map."""

    vmin: float
    vmax: float
    above: bool
    valued: list[tuple[Mesh, pyvista.PolyData]] = field(default_factory=list)
    others: list[tuple[Mesh, pyvista.PolyData]] = field(default_factory=list)

    def of(self, *roles: Role) -> list[tuple[Mesh, pyvista.PolyData]]:
        """Parts of some roles that carry no value."""
        return [(m, d) for m, d in self.others if m.role in roles]

    def bounds(self) -> np.ndarray:
        """(2, 3) float64 [m]: lowest and highest corner of everything."""
        vertices = np.concatenate([m.vertices for m, _ in (*self.valued, *self.others)])
        return np.stack([vertices.min(axis=0), vertices.max(axis=0)])


def build_scene(result: Result, limits: tuple[float, float] | None = None) -> TankScene:
    """Colour all surfaces that carry a value. limits: range of the colour map (found from the values by default)."""
    beds = beds_from_maps(result)
    compiled = result.compiled
    mapped = {m.part for m in compiled.meshes if any(m.part.whole == bed.part.whole for bed, _ in beds)}
    values = {m.part: shown_values(result, m) for m in compiled.meshes if m.role in VALUED and m.part not in mapped}
    together = np.concatenate([*values.values(), *(found for _, found in beds)] or [np.zeros(0)])
    vmin, vmax = limits or colour_range(together)
    scene = TankScene(vmin, vmax, bool(np.nanmax(together, initial=0.0) > vmax))
    for mesh in compiled.meshes:
        data = poly_data(mesh)
        if mesh.role not in VALUED:
            scene.others.append((mesh, data))
            continue
        if mesh.part not in mapped:
            _colour(data, values[mesh.part], vmin, vmax)
            scene.valued.append((mesh, data))
        beside = [m for m in compiled.meshes if m.part.tank == mesh.part.tank]
        panes = panes_inside(beside) if mesh.part in mapped else []
        if panes:
            side = bed_against(panes, mesh)
            scene.others.append((side, poly_data(side)))
        elif mesh.role is Role.BED:
            scene.others.extend((side, poly_data(side)) for side in bed_sides(mesh, floor_of(mesh, compiled)))
    for bed, found in beds:
        data = poly_data(bed)
        _colour(data, found, vmin, vmax)
        scene.valued.append((bed, data))
    return scene


def floor_of(bed: Mesh, compiled: CompiledScene) -> float:
    """Height of the bottom pane's inside under a substrate, in whichever tank that lies [m]."""
    return next(frame.offset[2] for frame in compiled.frames if frame.tank == bed.part.tank)


def _colour(data: pyvista.PolyData, values: np.ndarray, vmin: float, vmax: float) -> None:
    data.cell_data[SHOWN] = values
    data.cell_data[COLOURS] = colours_of(values, vmin, vmax)


def colours_of(values: np.ndarray, vmin: float, vmax: float) -> np.ndarray:
    """(n, 3) uint8: colours of values (n,), as the colour bar shows them."""
    scaled = (np.ma.masked_invalid(values) - vmin) / (vmax - vmin)
    return np.ascontiguousarray(colour_map()(scaled, bytes=True)[:, :3])


def edges_of(parts: Iterable[tuple[Mesh, pyvista.PolyData]], angle: float = 40.0) -> pyvista.PolyData | None:
    """Sharp and open edges of some parts, welded together first; None if there are none."""
    import pyvista

    meshes = [d for _, d in parts]
    if not meshes:
        return None
    welded = pyvista.merge(meshes).extract_surface(algorithm="dataset_surface").clean(tolerance=1e-6, absolute=True)
    lines = welded.extract_feature_edges(
        feature_angle=angle, boundary_edges=True, feature_edges=True, non_manifold_edges=False, manifold_edges=False
    )
    return lines if lines.n_cells else None


def curved_panes(scene: TankScene) -> pyvista.PolyData | None:
    """The panes as one welded body where some are curved: they have no sharp edges to draw, only an outline."""
    import pyvista

    upright = [(m, d) for m, d in scene.of(Role.SHELL) if np.ptp(m.vertices[:, 2]) > 0]
    if all(len(m.faces) <= 2 * FLAT_PANES for m, _ in upright):
        return None
    surface = pyvista.merge([d for _, d in upright]).extract_surface(algorithm="dataset_surface")
    welded: pyvista.PolyData = surface.clean(tolerance=1e-6, absolute=True)
    return welded


def is_glass_brace(mesh: Mesh) -> bool:
    """Whether a mesh is a brace of glass."""
    return mesh.role is Role.SHELL and mesh.part.face in (Face.OVER_WATER, Face.UNDER_WATER)


def rim_of(scene: TankScene) -> pyvista.PolyData | None:
    """The top edges of the panes: shell faces that look up and lie highest. Seen edge on, glass is not clear."""
    import pyvista

    shells = scene.of(Role.SHELL)
    if not shells:
        return None
    top = max(float(m.vertices[:, 2].max()) for m, _ in shells)
    found = []
    for mesh, data in shells:
        flat = np.all(np.abs(mesh.vertices[mesh.faces][:, :, 2] - top) < 1e-6, axis=1)
        if flat.any():
            found.append(data.extract_cells(flat).extract_surface(algorithm="dataset_surface"))
    return pyvista.merge(found) if found else None


def add_values(plotter: pyvista.Plotter, scene: TankScene) -> list[pyvista.Actor]:
    """Add the coloured surfaces, unlit: a colour is a value, and no lamp of ours may change it."""
    actors = [plotter.add_mesh(d, scalars=COLOURS, rgb=True, lighting=False) for _, d in scene.valued]
    for _, data in scene.of(Role.BED):
        actors.append(plotter.add_mesh(data, color=ROLE_COLOURS[Role.BED], lighting=False))
    return actors


def add_solids(plotter: pyvista.Plotter, scene: TankScene) -> list[pyvista.Actor]:
    """Add fixture, hood, rim, backings and the rest, lit, in their own colours."""
    return [
        plotter.add_mesh(data, color=ROLE_COLOURS[mesh.role], lighting=True, ambient=0.45, diffuse=0.6, specular=0.1)
        for mesh, data in scene.others
        if mesh.role not in CLEAR and mesh.role not in (Role.HOOD, Role.BACKING, Role.BED)
    ]


def aim_camera(plotter: pyvista.Plotter, bounds: np.ndarray, margin: float = 1.06) -> None:
    """Three-quarter view from the front, upright, a little from above, all of the bounds in the picture.

    margin: how many times farther back than would just do.
    """
    centre = bounds.mean(axis=0)
    sight = np.array([0.42, -1.0, 0.36])
    sight /= np.linalg.norm(sight)
    camera = plotter.camera
    camera.up = (0.0, 0.0, 1.0)
    camera.view_angle = 24.0
    corners = np.array([[bounds[(i >> a) & 1][a] for a in range(3)] for i in range(8)])
    aspect = plotter.window_size[0] / plotter.window_size[1]
    right = np.cross(-sight, (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    up = np.cross(right, -sight)
    half = np.tan(np.radians(camera.view_angle / 2))
    # Perspective makes near corners spread: move the centre of sight until the margins are alike, then step back.
    for _ in range(8):
        offset = corners - centre
        depth = offset @ sight
        across, upward = offset @ right / (half * aspect), offset @ up / half
        distance = float((np.maximum(np.abs(across), np.abs(upward)) + depth).max())
        x, y = across / (distance - depth), upward / (distance - depth)
        centre = centre + 0.5 * distance * half * ((x.max() + x.min()) * aspect * right + (y.max() + y.min()) * up)
    distance *= margin
    camera.focal_point = tuple(centre)
    camera.position = tuple(centre + distance * sight)
    camera.clipping_range = (0.05 * distance, 4.0 * distance)
