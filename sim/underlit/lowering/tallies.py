"""Counters: light planes, the map of the bed, zones and spots, with the areas that light can reach."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from underlit.geometry.solids import inside_solids
from underlit.lowering.aquascape.bed import bed_outline
from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.lowering.aquascape.plants import Grown
from underlit.lowering.compiled import Grid
from underlit.lowering.pieces import HeadPiece, MapPiece, Note, Piece, PlanesPiece, ZonePiece
from underlit.lowering.prisms import polygons_of
from underlit.lowering.records import Frame, InTank, Part, Role
from underlit.lowering.shapes import Shape
from underlit.lowering.shapes.shape import face_areas, face_normals
from underlit.lowering.tank.mesh_glass import section
from underlit.lowering.tank.panes import BED
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
class ZonePlace(InTank):
    """Where a zone counts, in words and on the plan: outline (k, 2) [m] or None, height [m] or None."""

    zone: str
    outline: np.ndarray | None
    z: float | None
    where: str

    @property
    def own_name(self) -> str:
        """As the scene calls the zone."""
        return self.zone

    @property
    def is_whole_bed(self) -> bool:
        """Whether it is the zone that every tank has, all of its substrate."""
        return self.zone == WHOLE_BED

    def placed_in(self, frame: Frame) -> ZonePlace:
        """The same place seen from outside its tank, which stands in a frame."""
        x, y, z = frame.offset
        outline = None if self.outline is None else self.outline + np.array([x, y])
        return replace(self.moved_to(frame), outline=outline, z=None if self.z is None else self.z + z)


def counters(
    scene: Scene, hardscape: Mapping[Part, Shape], grown: Sequence[Grown]
) -> tuple[list[Piece], list[ZonePlace]]:
    """Planes, map, zones and spots; and the places of the zones, in their order."""
    solids = [s.vertices[s.faces].reshape(-1, 9) for s in hardscape.values()]
    corners = np.ascontiguousarray(np.concatenate(solids)) if solids else np.zeros((0, 9))
    length, depth, height = scene.tank.inside_m
    top = max(height, scene.water_level_m)
    pieces: list[Piece] = [
        PlanesPiece(_planes(scene, corners, length, depth, top)),
        MapPiece(BED, _map(scene, corners, length, depth)),
    ]
    counted = [_whole_bed(scene, corners), *(_zone(scene, corners, hardscape, grown, zone) for zone in scene.zones)]
    pieces += [zone for zone, _ in counted]
    for spot in scene.spots:
        centre = scene.spot_centre_m(spot)
        if _blocked(corners, np.array([centre[0]]), np.array([centre[1]]), np.array([[centre[2]]])).any():
            pieces.append(Note(f"{spot.name}: this reading spot lies inside wood or stone; nothing can be read there"))
        pieces.append(HeadPiece(spot.name, centre, spot.radius))
    return pieces, [place for _, place in counted]


def _blocked(corners: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    if len(corners) == 0:
        return np.zeros(z.shape, bool)
    return np.asarray(inside_solids(corners, np.ascontiguousarray(x), np.ascontiguousarray(y), np.ascontiguousarray(z)))


def _centres(length: float, cells: int) -> np.ndarray:
    n = cells * SAMPLES
    return (np.arange(n) + 0.5) * (length / n)


def _cell_means(points: np.ndarray) -> np.ndarray:
    ny, nx = points.shape[0] // SAMPLES, points.shape[1] // SAMPLES
    return np.asarray(points.reshape(ny, SAMPLES, nx, SAMPLES).mean(axis=(1, 3)))


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
        return np.asarray(mean * self.area)


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
    return np.asarray(np.sqrt(1 + (gx / (2 * step)) ** 2 + (gy / (2 * step)) ** 2))


def _map(scene: Scene, corners: np.ndarray, length: float, depth: float) -> Grid:
    nx, ny = max(1, round(length / MAP_CELL)), max(1, round(depth / MAP_CELL))
    cells = _cells(scene, nx, ny, _covered(scene, None))
    bed = scene.bed_heights_m(cells.x[None, :], cells.y[:, None])
    reached = ~_blocked(corners, cells.x, cells.y, bed) * _slope_factor(scene, cells.x, cells.y)
    area = cells.reached_area(reached)
    return Grid((0.0, 0.0, 0.0), (length / nx, depth / ny, 0.0), (nx, ny, 1), area[None])


Counted = tuple[ZonePiece, ZonePlace]
"""A zone as it counts, and where that is."""


def _whole_bed(scene: Scene, corners: np.ndarray) -> Counted:
    outline = np.asarray(_covered(scene, None).exterior.coords)[:-1]
    area = _reached(WHOLE_BED, scene, corners, outline, None)
    return ZonePiece(WHOLE_BED, area, BED), ZonePlace(WHOLE_BED, outline, None, "all of the substrate")


def _reached(name: str, scene: Scene, corners: np.ndarray, outline: np.ndarray, z: float | None) -> float:
    """As `_open_area`. LoweringError where light can reach none of it."""
    area = _open_area(scene, corners, outline, z)
    if area > 0:
        return area
    raise _unreachable(name)


def _unreachable(name: str) -> LoweringError:
    return LoweringError(
        f"zone {name!r}: it has no area that light can reach; it lies outside the tank or is all covered by wood or stone"
    )


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


def _zone(
    scene: Scene, corners: np.ndarray, hardscape: Mapping[Part, Shape], grown: Sequence[Grown], zone: Zone
) -> Counted:
    if zone.plants is not None:
        return _plant_zone(scene, corners, next(g for g in grown if g.name == zone.plants), zone)
    if zone.hardscape is not None:
        part, shape = next((p, s) for p, s in hardscape.items() if p.part == zone.hardscape)
        return _face_zone(scene, zone.name, part, shape, UPWARD)
    outline = np.array(zone.polygon)
    if zone.height > 0:
        z = _bed_under(scene, outline) + zone.height
        return _height_zone(scene, corners, zone.name, outline, z, "level, at the height asked for")
    outline = _ring_inside(_covered(scene, None), outline)
    area = _reached(zone.name, scene, corners, outline, None)
    return ZonePiece(zone.name, area, BED, outline=outline), ZonePlace(zone.name, outline, None, "on the substrate")


def _bed_under(scene: Scene, outline: np.ndarray) -> float:
    """Height of the bed in the middle of an outline's part inside the tank [m]."""
    import shapely

    inside = shapely.Polygon(outline).buffer(0) & scene.tank.inside_outline.polygon
    x, y = np.asarray(inside.centroid.coords[0] if inside.area > 0 else outline.mean(axis=0))
    return float(scene.bed_heights_m(np.array(x), np.array(y)))


def _height_zone(scene: Scene, corners: np.ndarray, name: str, outline: np.ndarray, z: float, where: str) -> Counted:
    outline = _ring_inside(_covered(scene, z), outline)
    area = _reached(name, scene, corners, outline, z)
    return ZonePiece(name, area, z=z, outline=outline), ZonePlace(name, outline, z, where)


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


def _plant_zone(scene: Scene, corners: np.ndarray, group: Grown, zone: Zone) -> Counted:
    """A plant group's light is what a level meter reads over its tops; where plants hang on wood, what falls on leaves
    that face up.
    """
    kind = next(p.kind for p in scene.plants if p.name == group.name)
    if group.outline is None or kind is PlantKind.MESH:
        return _face_zone(scene, zone.name, Part(group.name, Role.PLANTS), group.shape, UPWARD)
    z = group.top + ABOVE_TOPS
    return _height_zone(scene, corners, zone.name, group.outline, z, "level, over the tops of the plants")


def _face_zone(scene: Scene, name: str, part: Part, shape: Shape, min_up: float) -> Counted:
    """Upward faces of a mesh above the bed. Leaves are two-sided: one of their sides looks up."""
    normals = face_normals(shape.vertices, shape.faces)
    up = normals[:, 2] if shape.closed else np.abs(normals[:, 2])
    centre = shape.vertices[shape.faces].mean(axis=1)
    free = centre[:, 2] > scene.bed_heights_m(centre[:, 0], centre[:, 1])
    area = float(face_areas(shape.vertices, shape.faces)[(up > min_up) & free].sum())
    if area <= 0:
        raise _unreachable(name)
    place = ZonePlace(name, None, None, "on faces within 60 degrees of level")
    return ZonePiece(name, area, part, min_up=min_up), place
