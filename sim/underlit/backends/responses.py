"""How the light on each counter answers to what is not known: paths recorded in the trace, condensed to a few numbers.

A path's weight changes by exp(features . change) when a film, a reflectance, the water's colour or the beam changes (see
`transport/paths.py`). Paths are told apart by target (a zone, a meter head, a patch of the bed, a planting) and class (how
often they were given back by the panes, which bends the answer most); of each kind the weight and the weighted mean and mean
square of the features are kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from underlit.backends.cpu import SLICE_PHOTONS, walk
from underlit.transport.paths import CLASSES, EVERYWHERE, FIRST_LENGTH, WANTED, condense
from underlit.transport.tables import PACKET, Tables

ROOM = 4 * SLICE_PHOTONS
"""Room for so many rows of a slice; a slice that has more is traced again with more room."""
EVERY, MOST_BATCHES = 8, 64
"""One batch in eight of each source is recorded, and no more once there are this many."""


class Block(NamedTuple):
    """Photons of one batch of a source."""

    batch: int
    first: int
    photons: int


@dataclass(frozen=True)
class PathColumns:
    """What recorded paths are condensed to: K features by targets.

    targets: (cells,) int32, target of a cell of the tally row, or -1. count: number of targets. surfaces: (surfaces, K) float64,
    feature gained each time light goes on from a surface. media: (media, BINS, K) float64, feature lost per metre. lens:
    (sources, K) bool, features that are the logarithm of the cosine at the lens. panes: (surfaces,) float64, reflections
    at the panes per time.
    """

    targets: np.ndarray
    count: int
    surfaces: np.ndarray
    media: np.ndarray
    lens: np.ndarray
    panes: np.ndarray

    @property
    def features(self) -> int:
        """Number of features K."""
        return int(self.surfaces.shape[1])

    def condensed(self, rows: np.ndarray, source: int) -> np.ndarray:
        """Sums over recorded rows of a source: (targets, CLASSES, 1 + 2 K) float64 [share of a packet]: weight; weight times
        each feature; weight times its square.
        """
        sums = np.zeros((self.count, CLASSES, 1 + 2 * self.features))
        condense(rows, self.targets, self.surfaces, self.media, self.lens[source], self.panes, sums)
        return sums


def records_for(tables: Tables, rows: int = ROOM) -> np.ndarray:
    """Empty records of everything, with room for so many rows."""
    records = np.zeros((rows, FIRST_LENGTH + len(tables.media) + len(tables.surfaces)))
    records[0, EVERYWHERE] = 1.0
    return records


@dataclass(frozen=True)
class PathRecorder:
    """Records the paths of some batches of a trace, a `backends.cpu.Recorder`."""

    tables: Tables
    columns: PathColumns

    def wants(self, batch: int) -> bool:
        """One batch in `EVERY`, and no more once there are `MOST_BATCHES`."""
        return batch % EVERY == 0 and batch < EVERY * MOST_BATCHES

    def walked(self, seed: int, source: int, batch: int, first: int, row: np.ndarray) -> np.ndarray:
        """Walk a slice, add to row as always, and condense its paths: see `PathColumns.condensed`."""
        records = records_for(self.tables)
        walk(self.tables, seed, source, batch, first, SLICE_PHOTONS, row, records=records)
        wanted = int(records[0, WANTED])
        if wanted >= len(records):
            records = records_for(self.tables, 2 * wanted)
            walk(self.tables, seed, source, batch, first, SLICE_PHOTONS, np.zeros_like(row), records=records)
        return self.columns.condensed(records[1 : wanted + 1], source)


def flux_of(tables: Tables, columns: PathColumns, seed: int, source: int, block: Block) -> np.ndarray:
    """Light on each target from some photons of a source, (targets,) float64 [packets]."""
    row = np.zeros(int(tables.layout[0]["end"]), np.int64)
    walk(tables, seed, source, block.batch, block.first, block.photons, row)
    cells = np.flatnonzero(columns.targets >= 0)
    return np.bincount(columns.targets[cells], row[cells] / float(PACKET), minlength=columns.count)
