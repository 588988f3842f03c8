"""What a trace found, as arrays: PPFD on faces, on the bed, at any height, in zones and on meter heads; the ledger.

Counts are kept source by source (fixture and channel), so dimming is arithmetic: `result.dimmed({...})` answers at once.
PPFD [umol/m2/s] = counted quanta / (quanta emitted) x PPF x dimming / area.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol, TypeVar

import numpy as np

from underlit.lowering.compiled import CompiledScene, Grid, Mesh
from underlit.lowering.records import Line, Source
from underlit.lowering.shapes.shape import face_areas
from underlit.results.estimate import (
    Estimate,
    combine,
    estimates,
    limits_95,
    mean_of_batches,
    mean_of_groups,
    student_factor,
)
from underlit.results.responses import Responses
from underlit.transport.tables import PACKET, Bucket, Counter

Number = TypeVar("Number", int, float)


class Counts(Protocol):
    """Counts of one source, see `backends.cpu.SourceCounts`."""

    photons_per_batch: int
    groups: np.ndarray
    group_batches: np.ndarray
    batches: int
    points: list[np.ndarray]
    ledger: list[int]
    counters: list[int]

    def of_points(self, chosen: Sequence[int]) -> Counts:
        """The same counts with some of the zones and heads only."""

    @property
    def photons(self) -> int:
        """Packets folded."""


@dataclass(frozen=True)
class Field:
    """PPFD as `value` and its `standard_error`, arrays of one shape, float64 [umol/m2/s]; NaN where no light can reach.

    dof: degrees of freedom of the standard errors, the smallest over the sources; packet: what one more packet of light would
    have added to each value [umol/m2/s], 0 for what is no mean of counts.
    """

    value: np.ndarray
    standard_error: np.ndarray
    dof: float
    packet: np.ndarray | float = 0.0

    def picked(self, index: Any) -> Field:
        """Some of the values, by any index of arrays."""
        packet = np.broadcast_to(self.packet, self.value.shape)[index]
        return Field(self.value[index], self.standard_error[index], self.dof, packet)

    @property
    def limits(self) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper ends of the 95 % intervals [umol/m2/s], lopsided where a value rests on few hits."""
        return limits_95(self.value, self.standard_error, student_factor(self.dof), np.asarray(self.packet))


def over_area(flux: np.ndarray, error: np.ndarray, dof: float, packet: float, area: np.ndarray) -> Field:
    """PPFD from flux, its error and what a packet adds to it [umol/s] over areas [m2]; NaN where there is no area."""
    return Field(flux / area, error / area, dof, np.broadcast_to(packet / area, flux.shape))


def slot_areas(mesh: Mesh) -> np.ndarray:
    """Area that counts into each face's tally slot, (m,) float64 [m2]: its own, or that of its layer of a copy."""
    area = face_areas(mesh.vertices, mesh.faces)
    if mesh.slots is None:
        return area
    _, index = np.unique(mesh.slots, return_inverse=True)
    return np.bincount(index, area)[index]


@dataclass(frozen=True)
class Result:
    """The counts of a traced scene, and the light that they stand for.

    PPFD [umol/m2/s] = counted quanta / quanta emitted x PPF x dimming / area. Errors are standard errors over
    independent batches.

    Attributes
    ----------
    compiled
        What was traced.
    counts
        Counts of each source.
    seed
        Seed of the random numbers.
    seconds
        Time that the trace took [s].
    dimming
        Fraction of full power by source; 1 where there is none.
    complete
        Whether the trace ended by itself, not by Ctrl-C.
    responses
        How its light answers to what is not known about the tank; None where that was not asked.
    """

    compiled: CompiledScene
    counts: tuple[Counts, ...]
    seed: int
    seconds: float
    dimming: Mapping[Source, float] = field(default_factory=dict)
    complete: bool = True
    responses: Responses | None = None

    def dimmed(self, dimming: Mapping[Source, float] | Mapping[str, float]) -> Result:
        """The same light at other dimming: a fraction of full power by source or by its name; others stay as they are.

        Arithmetic, no trace. KeyError for a source that is not there.
        """
        named = {source.name: source for source in self.compiled.sources}
        levels = dict(self.dimming)
        for key, level in dimming.items():
            source = named.get(key) if isinstance(key, str) else key
            if source is None or source not in self.compiled.sources:
                raise KeyError(f"no source named {getattr(key, 'name', key)!r}; there are {list(named)}")
            levels[source] = level
        return replace(self, dimming=levels)

    def of_tank(self, tank: int) -> Result:
        """What was counted in the tank of a rack with this number, in its own frame: its fields, zones and heads alone.

        It goes with the view of that tank in `Lowered.tanks`. The ledger stays that of all the light.
        """
        view = self.compiled.of_tank(tank)
        if view is self.compiled:
            return self
        points = [*self.compiled.zones, *self.compiled.heads]
        chosen = [i for i, point in enumerate(points) if point.tank == tank]
        responses = None if self.responses is None else self.responses.of_points(chosen)
        return replace(self, compiled=view, counts=tuple(c.of_points(chosen) for c in self.counts), responses=responses)

    # -- basics ---------------------------------------------------------------------------------------------
    @property
    def photons(self) -> int:
        """Number of photon packets counted."""
        return sum(c.photons for c in self.counts)

    def source_ppf(self, index: int) -> float:
        """PPF of the source with this index, as dimmed [umol/s]."""
        return self.compiled.ppf[index] * self.dimming.get(self.compiled.sources[index], 1.0)

    @property
    def ppf(self) -> float:
        """Emitted PPF as dimmed [umol/s]."""
        return sum(self.source_ppf(i) for i in range(len(self.counts)))

    def source_scale(self, index: int) -> float:
        """Flux [umol/s] that a quantum in one batch of the source with this index stands for."""
        return self.source_ppf(index) / (self.counts[index].photons_per_batch * float(PACKET))

    @property
    def packet_flux(self) -> float:
        """What a whole packet of the source whose packets are the heaviest adds to a mean flux [umol/s].

        No hit adds more, for roulette lifts none above its first weight.
        """
        photons = [max(counts.photons, 1) for counts in self.counts]
        return max((self.source_ppf(i) / n for i, n in enumerate(photons)), default=0.0)

    # -- cells ----------------------------------------------------------------------------------------------
    def group_means(self, cells: slice, index: int) -> np.ndarray:
        """Mean flux [umol/s] of cells of a tally row by group of batches, of the source of this index: (32, cells)."""
        counts = self.counts[index]
        batches = np.maximum(counts.group_batches, 1)[:, None]
        return np.asarray(counts.groups[:, cells] / batches * self.source_scale(index))

    def _flux(self, cells: slice) -> tuple[np.ndarray, np.ndarray, float]:
        parts = []
        for i, counts in enumerate(self.counts):
            parts.append(mean_of_groups(self.group_means(cells, i), counts.group_batches))
        value, error, _ = combine(parts)
        return value, error, min((p[2] for p in parts), default=0.0)

    def cells(self, name: str) -> slice:
        """Where cells lie in a tally row, by their name: `faces`, or this tank's `map` or `planes`.

        KeyError if there are none.
        """
        if name == "faces":
            row = self.compiled.tables.layout[0]
            return slice(int(row["faces"]), int(row["map"]))
        return self._grid_named(name).in_row

    def _grid_named(self, name: str) -> Grid:
        grid = {"map": self.compiled.bed_map, "planes": self.compiled.planes}[name]
        if grid is None:
            raise KeyError("this world has no bed map" if name == "map" else "this world has no light planes")
        return grid

    def mesh_of(self, mesh: Mesh | str) -> Mesh:
        """The mesh itself or that of this name; KeyError if there is none."""
        if isinstance(mesh, Mesh):
            return mesh
        found = next((m for m in self.compiled.meshes if m.name == mesh), None)
        if found is None:
            raise KeyError(f"no mesh named {mesh!r}; there are {[m.name for m in self.compiled.meshes]}")
        return found

    def faces(self, mesh: Mesh | str) -> Field:
        """PPFD on the faces of a mesh or of that so named, (n_faces, 2): front and back side [umol/m2/s].

        Of instances the sides that look up and down (see `Mesh`). KeyError if there is no mesh of that name.
        """
        found = self.mesh_of(mesh)
        slots = found.face_slots()
        first, last = int(slots.min()), int(slots.max()) + 1
        value, error, dof = self._flux(slice(2 * first, 2 * last))
        area = slot_areas(found)[:, None]
        chosen = slots - first
        return over_area(value.reshape(-1, 2)[chosen], error.reshape(-1, 2)[chosen], dof, self.packet_flux, area)

    def mean_over_faces(self, cells: np.ndarray, area: float) -> Estimate:
        """Mean PPFD [umol/m2/s] over cells of faces, (k,) indices into a tally row, of a total area [m2]."""
        parts = []
        for i, counts in enumerate(self.counts):
            batches = np.maximum(counts.group_batches, 1)
            means = counts.groups[:, cells].sum(axis=1) / batches * (self.source_scale(i) / area)
            parts.append(mean_of_groups(means, counts.group_batches))
        value, error, dof = combine(parts)
        return Estimate(float(value), float(error), float(dof), self.packet_flux / area)

    def on_grid(self, grid: Grid) -> Field:
        """PPFD [umol/m2/s] in the cells of a grid, one of this world's maps or stacks of planes: (nz, ny, nx)."""
        value, error, dof = self._flux(grid.in_row)
        nx, ny, nz = grid.shape
        area = np.where(grid.open_area > 0, grid.open_area, np.nan).reshape(nz, ny, nx)
        return over_area(value.reshape(nz, ny, nx), error.reshape(nz, ny, nx), dof, self.packet_flux, area)

    def bed(self) -> Field:
        """PPFD [umol/m2/s] on the bed by position, (ny, nx), see `compiled.bed_map`; KeyError if there is no map."""
        f = self.on_grid(self._grid_named("map"))
        return f.picked(0)

    def planes(self) -> Field:
        """PPFD [umol/m2/s] that comes down through the light planes, (nz, ny, nx), see `compiled.planes`.

        KeyError if there are none.
        """
        return self.on_grid(self._grid_named("planes"))

    # -- points ---------------------------------------------------------------------------------------------
    def _points(self, areas: np.ndarray, first: int) -> list[Estimate]:
        if len(areas) == 0:
            return []
        parts = []
        for i, counts in enumerate(self.counts):
            rows = np.array([p[first : first + len(areas)] for p in counts.points], dtype=np.float64)
            rows = rows.reshape(-1, len(areas)) * (self.source_scale(i) / areas)
            parts.append(mean_of_batches(rows))
        value, error, dof = combine(parts)
        return estimates(value, error, dof, self.packet_flux / areas)

    def zone_values_by_source(self) -> np.ndarray:
        """Mean PPFD of each zone from each source alone, as dimmed: (sources, zones) float64 [umol/m2/s]."""
        areas = np.array([z.area for z in self.compiled.zones])
        values = np.zeros((len(self.counts), len(areas)))
        for i, counts in enumerate(self.counts):
            if counts.batches:
                total = np.sum([p[: len(areas)] for p in counts.points], axis=0, dtype=np.float64)
                values[i] = total / counts.batches * self.source_scale(i) / areas
        return values

    def without_group(self, cells: slice, left_out: int | None) -> np.ndarray:
        """Mean flux [umol/s] of cells of a tally row over all groups of batches but the one `left_out`: (cells,).

        For the jackknife; None leaves out none.
        """
        flux = np.zeros(cells.stop - cells.start)
        for i, counts in enumerate(self.counts):
            weight = counts.group_batches.astype(np.float64)
            if left_out is not None:
                weight[left_out] = 0.0
            if weight.sum() > 0:
                keep = weight > 0
                flux += counts.groups[keep, cells].sum(axis=0) / weight.sum() * self.source_scale(i)
        return flux

    def zone_estimates(self) -> list[Estimate]:
        """Mean PPFD of each zone [umol/m2/s], in the order of `compiled.zones`."""
        return self._points(np.array([z.area for z in self.compiled.zones]), 0)

    def head_estimates(self) -> list[Estimate]:
        """PPFD on each meter head [umol/m2/s], in the order of `compiled.heads`."""
        return self._points(np.array([h.area for h in self.compiled.heads]), len(self.compiled.zones))

    def zones(self) -> dict[str, Estimate]:
        """Mean PPFD of each zone [umol/m2/s] by name."""
        return dict(zip((z.name for z in self.compiled.zones), self.zone_estimates(), strict=True))

    def heads(self) -> dict[str, Estimate]:
        """PPFD on each meter head [umol/m2/s] by name."""
        return dict(zip((h.name for h in self.compiled.heads), self.head_estimates(), strict=True))

    # -- ledger ---------------------------------------------------------------------------------------------
    def line_quanta(self) -> list[int]:
        """Quanta over all sources in the order of `compiled.lines`: exact, undimmed and unweighted."""
        return [sum(c.ledger[i] for c in self.counts) for i in range(len(self.compiled.lines))]

    def ledger_gap(self) -> int:
        """Quanta emitted + roulette gains - roulette losses - every end: zero, or the engine is wrong."""
        lines = self.line_quanta()
        ends = sum(lines[Bucket.LOST :])
        return lines[Bucket.EMITTED] + lines[Bucket.ROULETTE_GAIN] - lines[Bucket.ROULETTE_LOSS] - ends

    def line_shares(self) -> list[float]:
        """Share of the emitted photons in the order of `compiled.lines`, weighted by PPF and dimming.

        Roulette's gains and losses are spread over the ends, so that the shares add up to one.
        """
        total = self.ppf
        shares = np.zeros(len(self.compiled.lines))
        for i, counts in enumerate(self.counts):
            ends = np.array([float(q) for q in counts.ledger])
            ends[: Bucket.LOST] = 0.0
            if total > 0 and ends.sum() > 0:
                shares += ends / ends.sum() * self.source_ppf(i) / total
        return shares.tolist()

    def share_of(self, line: Line) -> float:
        """Share of the emitted photons that end on a line of the ledger; 0 where there is no such line."""
        return sum(share for known, share in zip(self.compiled.lines, self.line_shares(), strict=True) if known == line)

    def ledger_quanta(self) -> dict[str, int]:
        """Quanta by name of the ledger line, see `line_quanta`."""
        return _by_name(self.compiled.lines, self.line_quanta())

    def ledger(self) -> dict[str, float]:
        """Share of the emitted photons by name of the ledger line, see `line_shares`."""
        return _by_name(self.compiled.lines, self.line_shares())

    def counter(self, which: Counter) -> int:
        """Number of events over all sources, `which` are segments, hits passed over, scatterings or lost photons."""
        return sum(c.counters[which] for c in self.counts)


def _by_name(lines: Sequence[Line], values: Sequence[Number]) -> dict[str, Number]:
    """Values by the names of their lines; of lines that people would call the same, their sum."""
    found: dict[str, Number] = {}
    for line, value in zip(lines, values, strict=True):
        found[line.name] = found[line.name] + value if line.name in found else value
    return found
