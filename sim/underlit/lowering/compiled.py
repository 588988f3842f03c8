"""A compiled scene: the kernels' tables, and the records that turn counts back into light on named things."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from underlit.lowering.records import OWN, Frame, HeadInfo, Line, Part, Role, Source, ZoneInfo
from underlit.transport.tables import Tables

LAYERS = 3
"""An instance of a shared mesh is counted in this many layers of equal height."""


@dataclass(frozen=True)
class Grid:
    """A regular grid of counters: the map of a bed, or a stack of light planes.

    Attributes
    ----------
    origin, spacing : tuple of float
        Corner of the first cell, and size of a cell, along x, y and z [m].
    shape : tuple of int
        Number of cells (nx, ny, nz); nz is 1 for the map of a bed.
    open_area : (nz, ny, nx) float64 array
        The part of each cell that light can reach, not inside wood or stone [m2].
    tank : int
        Number of the tank whose light it counts.
    first : int
        Where its cells begin in a tally row.
    """

    origin: tuple[float, float, float]
    spacing: tuple[float, float, float]
    shape: tuple[int, int, int]
    open_area: np.ndarray
    tank: int = 0
    first: int = 0

    @property
    def cells(self) -> int:
        """Number of cells."""
        return math.prod(self.shape)

    @property
    def in_row(self) -> slice:
        """Its cells in a tally row."""
        return slice(self.first, self.first + self.cells)

    def moved(self, by: np.ndarray) -> Grid:
        """The same counters in a frame where everything lies moved by (3,) [m]."""
        x, y, z = (float(v) for v in self.origin + by)
        return replace(self, origin=(x, y, z))


@dataclass(frozen=True)
class Mesh:
    """A mesh as traced: vertices (n, 3) float64 [m], faces (m, 3) int32, first tally slot.

    slots: (m,) int64, the tally slot of each face where it is not first_slot + its index: instances of a shared mesh are
    counted by layers of height, and their sides are up (0) and down (1) instead of front and back.
    """

    part: Part
    vertices: np.ndarray
    faces: np.ndarray
    first_slot: int = 0
    surface: int = 0
    slots: np.ndarray | None = None

    @property
    def name(self) -> str:
        """What people read."""
        return self.part.name

    @property
    def role(self) -> Role:
        """What it is in the picture."""
        return self.part.role

    def seen_from(self, frame: Frame, by: np.ndarray) -> Mesh:
        """The same mesh seen from the frame of its tank, where everything lies moved by (3,) [m]."""
        return replace(self, part=self.part.moved_to(frame), vertices=self.vertices + by)

    def face_slots(self) -> np.ndarray:
        """Tally slot of each face, (m,) int64."""
        return self.first_slot + np.arange(len(self.faces)) if self.slots is None else self.slots


@dataclass(frozen=True)
class Template:
    """A mesh kept once and placed many times: corners (m, 9) float64 [m], layer (m,) int32 by height, surface."""

    corners: np.ndarray
    layer: np.ndarray
    surface: int


@dataclass(frozen=True)
class Instances:
    """Where a template of a part stands: origins (n, 3) [m], rotations (n, 3, 3), scales (n,)."""

    part: Part
    template: int
    origins: np.ndarray
    rotations: np.ndarray
    scales: np.ndarray


@dataclass(frozen=True)
class InstancedMesh:
    """All instances of one part, with the templates of the world and their first tally slot."""

    part: Part
    instances: tuple[Instances, ...]
    templates: tuple[Template, ...]
    first_slot: int

    def seen_from(self, frame: Frame, by: np.ndarray) -> InstancedMesh:
        """The same instances seen from the frame of their tank, where everything lies moved by (3,) [m]."""
        moved = tuple(replace(placed, origins=placed.origins + by) for placed in self.instances)
        return replace(self, part=self.part.moved_to(frame), instances=moved)

    def written_out(self) -> Mesh:
        """All of them as one mesh, for drawing and for areas: the only place where they are written out."""
        vertices, slots = [], []
        next_slot = self.first_slot
        for placed in self.instances:
            template = self.templates[placed.template]
            corners = template.corners.reshape(-1, 3)
            turned = np.einsum("nij,kj->nki", placed.rotations, corners) * placed.scales[:, None, None]
            vertices.append((turned + placed.origins[:, None]).reshape(-1, 3))
            slots.append((next_slot + np.arange(len(placed.scales))[:, None] * LAYERS + template.layer[None]).ravel())
            next_slot += len(placed.scales) * LAYERS
        points = np.concatenate(vertices)
        faces = np.arange(len(points), dtype=np.int32).reshape(-1, 3)
        surface = self.templates[self.instances[0].template].surface
        return Mesh(self.part, points, faces, self.first_slot, surface, np.concatenate(slots).astype(np.int64))


@dataclass(frozen=True)
class CompiledScene:
    """The kernels' tables, and the records and areas that turn counts back into light.

    Attributes
    ----------
    tables : Tables
        What the kernels see.
    sources : tuple of Source
        The sources, in the order of the counts.
    ppf : tuple of float
        Photon flux of each source at full power [umol/s].
    zones, heads, lines : tuple of ZoneInfo, of HeadInfo, of Line
        Zones, meter heads and ledger lines, in the order of their counters.
    plain_meshes : tuple of Mesh
        Meshes with triangles of their own.
    instanced : tuple of InstancedMesh
        Those made of instances of shared meshes, written out only when somebody looks at `meshes` to draw or to measure.
    map_grids, plane_grids : tuple of Grid
        Maps of the beds, and light planes, of all tanks.
    notes : tuple of str
        What a user should know, a line each.
    cautions : tuple of str
        What a user should know before anything else, a line each.
    frames : tuple of Frame
        The tanks; the first is the one that this is seen from.
    """

    tables: Tables
    sources: tuple[Source, ...]
    ppf: tuple[float, ...]
    zones: tuple[ZoneInfo, ...]
    heads: tuple[HeadInfo, ...]
    lines: tuple[Line, ...]
    plain_meshes: tuple[Mesh, ...]
    plane_grids: tuple[Grid, ...] = ()
    map_grids: tuple[Grid, ...] = ()
    notes: tuple[str, ...] = ()
    instanced: tuple[InstancedMesh, ...] = ()
    frames: tuple[Frame, ...] = (OWN,)
    cautions: tuple[str, ...] = ()

    @property
    def frame(self) -> Frame:
        """The tank that this is seen from."""
        return self.frames[0]

    @cached_property
    def meshes(self) -> tuple[Mesh, ...]:
        """All meshes, instances written out, in the order of their slots."""
        return (*self.plain_meshes, *(mesh.written_out() for mesh in self.instanced))

    @property
    def own_meshes(self) -> tuple[Mesh, ...]:
        """The meshes of the tank that this is seen from."""
        return tuple(mesh for mesh in self.meshes if mesh.part.tank == self.frame.tank)

    def is_mapped(self, mesh: Mesh) -> bool:
        """Whether a mesh is of a substrate that has a map."""
        return mesh.role is Role.BED and any(grid.tank == mesh.part.tank for grid in self.map_grids)

    @property
    def planes(self) -> Grid | None:
        """The light planes of the tank that this is seen from."""
        return next((grid for grid in self.plane_grids if grid.tank == self.frame.tank), None)

    @property
    def bed_map(self) -> Grid | None:
        """The map of the bed of the tank that this is seen from."""
        return next((grid for grid in self.map_grids if grid.tank == self.frame.tank), None)

    def faces_of(self, part: Part) -> tuple[Mesh, ...]:
        """All meshes of a part; its face does not matter."""
        return tuple(mesh for mesh in self.meshes if mesh.part.whole == part.whole)

    def of_tank(self, tank: int) -> CompiledScene:
        """What belongs to the tank with this number alone, in its own frame and with the names that it has alone.

        The tables are those of the whole world, and so are the sources and the ledger: all lights shine on all tanks.
        """
        if tank not in self._views:
            self._views[tank] = self._seen_from(tank)
        return self._views[tank]

    @cached_property
    def _views(self) -> dict[int, CompiledScene]:
        """The tanks that were asked for; a scene of one tank is its own view."""
        alone = self.frames == (Frame(self.frame.tank),)
        return {self.frame.tank: self} if alone else {}

    def _seen_from(self, tank: int) -> CompiledScene:
        new, by = Frame(tank), -np.array(next(frame.offset for frame in self.frames if frame.tank == tank))
        heads = tuple(
            replace(head.moved_to(new), centre=tuple((head.centre + by).tolist()))
            for head in self.heads
            if head.tank == tank
        )
        return replace(
            self,
            sources=tuple(s.moved_to(new) if s.tank == tank else s for s in self.sources),
            lines=tuple(line.moved_to(new) if line.tank == tank else line for line in self.lines),
            zones=tuple(zone.moved_to(new) for zone in self.zones if zone.tank == tank),
            heads=heads,
            plain_meshes=tuple(mesh.seen_from(new, by) for mesh in self.plain_meshes if mesh.part.tank == tank),
            instanced=tuple(mesh.seen_from(new, by) for mesh in self.instanced if mesh.part.tank == tank),
            plane_grids=tuple(grid.moved(by) for grid in self.plane_grids if grid.tank == tank),
            map_grids=tuple(grid.moved(by) for grid in self.map_grids if grid.tank == tank),
            frames=(new,),
        )
