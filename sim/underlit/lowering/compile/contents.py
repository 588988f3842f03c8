"""What a world holds before its tables are built: rows of plain data, each in the order in which it was added."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from underlit.lowering.compiled import Grid, Instances, Template
from underlit.lowering.records import OWN, ROOM, Frame, HeadInfo, Line, Part, Source, ZoneInfo
from underlit.transport.tables import Bucket, FaceShape, SurfaceKind, ZoneKind


@dataclass(frozen=True)
class MediumRow:
    """A medium: its ledger line, Henyey-Greenstein mean cosine; optics (3, BINS): index, absorption, scattering [1/m]."""

    bucket: int
    g: float
    optics: np.ndarray


@dataclass(frozen=True)
class SurfaceRow:
    """A row of `transport.tables.SURFACE` and the surface's reflectance and transmittance by side, (2, BINS) each."""

    kind: SurfaceKind
    reflectance: np.ndarray
    transmittance: np.ndarray
    bucket_front: int
    bucket_back: int
    front: int = -1
    back: int = -1
    closed: int = 0
    exit_bucket: int = -1
    specular: float = 0.0
    film: float = 1.0


@dataclass(frozen=True)
class MeshRow:
    """Triangles of one part and one surface: vertices (n, 3) float64 [m], faces (m, 3) int32."""

    part: Part
    vertices: np.ndarray
    faces: np.ndarray
    surface: int


@dataclass(frozen=True)
class WebRow:
    """Intensities by azimuth and angle: number of azimuths and of angles, and the values as `web_block` lays them out."""

    shape: tuple[int, int]
    values: np.ndarray


@dataclass(frozen=True)
class SourceRow:
    """LEDs of one source, see `World.add_source`: positions, u, v, w (n, 3); cumulative spectrum (BINS,)."""

    source: Source
    ppf: float
    positions: np.ndarray
    u: np.ndarray
    v: np.ndarray
    w: np.ndarray
    half: tuple[float, float]
    face: FaceShape
    exponent: float
    table: np.ndarray | None
    web: WebRow | None
    cumulative: np.ndarray
    medium: int
    bucket: int
    key: int


@dataclass(frozen=True)
class ZoneRow:
    """A zone: what it counts, on which part (None at a height), inside which outline (k, 2) [m]."""

    info: ZoneInfo
    kind: ZoneKind
    part: Part | None
    outline: np.ndarray
    z: float
    min_up: float


@dataclass
class Contents:
    """Everything in a world. parts: number of each whole part; planes, maps: those of all tanks, a map with its part."""

    lines: list[Line] = field(default_factory=lambda: [Line(bucket.name.lower(), tank=ROOM) for bucket in Bucket])
    media: list[MediumRow] = field(default_factory=list)
    surfaces: list[SurfaceRow] = field(default_factory=list)
    meshes: list[MeshRow] = field(default_factory=list)
    templates: list[Template] = field(default_factory=list)
    instances: list[Instances] = field(default_factory=list)
    parts: dict[Part, int] = field(default_factory=dict)
    sources: list[SourceRow] = field(default_factory=list)
    zones: list[ZoneRow] = field(default_factory=list)
    heads: list[HeadInfo] = field(default_factory=list)
    planes: list[Grid] = field(default_factory=list)
    maps: list[tuple[Part, Grid]] = field(default_factory=list)
    frames: list[Frame] = field(default_factory=lambda: [OWN])
    notes: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
