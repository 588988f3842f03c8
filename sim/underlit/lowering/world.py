"""A world under construction: media, surfaces, meshes, sources and counters, frozen into the kernels' tables.

The lowering of a scene writes into a `World`; so does anybody who builds a textbook room in code:

    world = World()
    floor = world.opaque("floor", reflectance=0.0)
    world.add_mesh("floor", *rectangle((0, 0, 0), (4, 0, 0), (0, 4, 0)), floor)
    world.add_source("lamp", [(2, 2, 3)], ppf=100.0)
    world.add_head("under the lamp", (2, 2, 0.001), radius=0.02)
    plan = world.compile()
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

import numpy as np

from underlit.transport.emission import lens_table, web_block
from underlit.transport.tables import BINS, Bucket, FaceShape, SurfaceKind, Tables, ZoneKind


class Role(StrEnum):
    """What a mesh is in the picture of the tank."""

    SHELL = "tank glass"
    LID = "lid"
    WATER = "water surface"
    BED = "substrate"
    WOOD = "wood"
    STONE = "stone"
    PLANTS = "plants"
    FIXTURE = "fixture"
    HOOD = "hood"
    FRAME = "rim and braces"
    BACKING = "backing"
    OTHER = "other"


Spectrum = float | Sequence[float] | np.ndarray
OUTSIDE = 0
"""The room's air, medium 0: a photon that leaves the world there has escaped, anywhere else it is lost."""


def spectrum_array(value: Spectrum, what: str) -> np.ndarray:
    """A number or (BINS,) values as a (BINS,) float64 array; ValueError if not finite or of another length."""
    array = np.asarray(value, dtype=np.float64)
    if array.shape not in ((), (BINS,)):
        raise ValueError(f"{what}: expected one number or {BINS} values over 400-700 nm (got shape {array.shape})")
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{what}: values must be finite")
    return np.broadcast_to(array, (BINS,)).copy()


@dataclass(frozen=True)
class SourceInfo:
    """What the tables do not need to know of a source: its name and its photon flux [umol/s] at full power."""

    name: str
    ppf: float
    fixture: str
    channel: str


@dataclass(frozen=True)
class ZoneInfo:
    """A zone's name and its area [m2]: flux over area is its PPFD."""

    name: str
    area: float


@dataclass(frozen=True)
class HeadInfo:
    """A meter head: name, centre [m], normal, radius [m]."""

    name: str
    centre: tuple[float, float, float]
    normal: tuple[float, float, float]
    radius: float

    @property
    def area(self) -> float:
        """Area of the disc [m2]."""
        return float(np.pi * self.radius**2)


@dataclass(frozen=True)
class Grid:
    """A regular grid of counters: origin, spacing and number of cells; nz is 1 for the map of the bed.

    open_area: (nz, ny, nx) float64 [m2], the part of each cell that light can reach (not inside wood or stone).
    """

    origin: tuple[float, float, float]
    spacing: tuple[float, float, float]
    shape: tuple[int, int, int]
    open_area: np.ndarray

    @property
    def cells(self) -> int:
        """Number of cells."""
        return math.prod(self.shape)


@dataclass(frozen=True)
class Mesh:
    """A named mesh as traced: vertices (n, 3) float64 [m], faces (m, 3) int32, first tally slot.

    slots: (m,) int64, the tally slot of each face where it is not first_slot + its index: copies of a shared mesh are counted
    by layers of height, and their sides are up (0) and down (1) instead of front and back.
    """

    name: str
    vertices: np.ndarray
    faces: np.ndarray
    first_slot: int
    surface: int
    role: Role
    slots: np.ndarray | None = None

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
    """Placed copies of a template: origins (n, 3) [m], rotations (n, 3, 3), scales (n,)."""

    name: str
    part: int
    template: int
    origins: np.ndarray
    rotations: np.ndarray
    scales: np.ndarray
    role: Role


COPIES = ", copies"
"""Ends the name of the mesh of a part's copies where the part has a mesh of its own too."""
LAYERS = 3
"""A copy of a shared mesh is counted in this many layers of equal height."""


@dataclass(frozen=True)
class CompiledScene:
    """A frozen world: the kernels' tables, and the names and areas that turn counts back into light.

    plain_meshes: those with triangles of their own; write_out: for each part made of copies of a shared mesh, what writes it
    out as a mesh, which is done only when somebody looks at `meshes` to draw or to measure.
    """

    tables: Tables
    sources: tuple[SourceInfo, ...]
    zones: tuple[ZoneInfo, ...]
    heads: tuple[HeadInfo, ...]
    buckets: tuple[str, ...]
    plain_meshes: tuple[Mesh, ...]
    plane_grids: tuple[Grid, ...]
    map_grids: tuple[Grid, ...]
    notes: tuple[str, ...] = ()
    write_out: tuple[Callable[[], Mesh], ...] = ()

    @property
    def planes(self) -> Grid | None:
        """The first grid of light planes, if any."""
        return self.plane_grids[0] if self.plane_grids else None

    @property
    def bed_map(self) -> Grid | None:
        """The first map, if any."""
        return self.map_grids[0] if self.map_grids else None

    @cached_property
    def meshes(self) -> tuple[Mesh, ...]:
        """All meshes, copies written out, in the order of their slots."""
        return (*self.plain_meshes, *(write() for write in self.write_out))


def rectangle(corner: Sequence[float], along: Sequence[float], up: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Two triangles: corner + s along + t up. Its front looks along the cross product along x up. Metres."""
    c, a, u = (np.asarray(v, dtype=np.float64) for v in (corner, along, up))
    return np.array([c, c + a, c + a + u, c + u]), np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)


def box(low: Sequence[float], high: Sequence[float], inward: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """A closed box of twelve triangles, fronts outside (or inside); metres."""
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    vertices = np.array([[(lo, hi)[(i >> a) & 1][a] for a in range(3)] for i in range(8)])
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    faces = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], dtype=np.int32)
    return vertices, np.ascontiguousarray(faces[:, ::-1]) if inward else faces


def _triple(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


@dataclass
class World:
    """Media, surfaces, meshes, sources and counters by name. Methods return indices; `compile` gives the tables."""

    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._buckets: list[str] = [b.name.lower() for b in Bucket]
        self._media: list[tuple[int, float, np.ndarray]] = []
        self._medium_names: list[str] = []
        self._surfaces: list[dict] = []
        self._meshes: list[tuple[str, int, np.ndarray, np.ndarray, int, Role]] = []
        self._templates: list[Template] = []
        self._copies: list[Instances] = []
        self._parts: dict[str, int] = {}
        self._sources: list[dict] = []
        self._zones: list[dict] = []
        self._heads: list[HeadInfo] = []
        self._planes: list[Grid] = []
        self._maps: list[tuple[str, Grid]] = []
        self.medium("air", 1.0)

    # -- ledger ---------------------------------------------------------------------------------------------
    def bucket(self, name: str) -> int:
        """Ledger line of that name, made if new."""
        if name not in self._buckets:
            self._buckets.append(name)
        return self._buckets.index(name)

    # -- media ----------------------------------------------------------------------------------------------
    def medium(
        self, name: str, index: Spectrum, absorption: Spectrum = 0.0, scattering: Spectrum = 0.0, g: float = 0.9
    ) -> int:
        """A medium: refractive index, absorption [1/m], scattering [1/m] by bin, Henyey-Greenstein mean cosine g."""
        if name in self._medium_names:
            raise ValueError(f"medium {name!r} exists already")
        values = np.stack([spectrum_array(v, f"medium {name!r}") for v in (index, absorption, scattering)])
        if values.min() < 0 or values[0].min() < 1:
            raise ValueError(f"medium {name!r}: index must be at least 1, absorption and scattering not negative")
        self._media.append((self.bucket(name), float(g), values))
        self._medium_names.append(name)
        return len(self._media) - 1

    # -- surfaces -------------------------------------------------------------------------------------------
    def _add_surface(self, kind: SurfaceKind, reflectance: np.ndarray, transmittance: np.ndarray, **row: float) -> int:
        record = dict(
            kind=kind,
            front=-1,
            back=-1,
            closed=0,
            bucket_front=0,
            bucket_back=0,
            exit_bucket=-1,
            specular=0.0,
            film=1.0,
        )
        record.update(row)
        self._surfaces.append({"row": record, "reflectance": reflectance, "transmittance": transmittance})
        return len(self._surfaces) - 1

    def opaque(
        self,
        name: str,
        reflectance: Spectrum,
        *,
        back_reflectance: Spectrum | None = None,
        specular: float = 0.0,
        closed: bool = False,
        bucket: str | None = None,
    ) -> int:
        """A surface that lets nothing through: reflectance by bin, share of it that is mirror-like.

        closed: the mesh is a solid whose inside light must not reach. bucket: ledger line (default: the name).
        """
        front = spectrum_array(reflectance, f"surface {name!r}")
        back = front if back_reflectance is None else spectrum_array(back_reflectance, f"surface {name!r}")
        values = np.stack([front, back])
        if values.min() < 0 or values.max() > 1 or not 0 <= specular <= 1:
            raise ValueError(f"surface {name!r}: reflectance and specular share must lie between 0 and 1")
        line = self.bucket(bucket or name)
        return self._add_surface(
            SurfaceKind.OPAQUE, values, np.zeros_like(values),
            closed=int(closed), bucket_front=line, bucket_back=line, specular=specular,
        )  # fmt: skip

    def leaf(self, name: str, reflectance: Spectrum, transmittance: Spectrum, *, bucket: str | None = None) -> int:
        """A thin two-sided sheet that reflects and transmits diffusely, alike on both sides."""
        r, t = spectrum_array(reflectance, f"leaf {name!r}"), spectrum_array(transmittance, f"leaf {name!r}")
        if min(r.min(), t.min()) < 0 or (r + t).max() > 1:
            raise ValueError(f"leaf {name!r}: reflectance + transmittance must lie between 0 and 1")
        line = self.bucket(bucket or name)
        return self._add_surface(
            SurfaceKind.LEAF, np.stack([r, r]), np.stack([t, t]), bucket_front=line, bucket_back=line
        )

    def interface(
        self, name: str, front: int, back: int, *, film: float = 1.0, bucket: str | None = None, exit: str | None = None
    ) -> int:
        """A smooth plane between two media (Fresnel).

        film: share kept at each crossing (dirt, condensation, algae). bucket: ledger line of what the film takes. exit:
        ledger line of light that crosses into the room's air here and then leaves the world.
        """
        if not 0 <= film <= 1:
            raise ValueError(f"surface {name!r}: the film's kept share must lie between 0 and 1 (got {film})")
        for medium in (front, back):
            if not 0 <= medium < len(self._media):
                raise ValueError(f"surface {name!r}: there is no medium {medium}")
        line = self.bucket(bucket or name)
        zero = np.zeros((2, BINS))
        return self._add_surface(
            SurfaceKind.INTERFACE, zero, zero, front=front, back=back, bucket_front=line, bucket_back=line,
            film=film, exit_bucket=-1 if exit is None else self.bucket(exit),
        )  # fmt: skip

    # -- meshes ---------------------------------------------------------------------------------------------
    def part(self, name: str) -> int:
        """Index of a part, made if new. Meshes of one part share zones and results."""
        return self._parts.setdefault(name, len(self._parts))

    def add_mesh(
        self,
        part: str,
        vertices: np.ndarray,
        faces: np.ndarray,
        surface: int,
        *,
        role: Role = Role.OTHER,
        name: str | None = None,
    ) -> None:
        """Triangles of a part: vertices (n, 3) [m], faces (m, 3), all of one surface. role: for drawing only."""
        v = np.ascontiguousarray(vertices, dtype=np.float64).reshape(-1, 3)
        f = np.ascontiguousarray(faces, dtype=np.int32).reshape(-1, 3)
        if len(f) == 0:
            raise ValueError(f"mesh {part!r} has no faces")
        if not np.all(np.isfinite(v)):
            raise ValueError(f"mesh {part!r} has vertices that are not finite")
        if f.min() < 0 or f.max() >= len(v):
            raise ValueError(f"mesh {part!r}: faces name vertices that do not exist")
        if not 0 <= surface < len(self._surfaces):
            raise ValueError(f"mesh {part!r}: there is no surface {surface}")
        corners = v[f]
        doubled = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        f = np.ascontiguousarray(f[doubled > 1e-16])
        if len(f) == 0:
            raise ValueError(f"mesh {part!r} has only faces without area")
        self.part(part)
        self._meshes.append((name or part, self._parts[part], v, f, surface, role))

    def add_template(self, vertices: np.ndarray, faces: np.ndarray, surface: int) -> int:
        """A leaf or opaque mesh kept once, to be placed by `add_instances`: vertices (n, 3) [m], faces (m, 3)."""
        v = np.ascontiguousarray(vertices, dtype=np.float64).reshape(-1, 3)
        f = np.ascontiguousarray(faces, dtype=np.int32).reshape(-1, 3)
        if len(f) == 0 or not np.all(np.isfinite(v)):
            raise ValueError("a template needs faces and finite vertices")
        if self._surfaces[surface]["row"]["kind"] == SurfaceKind.INTERFACE:
            raise ValueError("a template is of leaves or opaque, not an interface between media")
        corners = v[f]
        height = corners[:, :, 2].mean(axis=1)
        low, high = height.min(), height.max()
        layer = np.clip((height - low) / max(high - low, 1e-12) * LAYERS, 0, LAYERS - 1).astype(np.int32)
        self._templates.append(Template(corners.reshape(-1, 9), layer, surface))
        return len(self._templates) - 1

    def add_instances(
        self,
        part: str,
        template: int,
        origins: np.ndarray,
        rotations: np.ndarray,
        scales: np.ndarray,
        *,
        role: Role = Role.PLANTS,
    ) -> None:
        """Copies of a template as a part: origins (n, 3) [m], rotations (n, 3, 3), scales (n,).

        Copies of several templates of one part, added one after the other, are one mesh.
        """
        o = np.ascontiguousarray(origins, dtype=np.float64).reshape(-1, 3)
        r = np.ascontiguousarray(rotations, dtype=np.float64).reshape(-1, 3, 3)
        s = np.ascontiguousarray(scales, dtype=np.float64).reshape(-1)
        if not len(o) == len(r) == len(s) > 0 or not (s > 0).all():
            raise ValueError(f"copies {part!r}: origins, rotations and scales must be equally many, scales positive")
        self._copies.append(Instances(part, self.part(part), template, o, r, s, role))

    # -- sources --------------------------------------------------------------------------------------------
    def add_source(
        self,
        name: str,
        positions: Sequence[Sequence[float]] | np.ndarray,
        *,
        ppf: float,
        axis: Sequence[float] | np.ndarray = (0.0, 0.0, -1.0),
        along: Sequence[float] | np.ndarray = (1.0, 0.0, 0.0),
        half_size: tuple[float, float] = (0.0, 0.0),
        face: FaceShape = FaceShape.RECTANGLE,
        beam_exponent: float = 1.0,
        beam_table: tuple[Sequence[float] | np.ndarray, Sequence[float] | np.ndarray] | None = None,
        beam_web: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None,
        spectrum: Spectrum = 1.0,
        medium: int = OUTSIDE,
        exit: str = "past the tank",
        key: int | None = None,
        fixture: str | None = None,
        channel: str = "",
    ) -> int:
        """LEDs that share lens and spectrum, or one planar Lambertian source.

        positions (n, 3) [m] of the emitting faces; axis they look along and `along`, the direction of the face's first
        half length (both (3,) or (n, 3)); half_size [m] (radius first for a disc; 0 0 is a point); intensity goes as
        cos^beam_exponent, or by beam_table = (angles [rad], relative intensities), or by beam_web = (azimuths (nc,) from
        `along` towards axis x along over a full turn, angles (ng,), relative intensities (nc, ng)); spectrum: relative
        photons per bin; ppf [umol/s] of all of them together at full power.
        """
        p = np.asarray(positions, dtype=np.float64).reshape(-1, 3)
        photons = spectrum_array(spectrum, f"source {name!r}")
        if not (np.isfinite(ppf) and ppf >= 0):
            raise ValueError(f"source {name!r}: the photon flux must be finite and not negative (got {ppf})")
        if photons.min() < 0 or photons.sum() <= 0:
            raise ValueError(f"source {name!r}: the spectrum holds no photons between 400 and 700 nm")
        w = np.broadcast_to(np.asarray(axis, dtype=np.float64), p.shape)
        w = w / np.linalg.norm(w, axis=1, keepdims=True)
        u = np.broadcast_to(np.asarray(along, dtype=np.float64), p.shape)
        u = u - (u * w).sum(axis=1, keepdims=True) * w
        short = np.linalg.norm(u, axis=1) < 1e-9
        if short.any():
            other = np.where(np.abs(w[short, :1]) < 0.9, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
            u[short] = other - (other * w[short]).sum(axis=1, keepdims=True) * w[short]
        u = u / np.linalg.norm(u, axis=1, keepdims=True)
        table = None
        if beam_table is not None:
            theta, value = (np.asarray(a, dtype=np.float64) for a in beam_table)
            if theta.shape != value.shape or len(theta) < 2 or np.any(np.diff(theta) <= 0) or value.min() < 0:
                raise ValueError(f"source {name!r}: a beam table needs rising angles and intensities not negative")
            table = lens_table(theta, value)
        web = None
        if beam_web is not None:
            azimuth, angle, value = (np.asarray(a, dtype=np.float64) for a in beam_web)
            web = value.shape, web_block(azimuth, angle, value)
        cumulative = np.cumsum(photons) / photons.sum()
        cumulative[-1] = 1.0
        self._sources.append(
            dict(
                info=SourceInfo(name, float(ppf), fixture or name, channel), positions=p, u=u, v=np.cross(w, u), w=w,
                half=half_size, face=face, exponent=float(beam_exponent), table=table, web=web, cumulative=cumulative,
                medium=medium, bucket=self.bucket(exit), key=len(self._sources) if key is None else key,
            )
        )  # fmt: skip
        return len(self._sources) - 1

    # -- counters -------------------------------------------------------------------------------------------
    def add_head(
        self, name: str, centre: Sequence[float], *, normal: Sequence[float] = (0.0, 0.0, 1.0), radius: float = 0.015
    ) -> int:
        """A meter head: a disc that counts light arriving on its face and does not touch it. Metres."""
        n = np.asarray(normal, dtype=np.float64)
        n = n / np.linalg.norm(n)
        c = np.asarray(centre, dtype=np.float64)
        if not (np.all(np.isfinite(c)) and np.all(np.isfinite(n)) and radius > 0):
            raise ValueError(f"head {name!r}: centre and normal must be finite and the radius positive")
        self._heads.append(HeadInfo(name, _triple(c), _triple(n), float(radius)))
        return len(self._heads) - 1

    def add_surface_zone(
        self, name: str, part: str, *, area: float, outline: np.ndarray | None = None, min_up: float = 0.0
    ) -> int:
        """A zone of a part's faces: those sides whose own normal's z is above min_up, inside an outline (k, 2) [m]."""
        return self._zone(name, ZoneKind.SURFACE, self.part(part), area, outline, 0.0, min_up)

    def add_height_zone(self, name: str, z: float, *, area: float, outline: np.ndarray | None = None) -> int:
        """A zone at a height: light going down through an outline (k, 2) [m] at z [m]."""
        return self._zone(name, ZoneKind.HEIGHT, -1, area, outline, z, 0.0)

    def _zone(
        self, name: str, kind: ZoneKind, part: int, area: float, outline: np.ndarray | None, z: float, min_up: float
    ) -> int:
        if not (np.isfinite(area) and area > 0):
            raise ValueError(f"zone {name!r}: it has no area that light can reach")
        xy = np.zeros((0, 2)) if outline is None else np.asarray(outline, dtype=np.float64).reshape(-1, 2)
        self._zones.append(
            dict(info=ZoneInfo(name, float(area)), kind=kind, part=part, outline=xy, z=float(z), min_up=float(min_up))
        )
        return len(self._zones) - 1

    def add_planes(self, grid: Grid) -> None:
        """A stack of level planes that count light going down, such as those of one tank."""
        self._planes.append(grid)

    def add_map(self, part: str, grid: Grid) -> None:
        """A map of light arriving on the front of a part, by position, such as the bed of one tank."""
        self.part(part)
        self._maps.append((part, grid))

    # -- tables ---------------------------------------------------------------------------------------------
    def compile(self) -> CompiledScene:
        """Build the tables (tree included). ValueError if there is no source or no mesh."""
        if not self._sources:
            raise ValueError("the world has no light source")
        if not self._meshes and not self._copies:
            raise ValueError("the world has no surface")
        from underlit.lowering.compile.tables import compile_world

        return compile_world(self)


__all__ = [
    "CompiledScene",
    "Grid",
    "HeadInfo",
    "Mesh",
    "Role",
    "SourceInfo",
    "World",
    "ZoneInfo",
    "box",
    "rectangle",
    "spectrum_array",
]
