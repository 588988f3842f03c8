"""The oracle: a slow tracer in plain Python, a second and independent reading of docs/photon-walk.md.

It shares the data types of `transport.tables` with the kernels and nothing else: its own random numbers in Python's
whole numbers, its own Fresnel formulas, its own lens inversion, its own tallies, and brute force over all triangles
where the kernels walk a tree. Rays and edges meet here as Pluecker coordinates (Shoemake, Ray Tracing News 11(1),
1998; Teller 1992): the sign of the volume that a ray spans with an edge says on which side it passes. Each edge is
evaluated once for both of its triangles, so that no ray slips between them. All distances are metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from underlit.backends.reference_formulas import (
    GOLDEN,
    MASK,
    Soup,
    Vector,
    along,
    as_vector,
    batch_key,
    combined,
    cross,
    dot,
    fresnel,
    inside,
    lens_angle,
    low_discrepancy,
    mix,
    normalised,
    polarised,
    rounded,
    scattering_cosine,
    turned,
    unit,
    web_angles,
)
from underlit.backends.visits import ESCAPED, SCATTERED, Visit, visit_of_cell
from underlit.transport.tables import (
    PACKET,
    Bucket,
    Counter,
    FaceShape,
    LensKind,
    SurfaceKind,
    Tables,
    ZoneKind,
)

_ROULETTE_BELOW, _ROULETTE_TO = PACKET >> 2, PACKET >> 1
_MOST_EVENTS = 1 << 20
_RAYS_AT_ONCE = 1024


@dataclass
class _Photon:
    key: int
    position: Vector
    direction: Vector
    polarisation: Vector
    weight: int
    bin: int
    group: int  # the coplanar group left, -1 for none
    medium: int
    exit_bucket: int
    choices: list[float]  # the choice of the first events
    last: int | None = None  # the triangle left, None after scattering and for instances
    visits: list[Visit] = field(default_factory=list)
    event: int = 0  # number of the segment under way, from 1

    def number(self, dimension: int) -> float:
        if dimension == 1 and self.event <= len(self.choices):
            return self.choices[self.event - 1]
        return unit(mix((self.key + (8 * self.event + dimension + 1) * GOLDEN) & MASK))


@dataclass
class _Zone:
    kind: int
    part: int
    outline: list[tuple[float, float]]
    z: float
    min_up: float


@dataclass
class _Grid:
    """A map or a stack of planes: whole numbers of its record, corner and size of a cell."""

    cells: dict[str, int]
    start: Vector
    step: Vector

    @classmethod
    def of(cls, row: np.void) -> _Grid:
        """From its record; a map lies at no height."""
        names = row.dtype.names or ()
        start, step = ([float(row[name]) if name in names else 0.0 for name in three] for three in _PLACES)
        return cls(_whole_numbers(row), as_vector(start), as_vector(step))


_PLACES = (("x0", "y0", "z0"), ("dx", "dy", "dz"))


def written_out(tables: Tables) -> tuple[Tables, list[bool]]:
    """The tables with every instance of a shared mesh as triangles of its own, and which triangles those are."""
    plain = np.ones(len(tables.triangles), bool)
    for instance in tables.instances:
        plain[instance["first"] : instance["first"] + instance["count"]] = False
    corners, triangles = [tables.corners[plain]], [tables.triangles[plain]]
    for instance in tables.instances:
        run = slice(instance["first"], instance["first"] + instance["count"])
        points = tables.corners[run].reshape(-1, 3)
        placed = instance["scale"] * np.array([instance["rotation"] @ p for p in points]) + instance["origin"]
        rows = tables.triangles[run].copy()
        rows["slot"] += instance["slot"]
        rows["group"] += instance["group"]
        rows["part"] = instance["part"]
        corners.append(placed.reshape(-1, 9))
        triangles.append(rows)
    is_instance = [False] * int(plain.sum()) + [True] * (sum(map(len, triangles)) - int(plain.sum()))
    return tables._replace(corners=np.concatenate(corners), triangles=np.concatenate(triangles)), is_instance


class Oracle:
    """A slow tracer of one world, with one tally row."""

    def __init__(self, tables: Tables) -> None:
        tables, self.is_instance = written_out(tables)
        self.tables = tables
        self.soup = Soup(tables.corners)
        self.normals = [as_vector(n) for n in self.soup.normal]
        self.triangles = [_whole_numbers(row) for row in tables.triangles]
        self.surfaces = [_whole_numbers(row) for row in tables.surfaces]
        self.specular, self.film = tables.surfaces["specular"].tolist(), tables.surfaces["film"].tolist()
        self.media, self.asymmetry = [_whole_numbers(row) for row in tables.media], tables.media["g"].tolist()
        self.reflectance, self.transmittance = tables.reflectance.tolist(), tables.transmittance.tolist()
        self.optics = tables.optics.tolist()
        self.heads = [(as_vector(h["centre"]), as_vector(h["normal"]), float(h["radius"])) for h in tables.heads]
        self.layout = _whole_numbers(tables.layout[0])
        self.maps, self.planes = [_Grid.of(row) for row in tables.maps], [_Grid.of(row) for row in tables.planes]
        self.zones = [
            _Zone(
                int(zone["kind"]),
                int(zone["part"]),
                [
                    (float(x), float(y))
                    for x, y in tables.outline[zone["first_vertex"] : zone["first_vertex"] + zone["vertex_count"]]
                ],
                float(zone["z"]),
                float(zone["min_up"]),
            )
            for zone in tables.zones
        ]
        self.row = [0] * int(self.layout["end"])

    # -- tallies

    def book(self, bucket: int, quanta: int) -> None:
        """Quanta to a line of the ledger."""
        self.row[self.layout["ledger"] + bucket] += quanta

    def count(self, counter: Counter) -> None:
        """One event more."""
        self.row[self.layout["counters"] + counter] += 1

    def book_cell(self, grid: _Grid, offset: int, x: float, y: float, layer: int, quanta: int) -> None:
        """Quanta to the cell of a map or a plane that holds a point."""
        i, j = (math.floor((at - start) / step) for at, start, step in zip((x, y), grid.start, grid.step))
        nx, ny = grid.cells["nx"], grid.cells["ny"]
        if "part" in grid.cells:  # what rounding puts beyond the rim of a map belongs to the rim
            i, j = min(max(i, 0), nx - 1), min(max(j, 0), ny - 1)
        if 0 <= i < nx and 0 <= j < ny:
            self.row[offset + grid.cells["first"] + (layer * ny + j) * nx + i] += quanta

    def book_passages(self, photon: _Photon, length: float, absorption: float) -> None:
        """What passes down through planes and HEIGHT zones and into heads along the segment of this length."""
        p, d, lay = photon.position, photon.direction, self.layout

        def arriving(s: float) -> int:
            return rounded(photon.weight, math.exp(-absorption * s))

        if d[2] < 0.0:
            z_end = p[2] + length * d[2]
            for grid in self.planes:
                for k in range(grid.cells["nz"]):
                    z = grid.start[2] + k * grid.step[2]
                    if p[2] > z >= z_end:
                        s = (p[2] - z) / -d[2]
                        self.book_cell(grid, lay["planes"], p[0] + s * d[0], p[1] + s * d[1], k, arriving(s))
            for index, zone in enumerate(self.zones):
                if zone.kind == ZoneKind.HEIGHT and p[2] > zone.z >= z_end:
                    s = (p[2] - zone.z) / -d[2]
                    if inside(zone.outline, p[0] + s * d[0], p[1] + s * d[1]):
                        self.row[lay["zones"] + index] += arriving(s)
        for index, (centre, normal, radius) in enumerate(self.heads):
            slope = dot(d, normal)
            if slope < 0.0:
                s = dot(along(centre, -1.0, p), normal) / slope
                if 0.0 < s <= length and math.dist(along(p, s, d), centre) <= radius:
                    self.row[lay["heads"] + index] += arriving(s)

    def book_arrival(self, photon: _Photon, triangle: int, side: int) -> None:
        """What counts at a surface: its face, the maps of its part, the zones on it."""
        info, lay, (x, y, _) = self.triangles[triangle], self.layout, photon.position
        self.row[lay["faces"] + self.cell(triangle, side)] += photon.weight
        for grid in self.maps:
            if side == 0 and info["part"] == grid.cells["part"]:
                self.book_cell(grid, lay["map"], x, y, 0, photon.weight)
        up = self.normals[triangle][2] * (1 if side == 0 else -1)
        for index, zone in enumerate(self.zones):
            counts = zone.kind == ZoneKind.SURFACE and zone.part == info["part"] and up > zone.min_up
            if counts and inside(zone.outline, x, y):
                self.row[lay["zones"] + index] += photon.weight

    def cell(self, triangle: int, side: int) -> int:
        """Where a face's arrivals count: by side, or on instances of a shared mesh by looking up (0) or down (1)."""
        if self.is_instance[triangle]:
            side = 0 if self.normals[triangle][2] * (1 if side == 0 else -1) > 0.0 else 1
        return 2 * self.triangles[triangle]["slot"] + side

    # -- one photon, one event after the other; every event returns whether the photon lives on

    def emit(self, source_index: int, batch_key: int, index: int) -> _Photon:
        """The photon of this index as its LED sends it out."""
        source = _whole_numbers(self.tables.sources[source_index])
        exponent = float(self.tables.sources[source_index]["lens_exponent"])
        led_number, angle_number, azimuth_number, *choices, polarising, face_number, colour = low_discrepancy(
            batch_key, index
        )
        k = min(math.floor(led_number * source["led_count"]), source["led_count"] - 1)
        f = led_number * source["led_count"] - k
        led = self.tables.leds[source["first_led"] + k]
        if source["face_shape"] == FaceShape.RECTANGLE:
            right, ahead = (2.0 * f - 1.0) * float(led["half_u"]), (2.0 * face_number - 1.0) * float(led["half_v"])
        else:
            radius, angle = float(led["half_u"]) * math.sqrt(f), 2.0 * math.pi * face_number
            right, ahead = radius * math.cos(angle), radius * math.sin(angle)
        azimuth = 2.0 * math.pi * azimuth_number
        if source["lens_kind"] == LensKind.COSINE_POWER:
            cosine = (1.0 - angle_number) ** (1.0 / (exponent + 1.0))
            sine = math.sqrt(max(0.0, 1.0 - cosine * cosine))
        else:
            first = source["lens_first"]
            if source["lens_kind"] == LensKind.WEB:
                web = self.tables.webs[first]
                values = self.tables.web_values[int(web["first"]) :]
                shape = int(web["planes"]), int(web["angles"])
                theta, azimuth = web_angles(shape, values, angle_number, azimuth_number)
            else:
                theta = lens_angle(self.tables.lens_rows[first : first + source["lens_count"]], angle_number)
            cosine, sine = math.cos(theta), math.sin(theta)
        axes = [as_vector(led[axis]) for axis in ("position", "u", "v", "w")]
        parts = (sine * math.cos(azimuth), sine * math.sin(azimuth), cosine)
        direction = normalised(combined(*zip(parts, axes[1:], strict=True)))
        spectrum = self.tables.spectra[source_index]
        self.book(Bucket.EMITTED, PACKET)
        return _Photon(
            key=mix(batch_key ^ mix((index + 0x5851F42D4C957F2D) & MASK)),
            position=combined((1.0, axes[0]), (right, axes[1]), (ahead, axes[2])),
            direction=direction,
            polarisation=polarised(direction, polarising),
            weight=PACKET,
            bin=next((b for b, share in enumerate(spectrum) if share > colour), len(spectrum) - 1),
            group=int(led["group"]),
            medium=source["medium"],
            choices=choices,
            exit_bucket=source["bucket"],
        )

    def first_hit(
        self, photon: _Photon, crossings: list[tuple[float, int, int, float]]
    ) -> tuple[tuple[float, int, int] | None, bool]:
        """(t, triangle, side) of what the photon meets, of crossings (t, slot, triangle, d . normal) in order; and whether
        an interface of another medium lay nearer.
        """
        passed, hit = math.inf, None
        for t, _, triangle, slope in crossings:
            info, side = self.triangles[triangle], 0 if slope < 0.0 else 1
            if info["group"] == photon.group and photon.group >= 0:
                continue
            surface = self.surfaces[info["surface"]]
            if surface["kind"] == SurfaceKind.INTERFACE and surface["back" if side else "front"] != photon.medium:
                passed = min(passed, t)
                continue
            hit = (t, triangle, side)
            break
        return hit, passed < (hit[0] if hit else math.inf)

    def advance(self, photon: _Photon, crossings: list[tuple[float, int, int, float]]) -> bool:
        """One segment and what ends it; whether the photon lives on, as all events say."""
        photon.event += 1
        self.count(Counter.SEGMENTS)
        hit, passed = self.first_hit(photon, crossings)
        if hit is None and photon.medium != 0 and photon.last is not None:
            middle = as_vector(self.tables.corners[photon.last].reshape(3, 3).mean(axis=0))
            photon.position = along(photon.position, 1e-9, along(middle, -1.0, photon.position))
            hit, passed = self.first_hit(photon, self.crossings_of([photon])[0])
        if passed:  # counted once a segment
            self.count(Counter.PASSED_OVER)
        length = hit[0] if hit else math.inf
        _, absorption, scattering = (values[photon.bin] for values in self.optics[photon.medium])
        scattered = False
        if scattering > 0.0:
            path = -math.log(1.0 - photon.number(0)) / scattering
            scattered = path < length
            length = min(path, length)
        escaped = math.isinf(length)
        self.book_passages(photon, length, 0.0 if escaped else absorption)
        if escaped:
            photon.visits.append(ESCAPED)
            if photon.medium == 0:
                self.book(photon.exit_bucket, photon.weight)
                return False
            return self.lose(photon)
        kept = rounded(photon.weight, math.exp(-absorption * length))
        self.book(self.media[photon.medium]["bucket"], photon.weight - kept)
        photon.weight = kept
        photon.position = along(photon.position, length, photon.direction)
        if scattered:
            return self.scatter(photon)
        assert hit is not None
        return self.meet(photon, hit[1], hit[2])

    def lose(self, photon: _Photon) -> bool:
        """A photon that should not end here."""
        self.count(Counter.LOST_PHOTONS)
        self.book(Bucket.LOST, photon.weight)
        return False

    def scatter(self, photon: _Photon) -> bool:
        """Henyey and Greenstein's scattering."""
        self.count(Counter.SCATTERINGS)
        photon.visits.append(SCATTERED)
        photon.group, photon.last = -1, None
        cosine = scattering_cosine(self.asymmetry[photon.medium], photon.number(2))
        photon.direction = turned(photon.direction, cosine, 2.0 * math.pi * photon.number(3))
        photon.polarisation = polarised(photon.direction, photon.number(4))
        return self.roulette(photon)

    def meet(self, photon: _Photon, triangle: int, side: int) -> bool:
        """A surface: count what arrives, then what its kind does with it."""
        info = self.triangles[triangle]
        photon.visits.append(visit_of_cell(self.cell(triangle, side)))
        photon.group, photon.last = info["group"], None if self.is_instance[triangle] else triangle
        self.book_arrival(photon, triangle, side)
        surface = self.surfaces[info["surface"]]
        factor = -1.0 if side else 1.0
        normal = combined((factor, self.normals[triangle]))  # towards where the photon came from
        if surface["kind"] == SurfaceKind.INTERFACE:
            return self.cross_or_reflect(photon, info["surface"], side, normal)
        if surface["kind"] == SurfaceKind.OPAQUE and surface["closed"] and side == 1:
            self.book(Bucket.INSIDE_SOLID, photon.weight)
            return False
        reflected = self.reflectance[info["surface"]][side][photon.bin]
        passed = 0.0
        if surface["kind"] == SurfaceKind.LEAF:
            passed = self.transmittance[info["surface"]][side][photon.bin]
        self.keep(photon, reflected + passed, surface, side)
        if photon.weight == 0:
            return False
        specular = self.specular[info["surface"]]
        if surface["kind"] == SurfaceKind.OPAQUE and specular > 0.0 and photon.number(1) < specular:
            for name in ("direction", "polarisation"):
                old = getattr(photon, name)
                setattr(photon, name, normalised(along(old, -2.0 * dot(old, normal), normal)))
            return self.roulette(photon)
        if surface["kind"] == SurfaceKind.LEAF and photon.number(1) * (reflected + passed) >= reflected:
            normal = combined((-1.0, normal))
        photon.direction = turned(normal, math.sqrt(1.0 - photon.number(2)), 2.0 * math.pi * photon.number(3))
        photon.polarisation = polarised(photon.direction, photon.number(4))
        return self.roulette(photon)

    def keep(self, photon: _Photon, share: float, surface: dict[str, int], side: int) -> None:
        """The share that goes on; the surface's line of the ledger gets the rest."""
        kept = rounded(photon.weight, share)
        self.book(surface["bucket_back" if side else "bucket_front"], photon.weight - kept)
        photon.weight = kept

    def cross_or_reflect(self, photon: _Photon, index: int, side: int, n: Vector) -> bool:
        """An interface between media, after Fresnel."""
        surface, film = self.surfaces[index], self.film[index]
        d, e = photon.direction, photon.polarisation
        far = surface["front" if side else "back"]
        n1, n2 = self.optics[photon.medium][0][photon.bin], self.optics[far][0][photon.bin]
        c1 = -dot(d, n)
        across = cross(d, n)
        s = normalised(across) if math.sqrt(dot(across, across)) >= 1e-9 else e
        a_s, a_p = dot(e, s), dot(e, cross(s, d))
        amplitudes = fresnel(n1, n2, c1)
        r_s, r_p, t_s, t_p, c2 = amplitudes or (1.0, 1.0, 0.0, 0.0, 0.0)
        reflectance = (a_s * r_s) ** 2 + (a_p * r_p) ** 2
        if amplitudes is None or photon.number(1) < reflectance:
            self.leave(photon, along(d, 2.0 * c1, n), s, a_s * r_s, a_p * r_p)
            return True
        ratio = n1 / n2
        self.leave(photon, combined((ratio, d), (ratio * c1 - c2, n)), s, a_s * t_s, a_p * t_p)
        photon.medium = far
        if far == 0 and surface["exit_bucket"] >= 0:
            photon.exit_bucket = surface["exit_bucket"]
        if film == 1.0:
            return True
        self.keep(photon, film, surface, side)
        return self.roulette(photon)

    @staticmethod
    def leave(photon: _Photon, direction: Vector, s: Vector, e_s: float, e_p: float) -> None:
        """Direction and polarisation after an interface, from the parts along s and p."""
        d = normalised(direction)
        e = combined((e_s, s), (e_p, cross(s, d)))
        photon.direction = d
        photon.polarisation = normalised(along(e, -dot(e, d), d))

    def roulette(self, photon: _Photon) -> bool:
        """The unbiased end of faint photons."""
        if photon.weight >= _ROULETTE_BELOW:
            return True
        if photon.weight > 0:
            if photon.number(5) < photon.weight / _ROULETTE_TO:
                self.book(Bucket.ROULETTE_GAIN, _ROULETTE_TO - photon.weight)
                photon.weight = _ROULETTE_TO
                return True
            self.book(Bucket.ROULETTE_LOSS, photon.weight)
        return False

    def walk(self, photons: list[_Photon]) -> None:
        """All photons to their end, event by event side by side, so that numpy can intersect many rays at once."""
        living = photons
        while living:
            survivors = []
            for first in range(0, len(living), _RAYS_AT_ONCE):
                some = living[first : first + _RAYS_AT_ONCE]
                for photon, crossings in zip(some, self.crossings_of(some), strict=True):
                    if not self.advance(photon, crossings) or photon.weight == 0:
                        continue
                    if photon.event >= _MOST_EVENTS:
                        self.lose(photon)
                    else:
                        survivors.append(photon)
            living = survivors

    def crossings_of(self, photons: list[_Photon]) -> list[list[tuple[float, int, int, float]]]:
        """For each photon its ray's crossings (t, slot, triangle, d . normal), nearest and lowest slot first."""
        p, d = (np.array([getattr(photon, name) for photon in photons]) for name in ("position", "direction"))
        found: list[list[tuple[float, int, int, float]]] = [[] for _ in photons]
        slots = self.tables.triangles["slot"]
        ray, triangle, t, slope = self.soup.crossings(p, d)
        for r, *crossing in zip(ray.tolist(), t.tolist(), slots[triangle].tolist(), triangle.tolist(), slope.tolist()):
            found[r].append((crossing[0], crossing[1], crossing[2], crossing[3]))
        return [sorted(crossings) for crossings in found]


def _whole_numbers(row: np.void) -> dict[str, int]:
    """The whole numbers of a record, as Python's."""
    return {name: int(row[name]) for name in row.dtype.names or () if row.dtype[name].kind == "i"}


def trace(
    tables: Tables, source: int, seed: int, batch: int, first: int, count: int
) -> tuple[np.ndarray, list[list[Visit]]]:
    """Trace photons `first` to `first + count - 1` of one batch of one source (its row in `tables.sources`).

    Returns the tally row, (layout.end,) int64 [quanta; counters: events], and for each photon what it met, one after the
    other.
    """
    tracer = Oracle(tables)
    key = batch_key(seed, int(tables.sources[source]["key"]), batch)
    photons = [tracer.emit(source, key, index) for index in range(first, first + count)]
    tracer.walk(photons)
    return np.array(tracer.row, dtype=np.int64), [photon.visits for photon in photons]
