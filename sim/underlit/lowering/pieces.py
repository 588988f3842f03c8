"""What a part of the scene answers with when it is lowered: plain data in the frame of its tank, nothing of a world.

Media and surfaces are told apart as objects: pieces that name the same object share it. `assemble.put` puts pieces into a world.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.records import PAST_THE_TANK, ROOM, Line, Part, Source
from underlit.transport.tables import FaceShape

Spectrum = float | np.ndarray


@dataclass(frozen=True, eq=False)
class Medium:
    """A medium: ledger line of what it absorbs, refractive index, absorption and scattering [1/m], mean cosine g."""

    line: Line
    index: Spectrum
    absorption: Spectrum = 0.0
    scattering: Spectrum = 0.0
    g: float = 0.9


AIR = Medium(Line("air", tank=ROOM), 1.0)
"""The room's air."""


@dataclass(frozen=True, eq=False)
class Opaque:
    """A surface that lets nothing through, see `World.opaque`."""

    line: Line
    reflectance: Spectrum
    back_reflectance: Spectrum | None = None
    specular: float = 0.0
    closed: bool = False


@dataclass(frozen=True, eq=False)
class Leaf:
    """A two-sided sheet, see `World.leaf`."""

    line: Line
    reflectance: Spectrum
    transmittance: Spectrum


@dataclass(frozen=True, eq=False)
class Interface:
    """A smooth plane between two media, see `World.interface`. way_out: ledger line of light that leaves the world here."""

    line: Line
    front: Medium
    back: Medium
    film: float = 1.0
    way_out: Line | None = None


Surface = Opaque | Leaf | Interface


@dataclass(frozen=True, eq=False)
class MeshPiece:
    """Triangles of a part: vertices (n, 3) float64 [m], faces (m, 3) int32, all of one surface."""

    part: Part
    vertices: np.ndarray
    faces: np.ndarray
    surface: Surface


@dataclass(frozen=True, eq=False)
class InstancesPiece:
    """A mesh kept once and where it stands: vertices, faces; origins (n, 3) [m], rotations (n, 3, 3), scales (n,)."""

    part: Part
    vertices: np.ndarray
    faces: np.ndarray
    surface: Opaque | Leaf
    origins: np.ndarray
    rotations: np.ndarray
    scales: np.ndarray


@dataclass(frozen=True, eq=False)
class SourcePiece:
    """LEDs of one source, see `World.add_source`. key: of its random numbers, within its tank."""

    source: Source
    positions: np.ndarray
    ppf: float
    axis: np.ndarray
    along: np.ndarray
    half_size: tuple[float, float]
    spectrum: np.ndarray
    key: int
    face: FaceShape = FaceShape.RECTANGLE
    beam_exponent: float = 1.0
    beam_table: tuple[np.ndarray, np.ndarray] | None = None
    beam_web: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None
    way_out: Line = PAST_THE_TANK


@dataclass(frozen=True, eq=False)
class ZonePiece:
    """A zone on a part's faces that look up more than min_up, or at a height z [m]; inside an outline (k, 2) [m] or all."""

    zone: str
    area: float
    part: Part | None = None
    z: float = 0.0
    outline: np.ndarray | None = None
    min_up: float = 0.0


@dataclass(frozen=True, eq=False)
class HeadPiece:
    """A level meter head at a reading spot: centre and radius [m]."""

    spot: str
    centre: tuple[float, float, float]
    radius: float


@dataclass(frozen=True, eq=False)
class MapPiece:
    """The map of the bed: light on the front of a part, by position."""

    part: Part
    grid: Grid


@dataclass(frozen=True, eq=False)
class PlanesPiece:
    """The horizontal light planes."""

    grid: Grid


@dataclass(frozen=True)
class Note:
    """What a user should know of how a part was built; a caution is told before anything else."""

    text: str
    is_caution: bool = False


Piece = Medium | MeshPiece | InstancesPiece | SourcePiece | ZonePiece | HeadPiece | MapPiece | PlanesPiece | Note
"""A medium is a piece of its own where its place among the media and in the ledger matters."""
