"""A tank whose glass is given by two closed meshes: what it holds, and its outside."""

from __future__ import annotations

from functools import cached_property
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from underlit.scene.common import Part, wrong
from underlit.scene.named_files import MeshFile
from underlit.scene.tank.outline import TankOutline, of_points
from underlit.spectra.grid import FloatArray
from underlit.units import LENGTH_UNITS_M

SAME_HEIGHT_M = 1e-6
"""Corners this close to the top edge lie on it: mesh files round."""
FINEST_OUTLINE_M = 2e-4
"""The outline on the plan omits corners that lie this close to the line without them."""


class ClosedMesh(Part):
    """A closed mesh from a file."""

    mesh: MeshFile = Field(description="mesh file (STL, OBJ, PLY), a closed surface")
    unit: Literal["mm", "cm", "m", "in", "ft"] = Field(description="the unit of its numbers")
    up: Literal["z", "y"] = Field("z", description="which of its axes points up")

    @model_validator(mode="after")
    def _can_be_read(self) -> ClosedMesh:
        try:
            _ = self.triangles_m
        except ValueError as problem:
            raise wrong(str(problem), "mesh", str(self.mesh)) from None
        return self

    @cached_property
    def triangles_m(self) -> tuple[FloatArray, np.ndarray]:
        """Vertices (n, 3) [m] where the file has them, z up, and faces (m, 3) int32 that wind counter-clockwise outside."""
        import trimesh

        made = trimesh.Trimesh(*self.mesh.content)
        made.merge_vertices()
        if not made.is_watertight:
            raise ValueError("the mesh is not closed: it needs a surface without holes and loose edges")
        if made.volume < 0:
            made.invert()
        vertices = np.asarray(made.vertices, dtype=np.float64) * LENGTH_UNITS_M[self.unit]
        if self.up == "y":
            vertices = vertices[:, [0, 2, 1]] * np.array([1.0, -1.0, 1.0])
        return vertices, np.asarray(made.faces, dtype=np.int32)


class MeshGlass:
    """The two meshes in the tank's frame: the inside begins at 0, 0, 0; both end at the top edge's height."""

    def __init__(self, inside: ClosedMesh, outside: ClosedMesh) -> None:
        (inner, self.inside_faces), (outer, self.outside_faces) = inside.triangles_m, outside.triangles_m
        low = inner.min(axis=0)
        self.inside, self.outside = inner - low, outer - low
        self.height = float(self.outside[:, 2].max())
        for vertices in (self.inside, self.outside):
            vertices[np.abs(vertices[:, 2] - self.height) < SAME_HEIGHT_M, 2] = self.height
        if self.inside[:, 2].max() < self.height:
            raise ValueError("the inside must reach the top of the outside, or the tank has no opening")
        (x0, y0, z0), (x1, y1, _) = self.outside.min(axis=0), self.outside.max(axis=0)
        length, depth, _ = self.inside.max(axis=0)
        if not (x0 < 0 and y0 < 0 and z0 < 0 and x1 > length and y1 > depth):
            raise ValueError("the outside must surround the inside on all sides but the top")

    @property
    def size(self) -> tuple[float, float, float]:
        """Length, front to back and height of the box round the inside [m]."""
        length, depth, _ = self.inside.max(axis=0).tolist()
        return length, depth, self.height

    def outline(self, vertices: FloatArray, faces: np.ndarray) -> TankOutline:
        """What one of the meshes covers seen from above."""
        import shapely

        corners = vertices[faces][:, [0, 1, 2, 0], :2]
        triangles = shapely.polygons(corners)
        whole = shapely.union_all(triangles[shapely.area(triangles) > 0])
        largest = max(shapely.get_parts(whole), key=lambda part: part.area)
        ring = shapely.simplify(shapely.Polygon(largest.exterior), FINEST_OUTLINE_M)
        return of_points(tuple((x, y) for x, y in np.asarray(ring.exterior.coords)[:-1].tolist()))
