"""Reading a stored result back: see `results.store` for what the file holds."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from underlit.lowering.compiled import CompiledScene, Grid, Mesh
from underlit.lowering.records import Frame, HeadInfo, InTank, Line, Part, Role, Source, ZoneInfo
from underlit.lowering.responses import Targets
from underlit.results.estimate import Estimate, combine
from underlit.results.responses import Responses
from underlit.results.result import Counts, Field, Result, over_area, slot_areas
from underlit.transport.tables import LAYOUT, Tables

Record = TypeVar("Record", bound=InTank)

if TYPE_CHECKING:
    import xarray

FORMAT = 2
"""Number of the layout of the file; a reader refuses numbers it does not know. 2: things are told apart by records."""

GRIDS = {"bed": "yx", "planes": "zyx"}
"""Kinds of gridded fields and their axes."""
_DIMENSION = {"bed": "bed", "planes": "plane"}


def grid_names(kind: str, number: int) -> tuple[str, tuple[str, ...]]:
    """What the fields of a grid and its dimensions are called in the file; the first of a kind needs no number."""
    of_several = f"_{number}" if number else ""
    return f"{kind}{of_several}", tuple(f"{_DIMENSION[kind]}{of_several}_{axis}" for axis in GRIDS[kind])


@dataclass
class StoredCounts:
    """Counts of one source as read back, see `backends.cpu.SourceCounts`; groups hold bed and planes, not faces."""

    photons_per_batch: int
    groups: np.ndarray
    group_batches: np.ndarray
    batches: int
    points: list[np.ndarray]
    ledger: list[int]
    counters: list[int]

    def of_points(self, chosen: Sequence[int]) -> StoredCounts:
        """The same counts with some of the zones and heads only."""
        return replace(self, points=[row[list(chosen)] for row in self.points])

    @property
    def photons(self) -> int:
        """Number of photon packets counted."""
        return self.batches * self.photons_per_batch


@dataclass(frozen=True)
class StoredResult(Result):
    """A result read from a file. It answers as the traced one did; `compiled.tables` holds the tally layout only.

    face_means, face_variances: (sources, triangles, 2) float64 [umol/s and its square] at full power, front and back.
    provenance: what the writer said of where the numbers come from (scene text, versions, ...).
    """

    face_means: np.ndarray = field(default_factory=lambda: np.zeros((0, 0, 2)))
    face_variances: np.ndarray = field(default_factory=lambda: np.zeros((0, 0, 2)))
    provenance: Mapping[str, Any] = field(default_factory=dict)

    @property
    def scene_text(self) -> str:
        """The scene file as traced; empty if the writer gave none."""
        return str(self.provenance.get("scene_text", ""))

    def faces(self, mesh: Mesh | str) -> Field:
        """PPFD arriving on a mesh's faces: (n_faces, 2), front and back side."""
        found = self.mesh_of(mesh)
        rows = found.face_slots()
        parts = []
        for i, counts in enumerate(self.counts):
            dimming = self.dimming.get(self.compiled.sources[i], 1.0)
            dof = float(np.count_nonzero(counts.group_batches)) - 1.0
            parts.append((self.face_means[i, rows] * dimming, self.face_variances[i, rows] * dimming**2, max(dof, 0.0)))
        value, error, _ = combine(parts)
        area = slot_areas(found)[:, None]
        return over_area(value, error, min((p[2] for p in parts), default=0.0), self.packet_flux, area)

    def face_flux(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Flux on every cell of faces as dimmed [umol/s], its variance, both (2 slots,), and their degrees of freedom."""
        levels = np.array([self.dimming.get(source, 1.0) for source in self.compiled.sources])[:, None, None]
        mean, variance = (levels * self.face_means).sum(axis=0), (levels**2 * self.face_variances).sum(axis=0)
        dof = min((float(np.count_nonzero(c.group_batches)) - 1.0 for c in self.counts), default=0.0)
        return mean.ravel(), variance.ravel(), max(dof, 0.0)

    def mean_over_faces(self, cells: np.ndarray, area: float) -> Estimate:
        """As traced; but what faces share of their errors is not kept, so they are taken as independent.

        That makes the error too wide rather than too narrow, by 1.2 to 2.3 times on the planting plan and under its wood: a
        packet that meets one leaf misses others.
        """
        mean, variance, dof = self.face_flux()
        error = math.sqrt(float(variance[cells].sum()))
        return Estimate(float(mean[cells].sum() / area), error / area, dof, self.packet_flux / area)


def read_fields(path: str | Path) -> xarray.Dataset:
    """The file as an xarray Dataset in memory. Raises ValueError with one line if it is not such a file."""
    import xarray

    try:
        with xarray.open_dataset(path, engine="netcdf4") as dataset:
            dataset.load()
    except FileNotFoundError:
        raise ValueError(f"{path}: no such file; trace a scene into this folder first") from None
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())[:120]
        raise ValueError(f"{path}: cannot be read as netCDF ({reason}); trace the scene again") from None
    found = dataset.attrs.get("underlit_format")
    if found is None:
        raise ValueError(f"{path}: is a netCDF file, but not a result of underlit")
    if int(found) != FORMAT:
        raise ValueError(f"{path}: has format {int(found)}, this version reads {FORMAT}; trace the scene again")
    return dataset


def load_result(path: str | Path) -> StoredResult:
    """Read a result back. Raises ValueError with one line if the file is not one."""
    d = read_fields(path)
    said = json.loads(d.attrs["provenance"])
    compiled = _compiled(d)
    return StoredResult(
        compiled=compiled,
        counts=_counts(d),
        seed=int(d.attrs["seed"]),
        seconds=float(d.attrs["seconds"]),
        dimming=dict(zip(compiled.sources, d["source_dimming"].values.tolist(), strict=True)),
        complete=bool(d.attrs["complete"]),
        responses=_responses(d, compiled),
        face_means=_values(d, "faces_flux", np.float64),
        face_variances=_values(d, "faces_flux_variance", np.float64),
        provenance=said,
    )


def _responses(d: xarray.Dataset, compiled: CompiledScene) -> Responses | None:
    """How the light answers to the assumptions; None in a file of a trace that was not asked."""
    if "response_sums" not in d:
        return None
    targets = Targets(compiled)
    return Responses(
        sums=_values(d, "response_sums", np.float64),
        levers=tuple(_texts(d, "response_lever")),
        lens=d["response_lens"].values.astype(bool),
        ends=tuple(zip(_texts(d, "response_end"), d["response_end_side"].values.tolist(), strict=True)),
        logs=_values(d, "response_log", np.float64),
        errors=_values(d, "response_log_error", np.float64),
        points=np.arange(targets.points),
        plantings=targets.plantings,
        first_planting=targets.points,
        first_patch=targets.first_patch,
    )


def _values(d: xarray.Dataset, name: str, dtype: type) -> np.ndarray:
    return np.ascontiguousarray(d[name].values, dtype=dtype)


def _texts(d: xarray.Dataset, name: str) -> list[str]:
    return [str(v) for v in d[name].values]


def _grids(d: xarray.Dataset, kind: str, first: int) -> tuple[Grid, ...]:
    """All grids of a kind, whose sums follow each other in the groups from `first` on."""
    found = []
    for number in range(int(d.attrs[f"{kind}_grids"])):
        name, _ = grid_names(kind, number)
        x0, y0, z0, dx, dy, dz = json.loads(d.attrs[f"{name}_grid"])
        area = _values(d, f"{name}_open_area", np.float64)
        area = area.reshape(-1, *area.shape[-2:])
        nz, ny, nx = area.shape
        found.append(Grid((x0, y0, z0), (dx, dy, dz), (nx, ny, nz), area, int(d.attrs[f"{name}_tank"]), first))
        first += area.size
    return tuple(found)


def _frames(d: xarray.Dataset) -> tuple[Frame, ...]:
    places = d["tank_offset"].values.tolist()
    return tuple(
        Frame(tank, name, (x, y, z))
        for tank, name, (x, y, z) in zip(d["tank_number"].values.tolist(), _texts(d, "tank_name"), places, strict=True)
    )


def _records(
    d: xarray.Dataset, kind: str, make: Callable[..., Record], frames: Sequence[Frame], *fields: str, **more: Any
) -> tuple[Record, ...]:
    """Records of a kind from their fields in the file, in their tanks."""
    of_tank = {frame.tank: frame for frame in frames}
    columns = {key: d[f"{kind}_{key}"].values.tolist() for key in fields}
    made = []
    for i, tank in enumerate(d[f"{kind}_tank"].values.tolist()):
        record = make(**{key: values[i] for key, values in columns.items()}, **{key: v[i] for key, v in more.items()})
        made.append(record.moved_to(of_tank.get(tank, Frame(tank))))
    return tuple(made)


def _compiled(d: xarray.Dataset) -> CompiledScene:
    frames = _frames(d)
    maps = _grids(d, "bed", 0)
    planes = _grids(d, "planes", sum(grid.cells for grid in maps))
    centres, normals = ([tuple(v) for v in d[f"head_{key}"].values.tolist()] for key in ("centre", "normal"))
    zones = _records(d, "zone", ZoneInfo, frames, "zone", "area")
    heads = _records(d, "head", HeadInfo, frames, "spot", "radius", centre=centres, normal=normals)
    sizes = [sum(grid.cells for grid in grids) for grids in (maps, planes)]
    empty = {name: np.zeros(0) for name in Tables._fields}
    return CompiledScene(
        tables=Tables(**{**empty, "layout": _layout(sizes, len(zones), len(heads), d)}),
        sources=_records(
            d,
            "source",
            Source,
            frames,
            "fixture",
            "channel",
            "group",
            upward=d["source_upward"].values.astype(bool).tolist(),
        ),
        ppf=tuple(d["source_ppf"].values.tolist()),
        zones=zones,
        heads=heads,
        lines=_records(d, "line", Line, frames, "what", "part"),
        plain_meshes=_meshes(d, frames),
        plane_grids=planes,
        map_grids=maps,
        notes=tuple(json.loads(d.attrs["notes"])),
        frames=frames,
    )


def _layout(sizes: list[int], n_zones: int, n_heads: int, d: xarray.Dataset) -> np.ndarray:
    """Offsets of the cells that the file's groups hold: bed and planes follow each other from 0."""
    layout = np.zeros(1, LAYOUT)
    counts = [0, *sizes, n_zones, n_heads, d.sizes["line"], d.sizes["event"]]
    names = ("faces", "map", "planes", "zones", "heads", "ledger", "counters", "end")
    for name, offset in zip(names, np.concatenate([[0], np.cumsum(counts)]), strict=True):
        layout[name] = offset
    return layout


def _meshes(d: xarray.Dataset, frames: Sequence[Frame]) -> tuple[Mesh, ...]:
    vertices, faces = _values(d, "vertices", np.float64), _values(d, "faces", np.int32)
    slots = _values(d, "face_slot", np.int64)
    parts = _records(d, "mesh", Part, frames, "part", "face", role=[Role[role] for role in _texts(d, "mesh_role")])
    meshes = []
    first_vertex = first_face = 0
    for part, surface, n_vertices, n_faces in zip(
        parts, d["mesh_surface"].values, d["mesh_vertices"].values, d["mesh_faces"].values, strict=True
    ):
        v = vertices[first_vertex : first_vertex + int(n_vertices)]
        f = faces[first_face : first_face + int(n_faces)]
        own = slots[first_face : first_face + int(n_faces)]
        counted_alone = len(own) > 0 and np.array_equal(own, own[0] + np.arange(len(own)))
        shared = None if counted_alone else own
        meshes.append(Mesh(part, v, f, int(own.min()), int(surface), shared))
        first_vertex, first_face = first_vertex + int(n_vertices), first_face + int(n_faces)
    return tuple(meshes)


def _counts(d: xarray.Dataset) -> tuple[Counts, ...]:
    owner, quanta = d["batch_source"].values, _values(d, "batch_quanta", np.int64)
    names = [grid_names(kind, number)[0] for kind in GRIDS for number in range(int(d.attrs[f"{kind}_grids"]))]
    sums = [_values(d, f"{name}_group_sum", np.float64) for name in names]
    counts = []
    for i in range(d.sizes["source"]):
        group_batches = d["group_batches"].values[i].astype(np.int64)
        cells = [s[i].reshape(len(group_batches), -1) for s in sums]
        counts.append(
            StoredCounts(
                photons_per_batch=int(d["source_photons_per_batch"].values[i]),
                groups=np.concatenate(cells, axis=1) if cells else np.zeros((len(group_batches), 0)),
                group_batches=group_batches,
                batches=int(d["source_batches"].values[i]),
                points=list(quanta[owner == i]),
                ledger=[int(q) for q in d["ledger_quanta"].values[i]],
                counters=[int(n) for n in d["event_count"].values[i]],
            )
        )
    return tuple(counts)
