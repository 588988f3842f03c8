"""A result without what only a trace needs: for keeping many in memory, and answering dimming from them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from underlit.results.result import Result
from underlit.results.store import face_statistics
from underlit.results.stored import StoredCounts, StoredResult
from underlit.transport.tables import LAYOUT, Tables


def condensed(result: Result) -> StoredResult:
    """The same answers from less: of faces mean and variance, of bed and planes the group sums, all zones and heads.

    Keeps no tables, and shares nothing with a trace that goes on.
    """
    faces = result.cells("faces")
    means, variances = face_statistics(result, (faces.stop - faces.start) // 2)
    old = result.compiled.tables.layout[0]
    cells = slice(int(old["map"]), int(old["zones"]))
    counts = tuple(
        StoredCounts(
            photons_per_batch=c.photons_per_batch,
            groups=c.groups[:, cells].copy(),
            group_batches=c.group_batches.copy(),
            batches=c.batches,
            points=list(c.points),
            ledger=list(c.ledger),
            counters=list(c.counters),
        )
        for c in result.counts
    )
    layout = np.zeros(1, LAYOUT)
    for name in ("map", "planes", "zones", "heads", "ledger", "counters", "end"):
        layout[name] = old[name] - cells.start
    empty = {name: np.zeros(0) for name in Tables._fields}
    grids = {
        kind: tuple(replace(grid, first=grid.first - cells.start) for grid in getattr(result.compiled, kind))
        for kind in ("map_grids", "plane_grids")
    }
    compiled = replace(result.compiled, tables=Tables(**{**empty, "layout": layout}), **grids)
    return StoredResult(
        compiled=compiled,
        counts=counts,
        seed=result.seed,
        seconds=result.seconds,
        dimming=result.dimming,
        complete=result.complete,
        responses=result.responses,
        face_means=means,
        face_variances=variances,
    )
