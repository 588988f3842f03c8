"""The range of the real tank's light as fields of the result's file."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from underlit.planning.ranges import TankRanges
from underlit.planning.zones import ZoneReport
from underlit.results.store import More
from underlit.results.stored import grid_names
from underlit.run import Traced


def real_tank(traced: Traced, reports: Sequence[ZoneReport]) -> More:
    """Both ends of the range of the real tank's light on zones, spots and beds, as further fields of the result's file."""
    compiled = traced.result.compiled
    found: dict[str, tuple[tuple[str, ...], np.ndarray, str]] = {}
    heads = {head: k for k, head in enumerate(compiled.heads)}
    spots, beds = np.full((2, len(heads)), np.nan), {}
    for tank in traced.tanks.values():
        ranges, values = TankRanges(tank.lowered, tank.result), tank.result.head_estimates()
        own = [k for head, k in heads.items() if head.tank == tank.lowered.tank]
        for k, value, span in zip(own, values, map(ranges.spot, range(len(values))), strict=True):
            spots[:, k] = value.value * span.low, value.value * span.high
        if tank.result.compiled.bed_map is not None:
            beds[tank.lowered.tank] = np.array(ranges.bed(tank.result.compiled.bed_map)) * tank.result.bed().value
    zones = np.array([(r.tank_low, r.tank_high) for r in reports]).T
    for k, end in enumerate(("low", "high")):
        said = f"{end} end of the 95 % range of the real tank's light, from what is not known about it"
        found[f"zone_ppfd_tank_{end}"] = ("zone",), zones[k], said
        found[f"head_ppfd_tank_{end}"] = ("head",), spots[k], said
        for number, grid in enumerate(compiled.map_grids):
            name, dims = grid_names("bed", number)
            if grid.tank in beds:
                found[f"{name}_ppfd_tank_{end}"] = dims, beds[grid.tank][k], said
    return found
