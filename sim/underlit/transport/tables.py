"""The contract between a described world and the kernels: every table, its shape, dtype and unit.

The lowering writes these arrays, the backends read them, nothing else crosses that border. One canonical dtype
and order for each field means that no kernel is compiled twice, whatever the scene. Lengths are metres, angles
radians, wavelengths nanometres; spectra are arrays over `BINS` bins of 5 nm from 400 to 700 nm, mid-bin values.

Sides: a triangle's normal is (b - a) x (c - a); the side it points to is FRONT (0), the other BACK (1). A ray with
d . n < 0 arrives on the front.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numpy as np

BINS = 60
"""Number of spectral bins over 400-700 nm."""

QUANTUM_BITS = 40
"""A packet starts with 2**QUANTUM_BITS quanta: weights and tallies are whole numbers."""

PACKET = 1 << QUANTUM_BITS


class SurfaceKind(IntEnum):
    """What a surface does with light."""

    OPAQUE = 0
    LEAF = 1
    INTERFACE = 2


class LensKind(IntEnum):
    """How a source sends out its light round its axis."""

    COSINE_POWER = 0
    TABLE = 1
    WEB = 2


class FaceShape(IntEnum):
    """Outline of the emitting face of an LED."""

    RECTANGLE = 0
    DISC = 1


class ZoneKind(IntEnum):
    """What a zone counts: light arriving on faces of a part, or passing down through a height."""

    SURFACE = 0
    HEIGHT = 1


class Bucket(IntEnum):
    """Ledger lines that every world has; a world adds its own after these (`FIRST_FREE_BUCKET`)."""

    EMITTED = 0
    ROULETTE_LOSS = 1
    ROULETTE_GAIN = 2
    LOST = 3
    INSIDE_SOLID = 4


FIRST_FREE_BUCKET = len(Bucket)


class Counter(IntEnum):
    """Event counts kept beside the ledger (numbers of events, not quanta)."""

    SEGMENTS = 0
    PASSED_OVER = 1
    SCATTERINGS = 2
    LOST_PHOTONS = 3


LOG_ESCAPED, LOG_SCATTERED = -1, -2
"""Marks in the log of a walk beside the cells of faces, slot * 2 + side."""

TRIANGLE = np.dtype(
    [
        ("group", "<i4"),  # triangles of one plane share a group; a ray skips the group it left
        ("surface", "<i4"),  # row of `surfaces`
        ("part", "<i4"),  # what it belongs to (bed, one wood, one planting, ...)
        ("slot", "<i4"),  # index of the triangle before the tree reordered it: where its tallies live
        ("front_medium", "<i4"),  # medium that a ray arriving on the front must be in to hit; -1: any
        ("back_medium", "<i4"),
    ]
)

INSTANCE = np.dtype(
    [
        ("root", "<i4"),  # node of the shared mesh's tree
        ("first", "<i4"),  # its run of triangles
        ("count", "<i4"),
        ("part", "<i4"),
        ("group", "<i8"),  # added to the mesh's groups: disjoint from all others
        ("slot", "<i8"),  # added to the mesh's slots, which number its layers of height
        ("scale", "<f8"),
        ("origin", "<f8", (3,)),
        ("rotation", "<f8", (3, 3)),  # columns: the mesh's axes in the world
    ],
    align=True,
)
"""A placed instance of a shared mesh. Its tally cells are by layer, and by the side that looks up (0) or down (1)."""

SURFACE = np.dtype(
    [
        ("kind", "<i4"),  # SurfaceKind
        ("front", "<i4"),  # INTERFACE: medium on the front side
        ("back", "<i4"),  # INTERFACE: medium on the back side
        ("closed", "<i4"),  # OPAQUE: 1 if a hit from the back means "inside a solid"
        ("bucket_front", "<i4"),  # ledger line of what is absorbed arriving on the front (film losses too)
        ("bucket_back", "<i4"),
        ("exit_bucket", "<i4"),  # INTERFACE: ledger line if the photon, once through into air, escapes; -1 keeps
        ("specular", "<f8"),  # OPAQUE: share of the reflected light that is mirror-like
        ("film", "<f8"),  # INTERFACE: share kept each time light crosses (dirt, condensation, algae)
    ],
    align=True,
)

MEDIUM = np.dtype([("bucket", "<i4"), ("g", "<f8")], align=True)  # ledger line, Henyey-Greenstein asymmetry

SOURCE = np.dtype(
    [
        ("key", "<i8"),  # enters the random numbers; stable under reordering of sources
        ("first_led", "<i4"),
        ("led_count", "<i4"),
        ("face_shape", "<i4"),  # FaceShape
        ("lens_kind", "<i4"),  # LensKind
        ("lens_first", "<i4"),  # TABLE: first row of `lens_rows`; WEB: row of `webs`
        ("lens_count", "<i4"),  # TABLE: number of rows (nodes)
        ("medium", "<i4"),  # medium the LEDs stand in
        ("bucket", "<i4"),  # ledger line of light that escapes without having entered anything
        ("lens_exponent", "<f8"),  # COSINE_POWER: intensity goes as cos(theta)**m
    ],
    align=True,
)

WEB = np.dtype(
    [
        ("planes", "<i4"),  # of azimuth, the first given again as the last
        ("angles", "<i4"),  # from the axis
        ("first", "<i8"),  # its first number in `web_values`
    ]
)
"""An intensity web, see `optics/web.py`."""

LED = np.dtype(
    [
        ("position", "<f8", (3,)),  # centre of the emitting face
        ("u", "<f8", (3,)),  # unit axes: u, v in the face, w the direction it looks to
        ("v", "<f8", (3,)),
        ("w", "<f8", (3,)),
        ("half_u", "<f8"),  # half lengths of the face (radius in half_u for a disc)
        ("half_v", "<f8"),
        ("group", "<i4"),  # coplanar group to skip at the start, -1 for none
    ],
    align=True,
)

ZONE = np.dtype(
    [
        ("kind", "<i4"),  # ZoneKind
        ("part", "<i4"),  # SURFACE: part whose faces count
        ("first_vertex", "<i4"),  # outline, rows of `outline`; count 0 means "everywhere"
        ("vertex_count", "<i4"),
        ("z", "<f8"),  # HEIGHT: the plane
        ("min_up", "<f8"),  # SURFACE: a side counts if its own normal's z is above this
    ],
    align=True,
)

HEAD = np.dtype([("centre", "<f8", (3,)), ("normal", "<f8", (3,)), ("radius", "<f8")], align=True)

MAP = np.dtype(
    [
        ("part", "<i4"),  # part whose front side fills it
        ("nx", "<i4"),  # cells along x and y
        ("ny", "<i4"),
        ("first", "<i8"),  # its first cell, from the row's `map` on; then x runs fastest
        ("x0", "<f8"),  # corner of the first cell
        ("y0", "<f8"),
        ("dx", "<f8"),  # size of a cell
        ("dy", "<f8"),
    ],
    align=True,
)
"""A map of light by position on a part: one for the bed of each tank."""

PLANES = np.dtype(
    [
        ("nx", "<i4"),  # cells along x and y, number of planes
        ("ny", "<i4"),
        ("nz", "<i4"),
        ("first", "<i8"),  # its first cell, from the row's `planes` on; then x runs fastest, z slowest
        ("x0", "<f8"),  # corner of the first cell of the lowest plane
        ("y0", "<f8"),
        ("z0", "<f8"),
        ("dx", "<f8"),  # size of a cell, and from plane to plane
        ("dy", "<f8"),
        ("dz", "<f8"),
    ],
    align=True,
)
"""A stack of level planes that count light going down: one for each tank."""

LAYOUT = np.dtype(
    [
        # offsets into a tally row, (end,) int64; all are quanta of arriving light but the counters, which are events
        ("faces", "<i8"),  # (slots, 2): front and back of each triangle; of instances' layers, up and down
        ("map", "<i8"),  # cells of all `maps`
        ("planes", "<i8"),  # cells of all `planes`
        ("zones", "<i8"),  # (n_zones,)
        ("heads", "<i8"),  # (n_heads,)
        ("ledger", "<i8"),  # (buckets,)
        ("counters", "<i8"),  # (len(Counter),)
        ("end", "<i8"),
        ("instance_root", "<i8"),  # node over the instances; -1 for none
    ]
)


class Tables(NamedTuple):
    """Everything a kernel may see. All arrays are C-contiguous and writeable (so that types never differ)."""

    node_box: np.ndarray  # (n_nodes, 6, 8) float32 [m]: min x y z, max x y z of the eight children, padded
    node_child: np.ndarray  # (n_nodes, 8) int32: >= 0 inner node; < 0: leaf, -1 - (first * 8 + count)
    corners: np.ndarray  # (n_triangles, 9) float64 [m]: a, b, c
    normals: np.ndarray  # (n_triangles, 3) float64: unit normal
    triangles: np.ndarray  # (n_triangles,) TRIANGLE
    instances: np.ndarray  # (n_instances,) INSTANCE, in the order of their tree
    surfaces: np.ndarray  # (n_surfaces,) SURFACE
    reflectance: np.ndarray  # (n_surfaces, 2, BINS) float64: diffuse + mirror, by side of arrival
    transmittance: np.ndarray  # (n_surfaces, 2, BINS) float64: leaves only, by side of arrival
    media: np.ndarray  # (n_media,) MEDIUM; medium 0 is the outside air
    optics: np.ndarray  # (n_media, 3, BINS) float64: index; absorption [1/m]; scattering [1/m]
    sources: np.ndarray  # (n_sources,) SOURCE
    spectra: np.ndarray  # (n_sources, BINS) float64: cumulative share of photons, last = 1
    leds: np.ndarray  # (n_leds,) LED
    lens_rows: np.ndarray  # (k, 3) float64: theta [rad], intensity (any unit), cumulative flux share
    webs: np.ndarray  # (n_webs,) WEB
    web_values: np.ndarray  # (k,) float64: the numbers of the webs, one after the other
    zones: np.ndarray  # (n_zones,) ZONE
    outline: np.ndarray  # (k, 2) float64 [m]
    heads: np.ndarray  # (n_heads,) HEAD
    maps: np.ndarray  # (n_maps,) MAP
    planes: np.ndarray  # (n_stacks,) PLANES
    layout: np.ndarray  # (1,) LAYOUT
