"""Counters into a `World`: light planes, the map of the bed, zones and spots, with the areas that light can reach."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from underlit.geometry.solids import inside_solids
from underlit.lowering.aquascape.bed import bed_outline
from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.lowering.aquascape.plants import Grown
from underlit.lowering.prisms import polygons_of
from underlit.lowering.shapes import Shape
from underlit.lowering.shapes.shape import face_areas, face_normals
from underlit.lowering.tank.mesh_glass import section
from underlit.lowering.world import Grid, World
from underlit.scene.aquascape.plants import PlantKind
from underlit.scene.model import Scene
from underlit.scene.targets import Zone

if TYPE_CHECKING:
    import shapely

PLANE_SPACING = 0.02
MAP_CELL = 0.01
SAMPLES = 4
"""Samples a side of each cell when its open area is measured."""
UPWARD = 0.5
"""Faces of hardscape within 60 degrees of level count as its upper side."""
ABOVE_TOPS = 0.002
WHOLE_BED = "whole substrate"


@dataclass(frozen=True)
class ZonePlace:
    """Where a zone counts, in words and on the plan: outline (k, 2) [m] or None, height [m] or None.

    tank: which other tank of the rack it lies in; empty for the scene's own.
    """

    name: str
    outline: np.ndarray | None
    z: float | None
    where: str
    tank: str = ""


def lower_tallies(world: World, scene: Scene, hardscape: dict[str, Shape], grown: list[Grown]) -> list[ZonePlace]:
    """Add planes, map, spots and zones. Returns the places of the zones, in their order in the world."""
    solids = [s.vertices[s.faces].reshape(-1, 9) for s in hardscape.values()]
    corners = np.ascontiguousarray(np.concatenate(solids)) if solids else np.zeros((0, 9))
    length, depth, height = scene.tank.inside_m
    top = max(height, scene.water_level_m)
    world.add_planes(_planes(scene, corners, length, depth, top))
    world.add_map("substrate", _map(scene, corners, length, depth))
    places = [_whole_bed(world, scene, corners)]
    for zone in scene.zones:
        places.append(_lower_zone(world, scene, corners, hardscape, grown, zone))
    for spot in scene.spots:
        centre = scene.spot_centre_m(spot)
        if _blocked(corners, np.array([centre[0]]), np.array([centre[1]]), np.array([[centre[2]]])).any():
            world.notes.append(f"{spot.name}: this reading spot lies inside wood or stone; nothing can be read there")
        world.add_head(spot.name, centre, radius=spot.radius)
    return places


def _blocked(corners: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    if len(corners) == 0:
        return np.zeros(z.shape, bool)
    return inside_solids(corners, np.ascontiguousarray(x), np.ascontiguousarray(y), np.ascontiguousarray(z))


def _centres(length: float, cells: int) -> np.ndarray:
    n = cells * SAMPLES
    return (np.arange(n) + 0.5) * (length / n)


def _cell_means(points: np.ndarray) -> np.ndarray:
    ny, nx = points.shape[0] // SAMPLES, points.shape[1] // SAMPLES
    return points.reshape(ny, SAMPLES, nx, SAMPLES).mean(axis=(1, 3))


@dataclass(frozen=True)
class _Cells:
    """Cells of the plan over the tank: samples along each side [m]; which samples lie inside; each cell's area inside [m2]."""

    x: np.ndarray
    y: np.ndarray
    inside: np.ndarray
    area: np.ndarray

    def reached_area(self, weights: np.ndarray) -> np.ndarray:
        """(ny, nx) [m2]: area inside the tank times the mean weight of a cell's samples there."""
        share = _cell_means(self.inside.astype(float))
        mean = np.divide(_cell_means(weights * self.inside), share, out=_cell_means(weights), where=share > 0)
        return mean * self.area


def _covered(scene: Scene, z: float | None) -> shapely.Polygon:
    """What the inside covers of the plan: where the substrate meets the panes (z None), or at a height [m]."""
    meshes = scene.tank.meshes
    if meshes is None:
        return scene.tank.inside_outline.polygon
    return bed_outline(scene) if z is None else section(meshes, min(z, meshes.height))


def _cells(scene: Scene, nx: int, ny: int, polygon: shapely.Polygon) -> _Cells:
    length, depth, _ = scene.tank.inside_m
    x, y = _centres(length, nx), _centres(depth, ny)
    dx, dy = length / nx, depth / ny
    if scene.tank.is_box:
        return _Cells(x, y, np.ones((len(y), len(x)), bool), np.full((ny, nx), dx * dy))
    import shapely

    shapely.prepare(polygon)
    left, front = np.meshgrid(np.arange(nx) * dx, np.arange(ny) * dy)
    area = shapely.area(shapely.intersection(polygon, shapely.box(left, front, left + dx, front + dy)))
    return _Cells(x, y, shapely.contains_xy(polygon, *np.meshgrid(x, y)), area)


def _planes(scene: Scene, corners: np.ndarray, length: float, depth: float, top: float) -> Grid:
    nx, ny = max(1, round(length / PLANE_SPACING)), max(1, round(depth / PLANE_SPACING))
    nz = max(1, math.floor(top / PLANE_SPACING))
    dx, dy = length / nx, depth / ny
    cells = _cells(scene, nx, ny, scene.tank.inside_outline.polygon)
    bed = scene.bed_heights_m(cells.x[None, :], cells.y[:, None])
    area = np.empty((nz, ny, nx))
    for k in range(nz):
        z = (k + 1) * PLANE_SPACING
        if scene.tank.meshes is not None:
            cells = _cells(scene, nx, ny, _covered(scene, z))
        # A cell that the panes cross also counts what falls outside them: it says nothing of the water.
        whole = cells.area > (1 - 1e-9) * dx * dy
        closed = (bed >= z) | _blocked(corners, cells.x, cells.y, np.full(bed.shape, z))
        area[k] = np.where(whole, cells.reached_area((~closed).astype(float)), 0.0)
    return Grid((0.0, 0.0, PLANE_SPACING), (dx, dy, PLANE_SPACING), (nx, ny, nz), area)


def _slope_factor(scene: Scene, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """True over plan area of the bed at points of a grid, (ny, nx)."""
    step = 1e-4
    gx = scene.bed_heights_m(x[None, :] + step, y[:, None]) - scene.bed_heights_m(x[None, :] - step, y[:, None])
    gy = scene.bed_heights_m(x[None, :], y[:, None] + step) - scene.bed_heights_m(x[None, :], y[:, None] - step)
    return np.sqrt(1 + (gx / (2 * step)) ** 2 + (gy / (2 * step)) ** 2)


def _map(scene: Scene, corners: np.ndarray, length: float, depth: float) -> Grid:
    nx, ny = max(1, round(length / MAP_CELL)), max(1, round(depth / MAP_CELL))
    cells = _cells(scene, nx, ny, _covered(scene, None))
    bed = scene.bed_heights_m(cells.x[None, :], cells.y[:, None])
    reached = ~_blocked(corners, cells.x, cells.y, bed) * _slope_factor(scene, cells.x, cells.y)
    area = cells.reached_area(reached)
    return Grid((0.0, 0.0, 0.0), (length / nx, depth / ny, 0.0), (nx, ny, 1), area[None])


def _whole_bed(world: World, scene: Scene, corners: np.ndarray) -> ZonePlace:
    outline = np.asarray(_covered(scene, None).exterior.coords)[:-1]
    area = _open_area(scene, corners, outline, None)
    world.add_surface_zone(WHOLE_BED, "substrate", area=area)
    return ZonePlace(WHOLE_BED, outline, None, "all of the substrate")


def _open_area(scene: Scene, corners: np.ndarray, outline: np.ndarray, z: float | None) -> float:
    """Area [m2] of an outline that light can reach, on the bed (z None, its true slope counted) or at a height."""
    import shapely
    from shapely.geometry import Polygon

    polygon = Polygon(outline).buffer(0).intersection(_covered(scene, z))
    if polygon.area <= 0:
        return 0.0
    x0, y0, x1, y1 = polygon.bounds
    step = min(0.002, math.sqrt(polygon.area) / 40)
    x = np.arange(x0 + step / 2, x1, step)
    y = np.arange(y0 + step / 2, y1, step)
    if len(x) == 0 or len(y) == 0:
        return float(polygon.area)
    inside = shapely.contains_xy(polygon, *np.meshgrid(x, y))
    bed = scene.bed_heights_m(x[None, :], y[:, None])
    level = bed if z is None else np.full(bed.shape, z)
    weight = _slope_factor(scene, x, y) if z is None else (bed < level).astype(float)
    reached = np.where(_blocked(corners, x, y, level), 0.0, weight)
    return float(polygon.area * reached[inside].mean()) if inside.any() else float(polygon.area)


def _lower_zone(
    world: World, scene: Scene, corners: np.ndarray, hardscape: dict[str, Shape], grown: list[Grown], zone: Zone
) -> ZonePlace:
    try:
        if zone.plants is not None:
            return _plant_zone(world, scene, corners, next(g for g in grown if g.name == zone.plants), zone)
        if zone.hardscape is not None:
            return _face_zone(world, zone.name, zone.hardscape, hardscape[zone.hardscape], UPWARD, scene)
        outline = np.array(zone.polygon)
        if zone.height > 0:
            z = _bed_under(scene, outline) + zone.height
            return _height_zone(world, scene, corners, zone.name, outline, z, "level, at the height asked for")
        outline = _ring_inside(_covered(scene, None), outline)
        world.add_surface_zone(zone.name, "substrate", area=_open_area(scene, corners, outline, None), outline=outline)
        return ZonePlace(zone.name, outline, None, "on the substrate")
    except ValueError as problem:
        raise LoweringError(f"{problem}; it lies outside the tank or is all covered by wood or stone") from None


def _bed_under(scene: Scene, outline: np.ndarray) -> float:
    """Height of the bed in the middle of an outline's part inside the tank [m]."""
    import shapely

    inside = shapely.Polygon(outline).buffer(0) & scene.tank.inside_outline.polygon
    x, y = np.asarray(inside.centroid.coords[0] if inside.area > 0 else outline.mean(axis=0))
    return float(scene.bed_heights_m(np.array(x), np.array(y)))


def _height_zone(
    world: World, scene: Scene, corners: np.ndarray, name: str, outline: np.ndarray, z: float, where: str
) -> ZonePlace:
    outline = _ring_inside(_covered(scene, z), outline)
    area = _open_area(scene, corners, outline, z)
    world.add_height_zone(name, z, area=area, outline=outline)
    return ZonePlace(name, outline, z, where)


def _ring_inside(covered: shapely.Polygon, outline: np.ndarray) -> np.ndarray:
    """The part of an outline inside the tank, so that no light beside the tank is counted; its parts as one closed line.

    The lines from part to part run there and back, which the even-odd rule of counting does not see.
    """
    import shapely

    polygon = shapely.Polygon(outline).buffer(0)
    if covered.covers(polygon):
        return outline
    parts = polygons_of(polygon & covered)
    rings = [np.asarray(ring.coords) for part in parts for ring in (part.exterior, *part.interiors)]
    back = [ring[:1] for ring in rings[-2::-1]]
    return np.concatenate([*rings, *back]) if rings else outline


def _plant_zone(world: World, scene: Scene, corners: np.ndarray, group: Grown, zone: Zone) -> ZonePlace:
    """A plant group's light is what a level meter reads over its tops; where plants hang on wood, what falls on leaves
    that face up."""
    kind = next(p.kind for p in scene.plants if p.name == group.name)
    if group.outline is None or kind is PlantKind.MESH:
        return _face_zone(world, zone.name, group.name, group.shape, UPWARD, scene)
    z = group.top + ABOVE_TOPS
    return _height_zone(world, scene, corners, zone.name, group.outline, z, "level, over the tops of the plants")


def _face_zone(world: World, name: str, part: str, shape: Shape, min_up: float, scene: Scene) -> ZonePlace:
    """Upward faces of a mesh above the bed. Leaves are two-sided: one of their sides looks up."""
    normals = face_normals(shape.vertices, shape.faces)
    up = normals[:, 2] if shape.closed else np.abs(normals[:, 2])
    centre = shape.vertices[shape.faces].mean(axis=1)
    free = centre[:, 2] > scene.bed_heights_m(centre[:, 0], centre[:, 1])
    area = float(face_areas(shape.vertices, shape.faces)[(up > min_up) & free].sum())
    world.add_surface_zone(name, part, area=area, min_up=min_up)
    return ZonePlace(name, None, None, "on faces within 60 degrees of level")
