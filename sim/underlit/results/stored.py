"""Reading a stored result back: see `results.store` for what the file holds."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.lowering.world import CompiledScene, Grid, HeadInfo, Mesh, Role, SourceInfo, ZoneInfo
from underlit.results.estimate import Estimate, combine
from underlit.results.result import Counts, Field, Result, slot_areas
from underlit.transport.tables import LAYOUT, Tables

if TYPE_CHECKING:
    import xarray

FORMAT = 1
"""Number of the layout of the file; a reader refuses numbers it does not know."""

GRIDS = {"bed": ("bed_y", "bed_x"), "planes": ("plane_z", "plane_y", "plane_x")}
"""Gridded fields and their dimensions."""


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

    def faces(self, mesh: str) -> Field:
        """PPFD arriving on a mesh's faces: (n_faces, 2), front and back side."""
        found = next((m for m in self.compiled.meshes if m.name == mesh), None)
        if found is None:
            raise KeyError(f"no mesh named {mesh!r}; there are {[m.name for m in self.compiled.meshes]}")
        rows = found.face_slots()
        parts = []
        for i, counts in enumerate(self.counts):
            dimming = self.dimming.get(self.compiled.sources[i].name, 1.0)
            dof = float(np.count_nonzero(counts.group_batches)) - 1.0
            parts.append((self.face_means[i, rows] * dimming, self.face_variances[i, rows] * dimming**2, max(dof, 0.0)))
        value, error, _ = combine(parts)
        area = slot_areas(found)[:, None]
        return Field(value / area, error / area, min((p[2] for p in parts), default=0.0))

    def face_flux(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Flux on every cell of faces as dimmed [umol/s], its variance, both (2 slots,), and their degrees of freedom."""
        levels = np.array([self.dimming.get(source.name, 1.0) for source in self.compiled.sources])[:, None, None]
        mean, variance = (levels * self.face_means).sum(axis=0), (levels**2 * self.face_variances).sum(axis=0)
        dof = min((float(np.count_nonzero(c.group_batches)) - 1.0 for c in self.counts), default=0.0)
        return mean.ravel(), variance.ravel(), max(dof, 0.0)

    def mean_over_faces(self, cells: np.ndarray, area: float) -> Estimate:
        """As traced; but what faces share of their errors is not kept, so they are taken as independent.

        That makes the error too wide rather than too narrow, by 1.2 to 2.3 times on the planting plan and under its wood: a
        packet that meets one leaf misses others.
        """
        mean, variance, dof = self.face_flux()
        return Estimate(float(mean[cells].sum() / area), math.sqrt(float(variance[cells].sum())) / area, dof)


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
    return StoredResult(
        compiled=_plan(d),
        counts=_counts(d),
        seed=int(d.attrs["seed"]),
        seconds=float(d.attrs["seconds"]),
        dimming=json.loads(d.attrs["dimming"]),
        complete=bool(d.attrs["complete"]),
        face_means=_values(d, "faces_flux", np.float64),
        face_variances=_values(d, "faces_flux_variance", np.float64),
        provenance=said,
    )


def _values(d: xarray.Dataset, name: str, dtype: type) -> np.ndarray:
    return np.ascontiguousarray(d[name].values, dtype=dtype)


def _texts(d: xarray.Dataset, name: str) -> list[str]:
    return [str(v) for v in d[name].values]


def _grids(d: xarray.Dataset, name: str) -> tuple[Grid, ...]:
    if f"{name}_ppfd" not in d:
        return ()
    x0, y0, z0, dx, dy, dz = json.loads(d.attrs[f"{name}_grid"])
    area = _values(d, f"{name}_open_area", np.float64)
    area = area.reshape(-1, *area.shape[-2:])
    return (Grid((x0, y0, z0), (dx, dy, dz), (area.shape[2], area.shape[1], area.shape[0]), area),)


def _plan(d: xarray.Dataset) -> CompiledScene:
    maps, planes = _grids(d, "bed"), _grids(d, "planes")
    zones = tuple(ZoneInfo(n, float(a)) for n, a in zip(_texts(d, "zone_name"), d["zone_area"].values, strict=True))
    heads = tuple(
        HeadInfo(name, (centre[0], centre[1], centre[2]), (normal[0], normal[1], normal[2]), radius)
        for name, centre, normal, radius in zip(
            _texts(d, "head_name"),
            *(d[f"head_{key}"].values.tolist() for key in ("centre", "normal", "radius")),
            strict=True,
        )
    )
    parts = zip(
        _texts(d, "source_name"), d["source_ppf"].values, _texts(d, "source_fixture"), _texts(d, "source_channel"),
        strict=True,
    )  # fmt: skip
    sources = tuple(SourceInfo(name, float(ppf), fixture, channel) for name, ppf, fixture, channel in parts)
    sizes = [sum(grid.cells for grid in grids) for grids in (maps, planes)]
    empty = {name: np.zeros(0) for name in Tables._fields}
    tables = Tables(**{**empty, "layout": _layout(sizes, len(zones), len(heads), d)})
    notes = tuple(json.loads(d.attrs["notes"]))
    return CompiledScene(
        tables, sources, zones, heads, tuple(_texts(d, "ledger_line")), _meshes(d), planes, maps, notes
    )


def _layout(sizes: list[int], n_zones: int, n_heads: int, d: xarray.Dataset) -> np.ndarray:
    """Offsets of the cells that the file's groups hold: bed and planes follow each other from 0."""
    layout = np.zeros(1, LAYOUT)
    counts = [0, *sizes, n_zones, n_heads, d.sizes["line"], d.sizes["event"]]
    names = ("faces", "map", "planes", "zones", "heads", "ledger", "counters", "end")
    for name, offset in zip(names, np.concatenate([[0], np.cumsum(counts)]), strict=True):
        layout[name] = offset
    return layout


def _meshes(d: xarray.Dataset) -> tuple[Mesh, ...]:
    vertices, faces = _values(d, "vertices", np.float64), _values(d, "faces", np.int32)
    slots = _values(d, "face_slot", np.int64)
    meshes = []
    first_vertex = first_face = 0
    for name, role, surface, n_vertices, n_faces in zip(
        _texts(d, "mesh_name"), _texts(d, "mesh_role"), d["mesh_surface"].values, d["mesh_vertices"].values,
        d["mesh_faces"].values, strict=True,
    ):  # fmt: skip
        v = vertices[first_vertex : first_vertex + int(n_vertices)]
        f = faces[first_face : first_face + int(n_faces)]
        own = slots[first_face : first_face + int(n_faces)]
        counted_alone = len(own) > 0 and np.array_equal(own, own[0] + np.arange(len(own)))
        shared = None if counted_alone else own
        meshes.append(Mesh(name, v, f, int(own.min()), int(surface), Role[role], shared))
        first_vertex, first_face = first_vertex + int(n_vertices), first_face + int(n_faces)
    return tuple(meshes)


def _counts(d: xarray.Dataset) -> tuple[Counts, ...]:
    owner, quanta = d["batch_source"].values, _values(d, "batch_quanta", np.int64)
    sums = [_values(d, f"{name}_group_sum", np.float64) for name in GRIDS if f"{name}_group_sum" in d]
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
