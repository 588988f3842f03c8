"""Worlds by hand for the oracle's tests: tables filled directly, without scene or lowering."""

from __future__ import annotations

import itertools

import numpy as np

from underlit.transport import tables as t

AIR = 0
EXIT = t.FIRST_FREE_BUCKET


class Sketch:
    """Collects media, surfaces, triangles, lights and tallies; `build` makes the tables of them."""

    def __init__(self) -> None:
        self.buckets = EXIT + 1
        self.media: list[tuple] = []
        self.optics: list[np.ndarray] = []
        self.surfaces: list[tuple] = []
        self.reflectance: list[np.ndarray] = []
        self.transmittance: list[np.ndarray] = []
        self.corners: list[np.ndarray] = []
        self.triangles: list[tuple] = []
        self.groups = 0
        self.sources: list[tuple] = []
        self.spectra: list[np.ndarray] = []
        self.leds: list[tuple] = []
        self.lens_rows: list[tuple] = []
        self.zones: list[tuple] = []
        self.outline: list[tuple] = []
        self.heads: list[tuple] = []
        self.maps: list[tuple] = []
        self.planes: list[tuple] = []
        self.map_cells = self.plane_cells = 0
        self.medium(1.0)

    def bucket(self) -> int:
        self.buckets += 1
        return self.buckets - 1

    def medium(self, index, absorption=0.0, scattering=0.0, g=0.0) -> int:
        """Medium of constant or by-bin index, absorption and scattering [1/m]."""
        self.media.append((self.bucket(), g))
        self.optics.append(np.stack([np.broadcast_to(x, t.BINS) for x in (index, absorption, scattering)]))
        return len(self.media) - 1

    def surface(  # noqa: PLR0913 - the fields of a row of the table
        self,
        kind: t.SurfaceKind,
        reflectance=(0.0, 0.0),
        transmittance=(0.0, 0.0),
        front: int = -1,
        back: int = -1,
        closed: int = 0,
        exit_bucket: int = -1,
        specular: float = 0.0,
        film: float = 1.0,
    ) -> int:
        front_bucket, back_bucket = self.bucket(), self.bucket()
        self.surfaces.append((int(kind), front, back, closed, front_bucket, back_bucket, exit_bucket, specular, film))
        for store, values in ((self.reflectance, reflectance), (self.transmittance, transmittance)):
            store.append(np.stack([np.broadcast_to(values[0], t.BINS), np.broadcast_to(values[1], t.BINS)]))
        return len(self.surfaces) - 1

    def opaque(self, front: float, back: float | None = None, **more) -> int:
        return self.surface(t.SurfaceKind.OPAQUE, (front, front if back is None else back), **more)

    def interface(self, front: int, back: int, **more) -> int:
        return self.surface(t.SurfaceKind.INTERFACE, front=front, back=back, **more)

    def triangle(self, points, surface: int, part: int, group: int) -> None:
        kind, front, back = self.surfaces[surface][:3]
        wanted = (front, back) if kind == t.SurfaceKind.INTERFACE else (-1, -1)
        self.corners.append(np.asarray(points, dtype=float).reshape(9))
        self.triangles.append((group, surface, part, len(self.triangles), *wanted))

    def polygon(self, points, surface: int, part: int = 0) -> int:
        """Flat convex polygon as a fan in one group, which is returned; normal by the right-hand rule."""
        for i in range(1, len(points) - 1):
            self.triangle([points[0], points[i], points[i + 1]], surface, part, self.groups)
        self.groups += 1
        return self.groups - 1

    def level(self, x0, x1, y0, y1, z, surface: int, part: int = 0) -> int:
        """Level rectangle that looks up."""
        return self.polygon([(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)], surface, part)

    def walls(self, low, high, surface: int, part: int = 0) -> None:
        """The four upright sides of a box, looking outwards."""
        (x0, y0, z0), (x1, y1, z1) = low, high
        ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        for (ax, ay), (bx, by) in zip(ring, ring[1:] + ring[:1], strict=True):
            self.polygon([(ax, ay, z0), (bx, by, z0), (bx, by, z1), (ax, ay, z1)], surface, part)

    def box(self, low, high, surface: int, part: int = 0) -> None:
        """Closed box looking outwards."""
        (x0, y0, z0), (x1, y1, z1) = low, high
        self.walls(low, high, surface, part)
        self.level(x0, x1, y0, y1, z1, surface, part)
        self.polygon([(x0, y0, z0), (x0, y1, z0), (x1, y1, z0), (x1, y0, z0)], surface, part)

    def mesh(self, vertices, faces, surface: int, part: int = 0) -> None:
        """Curved mesh: every triangle its own group."""
        for face in faces:
            self.triangle(np.asarray(vertices)[face], surface, part, self.groups)
            self.groups += 1

    def source(  # noqa: PLR0913 - the fields of a row of the table
        self,
        positions,
        exponent=1.0,
        half=(0.0, 0.0),
        disc=False,
        lens=None,
        tilt=0.0,
        key=0,
        medium=AIR,
        spectrum=None,
    ) -> None:
        """LEDs at positions that look down, turned by tilt [rad] round y; lens: rows (theta, I) of a TABLE."""
        w = (np.sin(tilt), 0.0, -np.cos(tilt))
        u = (np.cos(tilt), 0.0, np.sin(tilt))
        first, rows = len(self.leds), len(self.lens_rows)
        for position in positions:
            self.leds.append((tuple(position), u, tuple(np.cross(w, u)), w, *half, -1))
        if lens is not None:
            self.lens_rows.extend(lens_rows(np.asarray(lens, dtype=float)))
        self.sources.append(
            (
                key,
                first,
                len(positions),
                int(t.FaceShape.DISC if disc else t.FaceShape.RECTANGLE),
                int(t.LensKind.COSINE_POWER if lens is None else t.LensKind.TABLE),
                rows,
                len(self.lens_rows) - rows,
                medium,
                EXIT,
                exponent,
            )
        )
        share = np.ones(t.BINS) if spectrum is None else np.asarray(spectrum, dtype=float)
        cumulative = np.cumsum(share) / share.sum()
        cumulative[-1] = 1.0
        self.spectra.append(cumulative)

    def zone(self, outline=(), part=-1, z=None, min_up=0.5) -> int:
        """A HEIGHT zone if z is given, otherwise a SURFACE zone on the part."""
        kind = t.ZoneKind.SURFACE if z is None else t.ZoneKind.HEIGHT
        self.zones.append((int(kind), part, len(self.outline), len(outline), z or 0.0, min_up))
        self.outline.extend(outline)
        return len(self.zones) - 1

    def map(self, part: int, shape: tuple[int, int], corner: tuple[float, float], cell: tuple[float, float]) -> None:
        """A map of nx by ny cells on the front of a part."""
        self.maps.append((part, *shape, self.map_cells, *corner, *cell))
        self.map_cells += shape[0] * shape[1]

    def stack(self, shape: tuple[int, int, int], corner, cell) -> None:
        """A stack of nz planes of nx by ny cells."""
        self.planes.append((*shape, self.plane_cells, *corner, *cell))
        self.plane_cells += shape[0] * shape[1] * shape[2]

    def head(self, centre, normal, radius: float) -> int:
        self.heads.append((tuple(centre), tuple(np.asarray(normal) / np.linalg.norm(normal)), radius))
        return len(self.heads) - 1

    def build(self, tree: bool = False) -> t.Tables:
        corners = np.array(self.corners, dtype=np.float64).reshape(-1, 9)
        triangles = np.array(self.triangles, dtype=t.TRIANGLE)
        box, child = np.zeros((1, 6, 8), np.float32), np.zeros((1, 8), np.int32)
        if tree:
            from underlit.geometry.tree_build import build_tree

            box, child, order = build_tree(corners, extent=4.0)
            corners, triangles = np.ascontiguousarray(corners[order]), triangles[order].copy()
        a, b, c = corners.reshape(-1, 3, 3).transpose(1, 0, 2)
        normals = np.cross(b - a, c - a)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        return t.Tables(
            box,
            child,
            corners,
            np.ascontiguousarray(normals),
            triangles,
            np.zeros(0, t.INSTANCE),
            np.array(self.surfaces, dtype=t.SURFACE),
            np.array(self.reflectance),
            np.array(self.transmittance),
            np.array(self.media, dtype=t.MEDIUM),
            np.array(self.optics),
            np.array(self.sources, dtype=t.SOURCE),
            np.array(self.spectra),
            np.array(self.leds, dtype=t.LED),
            np.array(self.lens_rows, dtype=np.float64).reshape(-1, 3),
            np.zeros(0, t.WEB),
            np.zeros(0),
            np.array(self.zones, dtype=t.ZONE),
            np.array(self.outline, dtype=np.float64).reshape(-1, 2),
            np.array(self.heads, dtype=t.HEAD),
            np.array(self.maps, dtype=t.MAP),
            np.array(self.planes, dtype=t.PLANES),
            self._layout(),
        )

    def _layout(self) -> np.ndarray:
        layout = np.zeros(1, dtype=t.LAYOUT)
        layout["instance_root"] = -1
        sizes = {
            "faces": 2 * len(self.triangles),
            "map": self.map_cells,
            "planes": self.plane_cells,
            "zones": len(self.zones),
            "heads": len(self.heads),
            "ledger": self.buckets,
            "counters": len(t.Counter),
            "end": 0,
        }
        offset = 0
        for name, size in sizes.items():
            layout[0][name] = offset
            offset += size
        return layout


def lens_rows(nodes: np.ndarray) -> list[tuple[float, float, float]]:
    """Rows (theta, I, F) of nodes (theta, I), the flux by Gauss-Legendre quadrature in each interval."""
    points, weights = np.polynomial.legendre.leggauss(12)
    flux = [0.0]
    for (t0, i0), (t1, i1) in itertools.pairwise(nodes):
        theta = 0.5 * (t1 + t0) + 0.5 * (t1 - t0) * points
        intensity = i0 + (i1 - i0) * (theta - t0) / (t1 - t0)
        flux.append(flux[-1] + 0.5 * (t1 - t0) * float(weights @ (intensity * np.sin(theta))))
    share = np.array(flux) / flux[-1]
    share[-1] = 1.0
    return [(theta, i, f) for (theta, i), f in zip(nodes.tolist(), share.tolist(), strict=True)]


def section(tables: t.Tables, row: np.ndarray, name: str) -> np.ndarray:
    """One part of a tally row: faces, map, planes, zones, heads, ledger or counters."""
    names = ["faces", "map", "planes", "zones", "heads", "ledger", "counters", "end"]
    layout = tables.layout[0]
    return row[layout[name] : layout[names[names.index(name) + 1]]]


def ledger_gap(tables: t.Tables, row: np.ndarray) -> int:
    """Quanta in minus quanta out: zero if the ledger closes."""
    ledger = [int(x) for x in section(tables, row, "ledger")]
    given = ledger[t.Bucket.EMITTED] + ledger[t.Bucket.ROULETTE_GAIN]
    return 2 * given - sum(ledger)
