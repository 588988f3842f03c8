"""Paths of the light that reaches meter heads, kept so that a fit can weigh them anew (`transport/paths.py`)."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from underlit.backends.cpu import SLICE_PHOTONS, available_threads, walk
from underlit.transport.paths import BIN, CELL, COSINE, FIRST_LENGTH, WANTED, WEIGHT
from underlit.transport.tables import PACKET, Tables

FIRST_ROWS = SLICE_PHOTONS
"""Room for so many paths of a slice; a slice that has more is traced again with more room."""


@dataclass(frozen=True)
class HeadPaths:
    """Paths of one source that reached heads; rows in the order of batch, photon and event.

    head, bin, batch: (n,) int32. cosine: (n,) float64, from the LED's axis. share: (n,) float64, weight on the head over the
    weight of all photons of a batch. lengths: (n, media) float64 [m]. passes: (n, surfaces) float32, how often it went
    on from each surface. batches: how many were traced.
    """

    head: np.ndarray
    bin: np.ndarray
    batch: np.ndarray
    cosine: np.ndarray
    share: np.ndarray
    lengths: np.ndarray
    passes: np.ndarray
    batches: int

    def means(self, heads: int, factor: np.ndarray | None = None) -> np.ndarray:
        """Share of the source's photons on each head, a batch at a time: (batches, heads) float64.

        factor: (n,) by which the weight of each path changes.
        """
        weight = self.share if factor is None else self.share * factor
        flat = np.bincount(self.batch * heads + self.head, weight, minlength=self.batches * heads)
        return flat.reshape(self.batches, heads)


def record_paths(
    tables: Tables, source: int, *, batches: int, batch_bits: int = 15, seed: int = 1, threads: int | None = None
) -> HeadPaths:
    """Trace batches of one source and keep the paths to all meter heads; the same photons as a trace with this seed."""
    photons = 1 << batch_bits
    slices = [(b, first) for b in range(batches) for first in range(0, photons, SLICE_PHOTONS)]
    width = FIRST_LENGTH + len(tables.media) + len(tables.surfaces)

    def one(job: tuple[int, int]) -> np.ndarray:
        row = np.zeros(int(tables.layout[0]["end"]), np.int64)
        rows = FIRST_ROWS
        while True:
            records = np.zeros((rows, width))
            count = min(SLICE_PHOTONS, photons)
            walk(tables, seed, source, job[0], job[1], count, row, records=records)
            wanted = int(records[0, WANTED])
            if wanted < rows:
                return records[1 : wanted + 1].copy()
            rows = 2 * wanted

    with ThreadPoolExecutor(threads or available_threads()) as pool:
        found = list(pool.map(one, slices))
    media = len(tables.media)
    rows = np.concatenate(found) if found else np.zeros((0, width))
    batch = np.repeat([b for b, _ in slices], [len(f) for f in found])
    return HeadPaths(
        head=(rows[:, CELL] - int(tables.layout[0]["heads"])).astype(np.int32),
        bin=rows[:, BIN].astype(np.int32),
        batch=batch.astype(np.int32),
        cosine=rows[:, COSINE].copy(),
        share=rows[:, WEIGHT] * math.ldexp(1.0, -batch_bits) / float(PACKET),
        lengths=rows[:, FIRST_LENGTH : FIRST_LENGTH + media].copy(),
        passes=rows[:, FIRST_LENGTH + media :].astype(np.float32),
        batches=batches,
    )
