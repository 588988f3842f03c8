"""How a traced scene answers to what is not known of it: paths recorded in the trace, and small traces at the ends of ranges.

What keeps the paths of light (films, reflectances, colour of the water, beams) is recorded in the trace itself. What moves them
(heights, level, leaves) is traced anew with the same random numbers, so that little but the change differs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from underlit.backends.cpu import Tracer, available_threads
from underlit.backends.responses import Block, PathColumns, PathRecorder, flux_of
from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.lowering.responses import Features, Targets, features
from underlit.lowering.scene import Lowered, lower
from underlit.results.responses import Responses
from underlit.scene.assumptions.lever import BENT, Lever, with_value
from underlit.scene.assumptions.scene import levers_of
from underlit.transport.paths import CLASSES
from underlit.transport.tables import Tables

SHARE_OF_PHOTONS = 0.03
"""Photons of all small traces together, over those of the trace."""
FEWEST_PHOTONS, MOST_PHOTONS = 1 << 14, 1 << 18
"""Of one small trace."""
BLOCKS = 16
"""A small trace is cut into so many blocks, whose scatter gives its error."""


Ends = tuple[tuple[str, int], ...]


@dataclass
class Asked:
    """A lowered scene whose answers are asked for; the ends of ranges are traced once, when they are first asked for."""

    lowered: Lowered
    _known: tuple[Ends, np.ndarray, np.ndarray] | None = None

    @cached_property
    def levers(self) -> list[Lever]:
        """All levers of the scene."""
        return levers_of(self.lowered.scene)

    @cached_property
    def features(self) -> Features:
        """Those of them that a path's weight answers to."""
        return features(self.lowered, self.levers)

    @cached_property
    def targets(self) -> Targets:
        """What answers."""
        return Targets(self.lowered.compiled)

    @cached_property
    def recorder(self) -> PathRecorder:
        """What records paths during the trace."""
        f = self.features
        columns = PathColumns(self.targets.of_cells(), self.targets.count, f.surfaces, f.media, f.lens, f.panes)
        return PathRecorder(self.lowered.compiled.tables, columns)

    def responses(self, tracer: Tracer, threads: int | None = None) -> Responses:
        """What a tracer with this recorder has found so far, the ends of ranges traced anew."""
        targets = self.targets
        empty = np.zeros((targets.count, *self._shape))
        sums = [
            np.sum([found for _, found in sorted(counts.responses.items())], axis=0)
            / (len(counts.responses) * counts.photons_per_batch)
            if counts.responses
            else empty
            for counts in tracer.counts
        ]
        if self._known is None:
            self._known = self._ends(tracer, threads)
        ends, logs, errors = self._known
        return Responses(
            sums=np.array(sums),
            levers=self.features.levers,
            lens=self.features.lens,
            ends=ends,
            logs=logs,
            errors=errors,
            points=np.arange(targets.points),
            plantings=targets.plantings,
            first_planting=targets.points,
            first_patch=targets.first_patch,
        )

    @property
    def _shape(self) -> tuple[int, int]:
        return CLASSES, 1 + 2 * len(self.features.levers)

    def _ends(self, tracer: Tracer, threads: int | None) -> tuple[Ends, np.ndarray, np.ndarray]:
        """Every end that can be built: lever and end; logarithm of its light over the scene's, and its error, (E, T)."""
        found: list[tuple[str, int]] = []
        views: list[Lowered] = []
        for number, end in _wanted(self.levers):
            lever = self.levers[number]
            try:
                views.append(lower(with_value(self.lowered.scene, lever, (lever.low, lever.high)[end])))
            except LoweringError:
                continue
            found.append((lever.tag, end))
        none = np.zeros((0, self.targets.count))
        if not found:
            return (), none, none
        light = self._light_of([self.lowered, *views], tracer, threads)
        logs, errors = _logarithms(light[1:], light[0])
        return tuple(found), logs, errors

    def _light_of(self, views: Sequence[Lowered], tracer: Tracer, threads: int | None) -> np.ndarray:
        """Light on each target of several scenes, block by block from the same photons: (scenes, BLOCKS, T)."""
        total = sum(counts.photons for counts in tracer.counts)
        wanted = np.clip(SHARE_OF_PHOTONS * total / len(views), FEWEST_PHOTONS, MOST_PHOTONS)
        ppf = _levels(self.lowered)
        counts = [_block_size(wanted * share / BLOCKS, tracer.photons_per_batch) for share in ppf / ppf.sum()]
        tables = [without_planes(view.compiled.tables) for view in views]
        columns = [_targets_only(Targets(view.compiled)) for view in views]
        jobs = [(v, s, b) for v in range(len(views)) for s in range(len(counts)) for b in range(BLOCKS)]

        def one(job: tuple[int, int, int]) -> np.ndarray:
            view, source, block = job
            count = counts[source]
            batch, first = divmod(block * count, tracer.photons_per_batch)
            flux = flux_of(tables[view], columns[view], tracer.seed, source, Block(batch, first, count))
            return np.asarray(flux * (ppf[source] / count))

        with ThreadPoolExecutor(threads or available_threads()) as pool:
            flux: np.ndarray = np.array(list(pool.map(one, jobs)))
        by_source: np.ndarray = flux.reshape(len(views), len(counts), BLOCKS, -1)
        return np.asarray(by_source.sum(axis=1))


def _wanted(levers: Sequence[Lever]) -> Iterator[tuple[int, int]]:
    """Levers to trace anew, with the end of the range: both where the answer is bent, else the one farther off."""
    for number, lever in enumerate(levers):
        if lever.moves in BENT:
            yield from ((number, 0), (number, 1))
        elif not lever.moves.keeps_paths:
            yield number, int(lever.high - lever.value >= lever.value - lever.low)


def _levels(lowered: Lowered) -> np.ndarray:
    """PPF of each source as dimmed [umol/s]; at full power where all are off."""
    compiled = lowered.compiled
    found = np.array([ppf * lowered.dimming.get(s, 1.0) for s, ppf in zip(compiled.sources, compiled.ppf, strict=True)])
    return found if found.sum() > 0 else np.array(compiled.ppf)


def _block_size(photons: float, most: int) -> int:
    """The nearest power of two, so that blocks of low-discrepancy numbers stay whole."""
    return int(np.clip(2 ** round(np.log2(max(photons, 64))), 64, most))


def without_planes(tables: Tables) -> Tables:
    """The tables without light planes, which would only cost time."""
    return tables._replace(planes=tables.planes[:0].copy())


def _targets_only(targets: Targets) -> PathColumns:
    none = np.zeros((0, 0))
    return PathColumns(targets.of_cells(), targets.count, none, none, none, none)


def _logarithms(light: np.ndarray, base: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Logarithm of the light (E, BLOCKS, T) over that of the base (BLOCKS, T), and its error by leaving out blocks."""
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = np.log(light.sum(axis=1) / base.sum(axis=0))
        without = np.log((light.sum(axis=1, keepdims=True) - light) / (base.sum(axis=0) - base))
        spread = np.sqrt((BLOCKS - 1) * without.var(axis=1))
    known = np.isfinite(whole) & np.isfinite(spread)
    return np.where(known, whole, 0.0), np.where(known, spread, np.inf)
