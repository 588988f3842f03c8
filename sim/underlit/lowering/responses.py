"""Which numbers of a trace answer to which assumption: targets by counter, features by surface, medium and source."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from underlit.lowering.compiled import LAYERS, CompiledScene, Grid
from underlit.lowering.records import Face, Frame, Part, Role
from underlit.lowering.scene import Lowered
from underlit.lowering.tank.panes import WATER, pane, sheet_behind
from underlit.scene.assumptions.lever import Lever, Moves
from underlit.scene.standing import exponent_of
from underlit.spectra.grid import PAR_WAVELENGTHS_NM
from underlit.transport.tables import BINS, LensKind

PATCH_M = 0.03
MOST_PATCHES = 150
"""The answer of the bed's light changes slowly from place to place: so many patches show it, none smaller than a meter head."""


@dataclass(frozen=True)
class Targets:
    """What answers: zones, then meter heads, plantings, patches of the beds, in the order of the compiled scene."""

    compiled: CompiledScene

    @cached_property
    def plantings(self) -> tuple[Part, ...]:
        """The parts of all plantings."""
        plain = [mesh.part for mesh in self.compiled.plain_meshes]
        parts = plain + [placed.part for placed in self.compiled.instanced]
        return tuple(dict.fromkeys(part.whole for part in parts if part.role is Role.PLANTS))

    @property
    def points(self) -> int:
        """Number of zones and heads."""
        return len(self.compiled.zones) + len(self.compiled.heads)

    @cached_property
    def first_patch(self) -> dict[int, int]:
        """First patch of the bed of each tank that has a map."""
        found, first = {}, self.points + len(self.plantings)
        for grid in self.compiled.map_grids:
            found[grid.tank] = first
            first += int(patch_numbers(grid).max()) + 1
        return found

    @property
    def count(self) -> int:
        """Number of targets."""
        last = self.points + len(self.plantings)
        return last + sum(int(patch_numbers(grid).max()) + 1 for grid in self.compiled.map_grids)

    def of_cells(self) -> np.ndarray:
        """The target of each cell of a tally row up to its ledger, (cells,) int32; -1 for none."""
        layout = self.compiled.tables.layout[0]
        found = np.full(int(layout["ledger"]), -1, np.int32)
        first = int(layout["zones"])
        found[first : first + self.points] = np.arange(self.points)
        for part, first, last in self._leaf_cells():
            found[2 * first : 2 * last] = self.points + self.plantings.index(part)
        for grid in self.compiled.map_grids:
            found[grid.in_row] = self.first_patch[grid.tank] + patch_numbers(grid).ravel()
        return found

    def _leaf_cells(self) -> Iterator[tuple[Part, int, int]]:
        for mesh in self.compiled.plain_meshes:
            if mesh.part.role is Role.PLANTS:
                yield mesh.part.whole, mesh.first_slot, mesh.first_slot + len(mesh.faces)
        for placed in self.compiled.instanced:
            if placed.part.role is Role.PLANTS:
                slots = LAYERS * sum(len(each.scales) for each in placed.instances)
                yield placed.part.whole, placed.first_slot, placed.first_slot + slots


def patch_numbers(grid: Grid) -> np.ndarray:
    """The patch of each cell of a bed's map, (ny, nx) int, counted from 0."""
    nx, ny, _ = grid.shape
    dx, dy, _ = grid.spacing
    size = max(PATCH_M, math.sqrt(nx * dx * ny * dy / MOST_PATCHES))
    across = np.minimum((np.arange(nx) * dx / size).astype(int), max(0, math.ceil(nx * dx / size - 0.5) - 1))
    back = np.minimum((np.arange(ny) * dy / size).astype(int), max(0, math.ceil(ny * dy / size - 0.5) - 1))
    return np.asarray(back[:, None] * (across.max() + 1) + across[None, :])


@dataclass(frozen=True)
class Features:
    """What a path's weight answers to: see `backends.responses.PathColumns`, whose fields these are.

    levers: the tags of the levers that the K features stand for.
    """

    levers: tuple[str, ...]
    surfaces: np.ndarray
    media: np.ndarray
    lens: np.ndarray
    panes: np.ndarray


def features(lowered: Lowered, levers: Sequence[Lever]) -> Features:
    """Features of all levers that keep the paths of light, the output apart, which needs none."""
    tables, compiled = lowered.compiled.tables, lowered.compiled
    chosen = [k for k, lever in enumerate(levers) if lever.moves.keeps_paths and lever.moves is not Moves.LIGHT]
    surfaces = np.zeros((len(tables.surfaces), len(chosen)))
    media = np.zeros((len(tables.media), BINS, len(chosen)))
    lens = np.zeros((len(tables.sources), len(chosen)), bool)
    for column, k in enumerate(chosen):
        lever = levers[k]
        frame = next(frame for frame in compiled.frames if frame.tank == lever.tank)
        if lever.moves is Moves.TINT:
            medium = np.flatnonzero(tables.media["bucket"] == compiled.lines.index(WATER.moved_to(frame)))
            slope = lowered.scene_of(lever.tank).water.tannin.slope_per_nm
            media[medium, :, column] = np.exp(-slope * (PAR_WAVELENGTHS_NM - 440.0))
        elif lever.moves is Moves.BEAM:
            lens[:, column] = _lit_through(compiled, lever)
        else:
            surfaces[_surfaces(compiled, frame, lever), column] = _per_pass(lever)
    panes = np.zeros(len(tables.surfaces))
    panes[[mesh.surface for mesh in compiled.plain_meshes if mesh.part.face == Face.WET_INSIDE]] = 0.5
    return Features(tuple(levers[k].tag for k in chosen), surfaces, media, lens, panes)


def _per_pass(lever: Lever) -> float:
    """How often the logarithm of the value counts at each pass: a reflection at a pane passes its film twice."""
    if lever.moves is Moves.PANES:
        return 0.5
    return 1 / len(lever.of) if lever.moves is Moves.LID else 1.0


_FACES = {"dirt": Face.TOP, "condensation": Face.UNDERSIDE}
_BY_NAME = {Moves.WOOD: Role.WOOD, Moves.STONE: Role.STONE, Moves.LEAVES: Role.PLANTS, Moves.BODY: Role.FIXTURE}


def _surfaces(compiled: CompiledScene, frame: Frame, lever: Lever) -> list[int]:
    """Surfaces that a lever moves."""
    chosen = _chooser(lever)
    own = [mesh for mesh in compiled.plain_meshes if mesh.part.tank == frame.tank and chosen(mesh.part)]
    found = {mesh.surface for mesh in own}
    found |= {
        placed.templates[each.template].surface
        for placed in compiled.instanced
        if placed.part.tank == frame.tank and chosen(placed.part)
        for each in placed.instances
    }
    return sorted(found)


def _chooser(lever: Lever) -> Callable[[Part], bool]:
    if lever.moves is Moves.LID:
        faces = {_FACES[key] for key in lever.of}
        return lambda part: part.role is Role.LID and part.face in faces
    if lever.moves is Moves.PANES:
        names = {pane(side, Face.WET_INSIDE).part for side in lever.of}
        return lambda part: part.face == Face.WET_INSIDE and part.part in names
    if lever.moves is Moves.BACKING:
        names = {pane(side, Face.OUTSIDE).part for side in lever.of} | {sheet_behind(side).part for side in lever.of}
        return lambda part: part.part in names and (part.face == Face.OUTSIDE or part.role is Role.BACKING)
    if lever.moves is Moves.SUBSTRATE:
        return lambda part: part.role is Role.BED
    if lever.moves is Moves.HOOD:
        return lambda part: part.role is Role.HOOD
    if lever.moves is Moves.REFLECTOR:
        return lambda part: part.part in lever.of and part.face == Face.REFLECTOR
    role = _BY_NAME[lever.moves]
    return lambda part: part.role is role and part.part in lever.of and part.face != Face.REFLECTOR


def _lit_through(compiled: CompiledScene, lever: Lever) -> np.ndarray:
    """Sources with the beam that was assumed, (sources,) bool."""
    rows = compiled.tables.sources
    taken = np.isclose(rows["lens_exponent"], exponent_of(lever.value), rtol=1e-6)
    concerned = [source.tank == lever.tank and source.fixture in lever.of for source in compiled.sources]
    return np.asarray(np.array(concerned) & taken & (rows["lens_kind"] == LensKind.COSINE_POWER))
