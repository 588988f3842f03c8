"""A result on disk: one netCDF file that xarray opens, and from which every later question can be answered.

For people and other programs it holds fields with units and standard errors as they were shown. For later questions it
holds, source by source, what they need: per cell of the bed and of the light planes the sums over 32 fixed groups of
batches, per face its mean and its variance, per zone and meter head every batch, and the ledger in whole quanta.
So dimming, the error at any point or over any patch, and differences between results need no new trace.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.records import Frame, InTank
from underlit.results.atomic import atomic_path
from underlit.results.estimate import mean_of_groups
from underlit.results.responses import Responses
from underlit.results.result import Result
from underlit.results.stored import FORMAT, GRIDS, StoredResult, grid_names, load_result, read_fields
from underlit.version import VERSION

if TYPE_CHECKING:
    import xarray

_UNIT = "umol m-2 s-1"
_GROUP_BITS = 32
"""Bits kept of a group sum (relative rounding 2^-33, far below any simulation error): the rest does not compress."""


More = Mapping[str, tuple[tuple[str, ...], np.ndarray, str]]
"""Further fields of a file [umol/m2/s]: by name their dimensions, values and what they are."""


def write_fields(
    result: Result, path: str | Path, provenance: Mapping[str, object] | None = None, more: More | None = None
) -> None:
    """Write a result as netCDF, whole or not at all.

    provenance: anything JSON can hold; `scene_text` and `versions` are also kept as attributes of their own. more: further
    fields beside the result's own. Raises OSError where the file cannot be written.
    """
    dataset = to_dataset(result, provenance)
    for key, (dims, values, long_name) in (more or {}).items():
        _put(dataset, key, dims, values, long_name, _UNIT)
    encoding: dict[str, dict[str, Any]] = {}
    for name, variable in dataset.variables.items():
        if variable.dtype.kind in "fiu" and variable.size > 64:
            encoding[str(name)] = {"zlib": True, "complevel": 1, "shuffle": True}
    for kind in GRIDS:
        for number in range(dataset.attrs[f"{kind}_grids"]):
            name = f"{grid_names(kind, number)[0]}_group_sum"
            encoding[name] = encoding.get(name, {}) | {"quantize_mode": "BitRound", "significant_digits": _GROUP_BITS}
    with atomic_path(path) as temporary:
        dataset.to_netcdf(temporary, engine="netcdf4", encoding=encoding)


def to_dataset(result: Result, provenance: Mapping[str, object] | None = None) -> xarray.Dataset:
    """Everything a result holds as one xarray Dataset (what `write_fields` writes)."""
    import xarray

    said = {**getattr(result, "provenance", {}), **(provenance or {})}
    dataset = xarray.Dataset(attrs=_attributes(result, said))
    _put_tanks(dataset, result.compiled.frames)
    _put_sources(dataset, result)
    for kind, grids in (("bed", result.compiled.map_grids), ("planes", result.compiled.plane_grids)):
        dataset.attrs[f"{kind}_grids"] = len(grids)
        for number, grid in enumerate(grids):
            _put_grid(dataset, result, kind, number, grid)
    _put_meshes(dataset, result)
    _put_points(dataset, result)
    _put_ledger(dataset, result)
    if result.responses is not None:
        _put_responses(dataset, result.responses)
    return dataset


def _attributes(result: Result, said: Mapping[str, Any]) -> dict[str, object]:
    return {
        "title": "PPFD (400-700 nm) in a planted aquarium, by photon tracing",
        "source": f"underlit {VERSION}",
        "underlit_format": FORMAT,
        "seed": str(result.seed),
        "seconds": float(result.seconds),
        "photons": int(result.photons),
        "ppf_umol_s": float(result.ppf),
        "complete": int(result.complete),
        "notes": json.dumps(list(result.compiled.notes)),
        "scene_text": str(said.get("scene_text", "")),
        "versions": json.dumps(said.get("versions", {})),
        "provenance": json.dumps(said, default=str),
        "conventions": "metres; x along the tank, y from the front pane back, z up from the inside of the bottom pane",
        "standard_errors": "simulation error only: what is not known about the tank comes on top",
    }


def _put(
    dataset: xarray.Dataset, name: str, dims: tuple[str, ...], data: object, long_name: str, units: str = ""
) -> None:
    attributes = {"long_name": long_name}
    if units:
        attributes["units"] = units
    values = np.asarray(data, dtype=object) if _is_text(data) else np.asarray(data)
    dataset[name] = (dims, values, attributes)


def _put_limits(dataset: xarray.Dataset, name: str, dims: tuple[str, ...], ends: Sequence[Any]) -> None:
    """Ends of the 95 % intervals of a field (single precision is plenty for them)."""
    for end, which, values in zip(("low", "high"), ("lower", "upper"), ends, strict=True):
        what = f"{which} end of the 95 % interval (counting) of {name}"
        _put(dataset, f"{name}_{end}_95", dims, np.asarray(values, dtype=np.float32), what, _UNIT)


def _is_text(data: object) -> bool:
    return isinstance(data, list) and all(isinstance(d, str) for d in data)


def _put_tanks(d: xarray.Dataset, frames: Sequence[Frame]) -> None:
    _put(d, "tank_number", ("tank",), [frame.tank for frame in frames], "number of the tank in its rack, 0 for its own")
    _put(d, "tank_name", ("tank",), [frame.name for frame in frames], "name of the tank, empty for the scene's own")
    _put(d, "tank_offset", ("tank", "xyz"), np.array([frame.offset for frame in frames]), "origin of its frame", "m")


def _put_records(d: xarray.Dataset, kind: str, records: Sequence[InTank], what: Mapping[str, str]) -> None:
    """What tells things of a kind apart: their tank and the fields named, and the name that people read."""
    _put(d, f"{kind}_name", (kind,), [record.name for record in records], f"what people read of each {kind}")
    _put(d, f"{kind}_tank", (kind,), [record.tank for record in records], "number of its tank, -1 for the room")
    for key, long_name in what.items():
        values = [getattr(record, key) for record in records]
        texts = [str(v) for v in values] if all(isinstance(v, str) for v in values) else [int(v) for v in values]
        _put(d, f"{kind}_{key}", (kind,), texts, long_name)


def _put_sources(d: xarray.Dataset, result: Result) -> None:
    compiled, counts = result.compiled, result.counts
    _put_records(
        d, "source", compiled.sources,
        {"fixture": "its fixture", "channel": "its channel", "group": "its group of LEDs", "upward": "1 if it shines up"},
    )  # fmt: skip
    _put(d, "source_ppf", ("source",), list(compiled.ppf), "photon flux at full power", "umol s-1")
    dimming = [result.dimming.get(source, 1.0) for source in compiled.sources]
    _put(d, "source_dimming", ("source",), dimming, "fraction of full power that the fields are shown for", "1")
    _put(d, "source_batches", ("source",), [c.batches for c in counts], "batches counted", "1")
    _put(d, "source_photons_per_batch", ("source",), [c.photons_per_batch for c in counts], "packets in a batch", "1")
    groups = np.array([c.group_batches for c in counts], dtype=np.int64)
    _put(d, "group_batches", ("source", "group"), groups, "batches in each group (batch index modulo groups)", "1")


_PLACE = {"x": ("cell centre along the tank", 0.5), "y": ("cell centre from the front pane", 0.5), "z": ("height", 0.0)}
"""What a grid's axis says, and where in its step the value lies."""


def _put_grid(d: xarray.Dataset, result: Result, kind: str, number: int, grid: Grid) -> None:
    name, dims = grid_names(kind, number)
    nx, ny, nz = grid.shape
    for dim, axis in zip(dims, GRIDS[kind], strict=True):
        k = "xyz".index(axis)
        at = grid.origin[k] + grid.spacing[k] * (np.arange(grid.shape[k]) + _PLACE[axis][1])
        d[dim] = ((dim,), at, {"units": "m", "long_name": _PLACE[axis][0]})
    shape = (ny, nx) if kind == "bed" else (nz, ny, nx)
    found = result.on_grid(grid)
    what = "PPFD on the substrate" if kind == "bed" else "PPFD coming down through a height"
    _put(d, f"{name}_ppfd", dims, found.value.reshape(shape), what, _UNIT)
    error = found.standard_error.reshape(shape)
    _put(d, f"{name}_ppfd_standard_error", dims, error, f"{what}, standard error (counting)", _UNIT)
    _put_limits(d, f"{name}_ppfd", dims, [end.reshape(shape) for end in found.limits])
    _put(d, f"{name}_open_area", dims, grid.open_area.reshape(shape), "part of a cell that light can reach", "m2")
    sums = np.array([c.groups[:, grid.in_row] for c in result.counts]).reshape(len(result.counts), -1, *shape)
    _put(d, f"{name}_group_sum", ("source", "group", *dims), sums, "quanta counted, by group of batches", "1")
    d[f"{name}_group_sum"].attrs["comment"] = "flux = sum / (group_batches x packets in a batch x 2^40) x source_ppf"
    d.attrs[f"{name}_grid"] = json.dumps([*grid.origin, *grid.spacing])
    d.attrs[f"{name}_tank"] = grid.tank


def _put_meshes(d: xarray.Dataset, result: Result) -> None:
    meshes = result.compiled.meshes
    _put_records(
        d, "mesh", [m.part for m in meshes], {"part": "the part that it belongs to", "face": "which face of it"}
    )
    _put(d, "mesh_role", ("mesh",), [m.role.name for m in meshes], "what it is in the picture")
    _put(d, "mesh_surface", ("mesh",), [m.surface for m in meshes], "number of its surface")
    _put(d, "mesh_faces", ("mesh",), [len(m.faces) for m in meshes], "number of its faces (rows of `faces`, in order)")
    _put(d, "mesh_vertices", ("mesh",), [len(m.vertices) for m in meshes], "number of its vertices")
    _put(d, "vertices", ("vertex", "xyz"), np.concatenate([m.vertices for m in meshes]), "vertices", "m")
    faces = np.concatenate([m.faces for m in meshes]).astype(np.int32)
    _put(d, "faces", ("face", "corner"), faces, "vertices of each triangle, counted from the mesh's first vertex")
    shown = [result.faces(m) for m in meshes]
    value = np.concatenate([f.value for f in shown])
    error = np.concatenate([f.standard_error for f in shown])
    _put(d, "faces_ppfd", ("face", "side"), value, "PPFD on each side, front (counter-clockwise) first", _UNIT)
    _put(d, "faces_ppfd_standard_error", ("face", "side"), error, "standard error (counting) of faces_ppfd", _UNIT)
    _put_limits(d, "faces_ppfd", ("face", "side"), [np.concatenate(ends) for ends in zip(*(f.limits for f in shown))])
    slots = np.concatenate([m.face_slots() for m in meshes]).astype(np.int64)
    _put(d, "face_slot", ("face",), slots, "where the light on a face is counted: row of faces_flux")
    cells = result.cells("faces")
    means, variances = face_statistics(result, (cells.stop - cells.start) // 2)
    dims = ("source", "slot", "side")
    _put(d, "faces_flux", dims, means, "photon flux on each side at full power, by source", "umol s-1")
    _put(d, "faces_flux_variance", dims, variances, "variance (counting) of faces_flux", "umol2 s-2")


def face_statistics(result: Result, n_slots: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean flux [umol/s] of each tally slot and side at full power and its variance, by source."""
    if isinstance(result, StoredResult):
        return result.face_means, result.face_variances
    full = replace(result, dimming={})
    means = np.zeros((len(result.counts), n_slots, 2))
    variances = np.zeros_like(means)
    # In blocks: the group means of a million faces at once would need gigabytes.
    for first in range(0, n_slots, 1 << 16):
        last = min(first + (1 << 16), n_slots)
        for i, counts in enumerate(result.counts):
            groups = full.group_means(slice(2 * first, 2 * last), i)
            mean, variance, _ = mean_of_groups(groups, counts.group_batches)
            means[i, first:last], variances[i, first:last] = mean.reshape(-1, 2), variance.reshape(-1, 2)
    return means, variances


def _put_points(d: xarray.Dataset, result: Result) -> None:
    compiled = result.compiled
    for kind, key, points, found in (
        ("zone", "zone", compiled.zones, result.zone_estimates()),
        ("head", "spot", compiled.heads, result.head_estimates()),
    ):
        _put_records(d, kind, points, {key: f"what its scene calls the {key}"})
        _put(d, f"{kind}_area", (kind,), [p.area for p in points], "area", "m2")
        _put(d, f"{kind}_ppfd", (kind,), [e.value for e in found], "mean PPFD", _UNIT)
        errors = [e.standard_error for e in found]
        _put(d, f"{kind}_ppfd_standard_error", (kind,), errors, "standard error (counting)", _UNIT)
        _put_limits(d, f"{kind}_ppfd", (kind,), [[e.low for e in found], [e.high for e in found]])
    _put(d, "head_centre", ("head", "xyz"), np.array([h.centre for h in compiled.heads]).reshape(-1, 3), "centre", "m")
    _put(d, "head_normal", ("head", "xyz"), np.array([h.normal for h in compiled.heads]).reshape(-1, 3), "normal")
    _put(d, "head_radius", ("head",), [h.radius for h in compiled.heads], "radius", "m")
    n = len(compiled.zones) + len(compiled.heads)
    points_by_batch = [p for c in result.counts for p in c.points]
    rows = np.array(points_by_batch, dtype=np.int64).reshape(len(points_by_batch), n)
    owner = np.repeat(np.arange(len(result.counts)), [c.batches for c in result.counts]).astype(np.int32)
    _put(d, "batch_source", ("batch",), owner, "source a batch belongs to")
    _put(d, "batch_quanta", ("batch", "point"), rows, "quanta in each zone, then on each head", "1")


def _put_ledger(d: xarray.Dataset, result: Result) -> None:
    _put_records(d, "line", result.compiled.lines, {"what": "where light ends", "part": "on which part"})
    _put(d, "ledger_share", ("line",), result.line_shares(), "share of the emitted photons as dimmed", "1")
    # Totals outgrow 64 bits, so they are kept as decimal digits.
    quanta = np.array([[str(int(q)) for q in c.ledger] for c in result.counts], dtype=object)
    d["ledger_quanta"] = (("source", "line"), quanta, {"long_name": "quanta by source, decimal digits"})
    counters = np.array([[int(n) for n in c.counters] for c in result.counts], dtype=np.int64)
    _put(d, "event_count", ("source", "event"), counters, "segments, hits passed over, scatterings, lost photons", "1")


def _put_responses(d: xarray.Dataset, found: Responses) -> None:
    """What ranges are reckoned from: targets are zones, heads, plantings, patches of the beds, one after the other."""
    dims = ("source", "target", "path_class", "moment")
    _put(
        d,
        "response_sums",
        dims,
        found.sums,
        "share of photons by class of path, then with each feature and its square",
        "1",
    )
    _put(d, "response_lever", ("feature",), list(found.levers), "the assumption of each feature")
    lens = found.lens.astype(np.int64)
    _put(d, "response_lens", ("source", "feature"), lens, "1 if it is the logarithm of the cosine at the lens")
    _put(
        d, "response_end", ("range_end",), [tag for tag, _ in found.ends], "the assumption whose range was traced anew"
    )
    sides = np.array([side for _, side in found.ends], np.int64)
    _put(d, "response_end_side", ("range_end",), sides, "0 low, 1 high end of it")
    _put(
        d,
        "response_log",
        ("range_end", "target"),
        found.logs,
        "logarithm of the light there over that of the scene",
        "1",
    )
    _put(d, "response_log_error", ("range_end", "target"), found.errors, "standard error of response_log", "1")


__all__ = ["StoredResult", "load_result", "read_fields", "to_dataset", "write_fields"]
