"""A world under construction: media, surfaces, meshes, sources and counters, compiled into the kernels' tables.

The lowering of a scene puts its pieces into a `World`; so does anybody who builds a textbook room in code:

    world = World()
    floor = world.opaque("floor", reflectance=0.0)
    world.add_mesh("floor", *rectangle((0, 0, 0), (4, 0, 0), (0, 4, 0)), floor)
    world.add_source("lamp", [(2, 2, 3)], ppf=100.0)
    world.add_head("under the lamp", (2, 2, 0.001), radius=0.02)
    compiled = world.compile()
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from underlit.lowering.compile.contents import Contents, MediumRow, MeshRow, SourceRow, SurfaceRow, WebRow, ZoneRow
from underlit.lowering.compiled import LAYERS, CompiledScene, Grid, Instances, Template
from underlit.lowering.records import OWN, PAST_THE_TANK, ROOM, Frame, HeadInfo, Line, Part, Role, Source, ZoneInfo
from underlit.transport.emission import lens_table, web_block
from underlit.transport.tables import BINS, FaceShape, SurfaceKind, ZoneKind

Spectrum = float | Sequence[float] | np.ndarray
OUTSIDE = 0
"""The room's air, medium 0: a photon that leaves the world there has escaped, anywhere else it is lost."""
_NO_AREA = 1e-16
"""Twice the area [m2] up to which a face counts as having none."""


def spectrum_array(value: Spectrum, what: str) -> np.ndarray:
    """A number or (BINS,) values as a (BINS,) float64 array; ValueError if not finite or of another length."""
    array = np.asarray(value, dtype=np.float64)
    if array.shape not in ((), (BINS,)):
        raise ValueError(f"{what}: expected one number or {BINS} values over 400-700 nm (got shape {array.shape})")
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{what}: values must be finite")
    return np.broadcast_to(array, (BINS,)).copy()


def rectangle(corner: Sequence[float], along: Sequence[float], up: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Two triangles that make a rectangle, from a corner [m] along one side and up another, vectors [m].

    Vertices (4, 3) float64 [m] and faces (2, 3) int32, indices of vertices. The front looks along the cross product
    along x up.
    """
    c, a, u = (np.asarray(v, dtype=np.float64) for v in (corner, along, up))
    return np.array([c, c + a, c + a + u, c + u]), np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)


def box(low: Sequence[float], high: Sequence[float], inward: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """A closed box of twelve triangles between its corners of low and of high coordinates [m].

    Vertices (8, 3) float64 [m] and faces (12, 3) int32, indices of vertices. With `inward` the fronts look inside, as
    those of a room do.
    """
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    vertices = np.array([[(lo, hi)[(i >> a) & 1][a] for a in range(3)] for i in range(8)])
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    faces = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], dtype=np.int32)
    return vertices, np.ascontiguousarray(faces[:, ::-1]) if inward else faces


def _line(said: Line | str) -> Line:
    """A ledger line as said; the room's own by its name."""
    if isinstance(said, Line):
        return said
    return PAST_THE_TANK if said == PAST_THE_TANK.name else Line(said)


class World:
    """Media, surfaces, meshes, sources and counters. Methods return indices; `compile` gives the tables.

    Parts, sources and ledger lines are records. A text stands for the part, fixture or line of that name in the scene's
    own tank. All coordinates are those of the world [m], and a `Spectrum` is one number or (60,) by bin of 5 nm.

    Notes
    -----
    What the methods have in common:

    - `name` is what messages and results call a thing, `surface` the index of a surface.
    - `line` is a line of the ledger, `bucket` that which counts what a thing absorbs (default: its name).
    - `part` is a part or its name; `role` is what it is in the picture, if only its name is given.
    - `faces` (m, 3) are indices of `vertices` (n, 3) [m]; the front is where (b - a) x (c - a) looks.
    - `frame` is the tank in whose frame a counter lies, `area` the area that its mean is taken over [m2], and `outline`
      where it counts, shape (k, 2) [m]: everywhere if not given.
    """

    def __init__(self) -> None:
        self.contents = Contents()
        self.medium(Line("air", tank=ROOM), 1.0)

    @property
    def notes(self) -> list[str]:
        """What a user should know of this world, a line each."""
        return self.contents.notes

    @property
    def cautions(self) -> list[str]:
        """What a user should know of it before anything else, a line each."""
        return self.contents.cautions

    # -- ledger ---------------------------------------------------------------------------------------------
    def bucket(self, line: Line | str) -> int:
        """Index of a ledger line, made if new."""
        lines, line = self.contents.lines, _line(line)
        if line not in lines:
            lines.append(line)
        return lines.index(line)

    # -- media ----------------------------------------------------------------------------------------------
    def medium(
        self, line: Line | str, index: Spectrum, absorption: Spectrum = 0.0, scattering: Spectrum = 0.0, g: float = 0.9
    ) -> int:
        """A medium that light travels in; its index, 0 being the air of the room.

        ValueError for one that exists already (each has a line of its own), an index under 1, a negative coefficient.

        Parameters
        ----------
        index
            Refractive index.
        absorption, scattering
            Coefficients [1/m].
        g
            Mean cosine of the scattering angle (Henyey & Greenstein, Astrophys. J. 93:70, 1941).
        """
        name, media = _line(line).name, self.contents.media
        bucket = self.bucket(line)
        if any(medium.bucket == bucket for medium in media):
            raise ValueError(f"medium {name!r} exists already")
        values = np.stack([spectrum_array(v, f"medium {name!r}") for v in (index, absorption, scattering)])
        if values.min() < 0 or values[0].min() < 1:
            raise ValueError(f"medium {name!r}: index must be at least 1, absorption and scattering not negative")
        media.append(MediumRow(bucket, float(g), values))
        return len(media) - 1

    # -- surfaces -------------------------------------------------------------------------------------------
    def _add_surface(self, row: SurfaceRow) -> int:
        self.contents.surfaces.append(row)
        return len(self.contents.surfaces) - 1

    def opaque(
        self,
        name: str,
        reflectance: Spectrum,
        *,
        back_reflectance: Spectrum | None = None,
        specular: float = 0.0,
        closed: bool = False,
        bucket: Line | str | None = None,
    ) -> int:
        """A surface that lets nothing through; its index. ValueError for shares outside 0 to 1.

        Parameters
        ----------
        reflectance, back_reflectance
            Share of the light that front and back return; the back is as the front unless given.
        specular
            Share of the returned light that is mirror-like; the rest is Lambertian.
        closed
            Whether the mesh is a solid whose inside light must not reach.
        """
        front = spectrum_array(reflectance, f"surface {name!r}")
        back = front if back_reflectance is None else spectrum_array(back_reflectance, f"surface {name!r}")
        values = np.stack([front, back])
        if values.min() < 0 or values.max() > 1 or not 0 <= specular <= 1:
            raise ValueError(f"surface {name!r}: reflectance and specular share must lie between 0 and 1")
        line = self.bucket(bucket or name)
        kind, through = SurfaceKind.OPAQUE, np.zeros_like(values)
        return self._add_surface(
            SurfaceRow(kind, values, through, line, line, closed=int(closed), specular=float(specular))
        )

    def leaf(
        self, name: str, reflectance: Spectrum, transmittance: Spectrum, *, bucket: Line | str | None = None
    ) -> int:
        """A thin sheet that reflects and transmits diffusely, both sides the same; its index.

        ValueError for a reflectance or transmittance, shares of the light, outside 0 to 1, or that exceed 1 together.
        """
        r, t = spectrum_array(reflectance, f"leaf {name!r}"), spectrum_array(transmittance, f"leaf {name!r}")
        if min(r.min(), t.min()) < 0 or (r + t).max() > 1:
            raise ValueError(f"leaf {name!r}: reflectance + transmittance must lie between 0 and 1")
        line = self.bucket(bucket or name)
        return self._add_surface(SurfaceRow(SurfaceKind.LEAF, np.stack([r, r]), np.stack([t, t]), line, line))

    def interface(
        self,
        name: str,
        front: int,
        back: int,
        *,
        film: float = 1.0,
        bucket: Line | str | None = None,
        exit: Line | str | None = None,
    ) -> int:
        """A smooth plane between two media (Fresnel; Born & Wolf, Principles of Optics, 7th ed., 1.5.2); its index.

        ValueError for a share outside 0 to 1 or a medium that is not there.

        Parameters
        ----------
        front, back
            Index of the medium on each side.
        film
            Share of the light that a film on it lets through at each crossing (dirt, condensation, algae).
        exit
            Ledger line of light that crosses into the air of the room here and then leaves the world.
        """
        if not 0 <= film <= 1:
            raise ValueError(
                f"surface {name!r}: the share that the film lets through must lie between 0 and 1 (got {film})"
            )
        for medium in (front, back):
            if not 0 <= medium < len(self.contents.media):
                raise ValueError(f"surface {name!r}: there is no medium {medium}")
        line, zero = self.bucket(bucket or name), np.zeros((2, BINS))
        way_out = -1 if exit is None else self.bucket(exit)
        return self._add_surface(
            SurfaceRow(
                SurfaceKind.INTERFACE, zero, zero, line, line, front=front, back=back, film=film, exit_bucket=way_out
            )
        )

    # -- meshes ---------------------------------------------------------------------------------------------
    def part(self, part: Part | str) -> int:
        """Index of a part as a whole, made if new; its faces share zones and results."""
        parts = self.contents.parts
        return parts.setdefault(self._part(part), len(parts))

    def _part(self, said: Part | str) -> Part:
        """The whole part that is meant: a text means what was added under it, whatever its role."""
        if isinstance(said, Part):
            return said.whole
        known = (part for part in self.contents.parts if part.part == said and part.tank == OWN.tank)
        return next(known, Part(said))

    def add_mesh(
        self,
        part: Part | str,
        vertices: np.ndarray,
        faces: np.ndarray,
        surface: int,
        *,
        role: Role = Role.OTHER,
        face: str = "",
    ) -> None:
        """Add triangles of a part, all of one surface; a face, if the part is given by its name, says which of its own.

        ValueError for a mesh without faces, with vertices that are not finite or not there, or without its surface.
        """
        record = part if isinstance(part, Part) else Part(part, role, face)
        v = np.ascontiguousarray(vertices, dtype=np.float64).reshape(-1, 3)
        f = np.ascontiguousarray(faces, dtype=np.int32).reshape(-1, 3)
        if len(f) == 0:
            raise ValueError(f"mesh {record.name!r} has no faces")
        if not np.all(np.isfinite(v)):
            raise ValueError(f"mesh {record.name!r} has vertices that are not finite")
        if f.min() < 0 or f.max() >= len(v):
            raise ValueError(f"mesh {record.name!r}: faces name vertices that do not exist")
        if not 0 <= surface < len(self.contents.surfaces):
            raise ValueError(f"mesh {record.name!r}: there is no surface {surface}")
        corners = v[f]
        doubled = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        f = np.ascontiguousarray(f[doubled > _NO_AREA])
        if len(f) == 0:
            raise ValueError(f"mesh {record.name!r} has only faces without area")
        self.part(record)
        self.contents.meshes.append(MeshRow(record, v, f, surface))

    def add_template(self, vertices: np.ndarray, faces: np.ndarray, surface: int) -> int:
        """Add a leaf or opaque mesh that is stored once and placed by `add_instances`; its index.

        ValueError for a mesh without faces or with vertices that are not finite, and for an interface between media.
        """
        v = np.ascontiguousarray(vertices, dtype=np.float64).reshape(-1, 3)
        f = np.ascontiguousarray(faces, dtype=np.int32).reshape(-1, 3)
        if len(f) == 0 or not np.all(np.isfinite(v)):
            raise ValueError("a template needs faces and finite vertices")
        if self.contents.surfaces[surface].kind == SurfaceKind.INTERFACE:
            raise ValueError("a template is of leaves or opaque, not an interface between media")
        corners = v[f]
        height = corners[:, :, 2].mean(axis=1)
        low, high = height.min(), height.max()
        layer = np.clip((height - low) / max(high - low, 1e-12) * LAYERS, 0, LAYERS - 1).astype(np.int32)
        self.contents.templates.append(Template(corners.reshape(-1, 9), layer, surface))
        return len(self.contents.templates) - 1

    def add_instances(
        self,
        part: Part | str,
        template: int,
        origins: np.ndarray,
        rotations: np.ndarray,
        scales: np.ndarray,
        *,
        role: Role = Role.PLANTS,
    ) -> None:
        """Add instances of a template as a part; those of several templates, added one after the other, are one mesh.

        ValueError for arrays of unequal length and scales that are not positive.

        Parameters
        ----------
        template
            Index of the template.
        origins, rotations
            Where each stands, shape (n, 3) [m], and its unit vectors as columns, shape (n, 3, 3).
        scales
            Factor of its size, shape (n,).
        """
        record = part if isinstance(part, Part) else Part(part, role)
        o = np.ascontiguousarray(origins, dtype=np.float64).reshape(-1, 3)
        r = np.ascontiguousarray(rotations, dtype=np.float64).reshape(-1, 3, 3)
        s = np.ascontiguousarray(scales, dtype=np.float64).reshape(-1)
        if not len(o) == len(r) == len(s) > 0 or not (s > 0).all():
            raise ValueError(
                f"instances {record.name!r}: origins, rotations and scales must be equally many, scales positive"
            )
        self.part(record)
        self.contents.instances.append(Instances(record, template, o, r, s))

    # -- sources --------------------------------------------------------------------------------------------
    def add_source(  # noqa: PLR0913 - all that a source is, each but the first three with a default
        self,
        source: Source | str,
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
        exit: Line | str = PAST_THE_TANK,
        key: int | None = None,
    ) -> int:
        """Add LEDs that share lens and spectrum, or one planar Lambertian source; its index.

        ValueError for a PPF, spectrum or beam that cannot be.

        Parameters
        ----------
        source
            The source, or the name of a fixture of the scene's own tank.
        positions
            Middles of the emitting faces, shape (n, 3) [m].
        ppf
            PPF of all of them together at full power [umol/s].
        axis, along
            Direction that they look in, and direction of the face's first half length: shape (3,) or (n, 3).
        half_size
            Half lengths of the face [m], the radius first for a disc; 0, 0 is a point.
        face
            Outline of the face.
        beam_exponent
            Exponent of the cosine of the angle from the axis, as which intensity goes; 1 is Lambertian.
        beam_table
            Instead: angles from the axis, shape (k,) [rad], and relative intensities (k,).
        beam_web
            Instead: azimuths (nc,) [rad] from `along` towards axis x along over a full turn, angles (ng,) [rad], and
            relative intensities (nc, ng).
        spectrum
            Relative number of photons.
        medium
            Index of the medium that they stand in.
        exit
            Ledger line of light that leaves the world without having entered anything.
        key
            Its number in the random numbers (default: its index).
        """
        record = source if isinstance(source, Source) else Source(source)
        photons = spectrum_array(spectrum, f"source {record.name!r}")
        if not (np.isfinite(ppf) and ppf >= 0):
            raise ValueError(f"source {record.name!r}: the photon flux must be finite and not negative (got {ppf})")
        if photons.min() < 0 or photons.sum() <= 0:
            raise ValueError(f"source {record.name!r}: the spectrum holds no photons between 400 and 700 nm")
        p = np.asarray(positions, dtype=np.float64).reshape(-1, 3)
        u, v, w = _axes(p.shape, axis, along)
        cumulative = np.cumsum(photons) / photons.sum()
        cumulative[-1] = 1.0
        rows = self.contents.sources
        rows.append(
            SourceRow(
                record, float(ppf), p, u, v, w, half_size, face, float(beam_exponent), _beam_rows(record, beam_table),
                _web(beam_web), cumulative, medium, self.bucket(exit), len(rows) if key is None else key,
            )
        )  # fmt: skip
        return len(rows) - 1

    # -- counters -------------------------------------------------------------------------------------------
    def add_head(
        self,
        name: str,
        centre: Sequence[float],
        *,
        normal: Sequence[float] = (0.0, 0.0, 1.0),
        radius: float = 0.015,
        frame: Frame = OWN,
    ) -> int:
        """Add a meter head: a disc that counts the light arriving on its face and does not touch it; its index.

        It has a centre [m], a normal, the direction that it looks in, and a radius [m]. ValueError for values that are
        not finite and a radius that is not positive.
        """
        n = np.asarray(normal, dtype=np.float64)
        n = n / np.linalg.norm(n)
        c = np.asarray(centre, dtype=np.float64)
        if not (np.all(np.isfinite(c)) and np.all(np.isfinite(n)) and radius > 0):
            raise ValueError(f"head {name!r}: centre and normal must be finite and the radius positive")
        self.contents.heads.append(HeadInfo(name, _triple(c), _triple(n), float(radius)).moved_to(frame))
        return len(self.contents.heads) - 1

    def add_surface_zone(
        self,
        name: str,
        part: Part | str,
        *,
        area: float,
        outline: np.ndarray | None = None,
        min_up: float = 0.0,
        frame: Frame = OWN,
    ) -> int:
        """Add a zone of a part's faces; its index.

        A side counts if the z of its own unit normal is above `min_up`, a cosine.
        """
        return self._zone(name, frame, area, outline, ZoneKind.SURFACE, self._part(part), 0.0, min_up)

    def add_height_zone(
        self, name: str, z: float, *, area: float, outline: np.ndarray | None = None, frame: Frame = OWN
    ) -> int:
        """Add a zone that counts light going down through a height z [m]; its index."""
        return self._zone(name, frame, area, outline, ZoneKind.HEIGHT, None, z, 0.0)

    def _zone(
        self, name: str, frame: Frame, area: float, outline: np.ndarray | None,
        kind: ZoneKind, part: Part | None, z: float, min_up: float,
    ) -> int:  # fmt: skip
        if not (np.isfinite(area) and area > 0):
            raise ValueError(f"zone {name!r}: it has no area that light can reach")
        xy = np.zeros((0, 2)) if outline is None else np.asarray(outline, dtype=np.float64).reshape(-1, 2)
        info = ZoneInfo(name, float(area)).moved_to(frame)
        self.contents.zones.append(ZoneRow(info, kind, part, xy, float(z), float(min_up)))
        return len(self.contents.zones) - 1

    def add_planes(self, grid: Grid) -> None:
        """Add a stack of level planes, the cells of a grid, that count light going down, such as those of one tank."""
        self.contents.planes.append(grid)

    def add_map(self, part: Part | str, grid: Grid) -> None:
        """Add a map, a grid of one layer, of the light on the front of a part, such as the bed of one tank."""
        self.contents.maps.append((self._part(part), grid))

    # -- tables ---------------------------------------------------------------------------------------------
    def compile(self) -> CompiledScene:
        """Build the tables of the kernels, the tree included.

        ValueError if there is no source or no mesh, or a counter names a part that is not there.
        """
        from underlit.lowering.compile.tables import compile_contents

        return compile_contents(self.contents)


def _triple(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


def _axes(
    shape: tuple[int, ...], axis: Sequence[float] | np.ndarray, along: Sequence[float] | np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit axes u, v, w of faces that look along `axis`; u is `along` as far as it is square to that, else any."""
    w = np.broadcast_to(np.asarray(axis, dtype=np.float64), shape)
    w = w / np.linalg.norm(w, axis=1, keepdims=True)
    u = np.broadcast_to(np.asarray(along, dtype=np.float64), shape)
    u = u - (u * w).sum(axis=1, keepdims=True) * w
    short = np.linalg.norm(u, axis=1) < 1e-9
    if short.any():
        other = np.where(np.abs(w[short, :1]) < 0.9, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
        u[short] = other - (other * w[short]).sum(axis=1, keepdims=True) * w[short]
    u = u / np.linalg.norm(u, axis=1, keepdims=True)
    return u, np.cross(w, u), w


def _beam_rows(
    source: Source, table: tuple[Sequence[float] | np.ndarray, Sequence[float] | np.ndarray] | None
) -> np.ndarray | None:
    if table is None:
        return None
    theta, value = (np.asarray(a, dtype=np.float64) for a in table)
    if theta.shape != value.shape or len(theta) < 2 or np.any(np.diff(theta) <= 0) or value.min() < 0:
        raise ValueError(f"source {source.name!r}: a beam table needs rising angles and intensities not negative")
    return lens_table(theta, value)


def _web(web: tuple[np.ndarray, np.ndarray, np.ndarray] | None) -> WebRow | None:
    if web is None:
        return None
    azimuth, angle, value = (np.asarray(a, dtype=np.float64) for a in web)
    return WebRow((value.shape[0], value.shape[1]), web_block(azimuth, angle, value))
