"""What a scene adds to a picture, as plain data: names, outlines and measures, all in metres in the tank's frame."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from underlit.lowering.compiled import Mesh
from underlit.lowering.records import Role

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ZoneMark:
    """A zone: its name, outline on the plan (k, 2) [m], and what to say of it, such as "82 ± 1, right"."""

    name: str
    outline: Points
    text: str = ""


@dataclass(frozen=True)
class SpotMark:
    """A reading spot: its name, place on the plan, what to say of it, and its height [m] for elevations."""

    name: str
    at: tuple[float, float]
    text: str = ""
    height: float | None = None


@dataclass(frozen=True)
class FixtureMark:
    """A fixture seen from above: its name, outline (k, 2) [m], and the heights of its underside and top [m]."""

    name: str
    outline: Points
    bottom: float = 0.0
    top: float = 0.0


@dataclass(frozen=True)
class Footprint:
    """Where a piece of hardscape stands: its name and its outlines on the plan, each (k, 2) [m]."""

    name: str
    outlines: tuple[Points, ...]


@dataclass(frozen=True)
class Overlay:
    """A scene for the pictures.

    length, depth, height: the tank's inside measures [m]; glass: thickness of its panes [m]; water_level: over the
    inside of the bottom pane [m]; hardscape: None lets the pictures find the footprints on the meshes; title and note:
    one line each; inside, outside: outlines of the panes' faces seen from above [m], empty for a rectangle of the measures.
    """

    length: float
    depth: float
    height: float
    glass: float = 0.0
    water_level: float | None = None
    zones: tuple[ZoneMark, ...] = ()
    spots: tuple[SpotMark, ...] = ()
    fixtures: tuple[FixtureMark, ...] = ()
    hardscape: tuple[Footprint, ...] | None = None
    title: str = ""
    note: str = ""
    inside: Points = ()
    outside: Points = ()

    @property
    def inside_outline(self) -> Points:
        """The inner faces of the panes seen from above [m]."""
        return self.inside or ((0.0, 0.0), (self.length, 0.0), (self.length, self.depth), (0.0, self.depth))

    @property
    def outside_outline(self) -> Points:
        """The outer faces of the panes seen from above [m]."""
        if self.outside:
            return self.outside
        t = max(self.glass, 0.003)
        x, y = self.length + t, self.depth + t
        return (-t, -t), (x, -t), (x, y), (-t, y)


def as_points(outline: Iterable[Iterable[float]] | np.ndarray) -> Points:
    """(k, 2) of any kind as plain points."""
    return tuple((float(x), float(y)) for x, y in outline)


def footprint(mesh: Mesh, axes: tuple[int, int] = (0, 1)) -> Footprint:
    """The outline of a mesh seen along an axis (from above by default): union of its projected triangles."""
    import shapely

    corners = mesh.vertices[mesh.faces][:, :, list(axes)]
    rings = np.concatenate([corners, corners[:, :1]], axis=1)
    triangles = shapely.polygons(rings)
    triangles = triangles[shapely.area(triangles) > 1e-10]
    shape = shapely.simplify(shapely.union_all(triangles, grid_size=1e-5), 5e-4)
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, shapely.Polygon) and p.area > 1e-6]
    return Footprint(mesh.name, tuple(as_points(p.exterior.coords) for p in parts))


def hardscape_footprints(meshes: Iterable[Mesh]) -> tuple[Footprint, ...]:
    """Footprints of all wood and stone."""
    return tuple(footprint(m) for m in meshes if m.role in (Role.WOOD, Role.STONE))
