"""Cells of counters pooled into patches, with all that order statistics need: see `planning.patches`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.planning.jackknife import used_groups
from underlit.planning.patches import Patches
from underlit.results.result import Result


@dataclass(frozen=True)
class Cells:
    """Cells of a tally row: index (n,), area [m2] of the part of each that matters, and its share of the whole cell.

    patch: number of the patch of each, from 0 on.
    """

    index: np.ndarray
    area: np.ndarray
    share: np.ndarray
    patch: np.ndarray

    @property
    def patch_areas(self) -> np.ndarray:
        """Area of each patch, (k,) [m2]."""
        return np.bincount(self.patch, self.area)


def pooled(result: Result, cells: Cells) -> Patches:
    """PPFD on the patches (k,), for all groups of batches and with each left out."""
    area = cells.patch_areas
    parts = []
    for i, counts in enumerate(result.counts):
        flux = counts.groups[:, cells.index] * (cells.share * result.source_scale(i))
        parts.append(np.stack([np.bincount(cells.patch, row, minlength=len(area)) for row in flux]))
    groups = used_groups(result)
    batches = [counts.group_batches.astype(np.float64) for counts in result.counts]

    def mean(left_out: int | None) -> np.ndarray:
        flux = np.zeros(len(area))
        for of_groups, weight in zip(parts, batches, strict=True):
            kept = np.delete(np.arange(len(weight)), [] if left_out is None else [left_out])
            flux += of_groups[kept].sum(axis=0) / max(weight[kept].sum(), 1.0)
        return np.asarray(flux / area)

    return Patches(mean(None), np.array([mean(g) for g in groups]).reshape(len(groups), -1), area)
