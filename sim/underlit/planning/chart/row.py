"""A row of a chart: one light over one tank, traced at full power."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass, replace
from typing import Any

from underlit.lowering.tallies import WHOLE_BED
from underlit.planning.chart.axes import full_watts
from underlit.planning.chart.tenths import bed_tenths
from underlit.planning.ends import Ends, ends_of
from underlit.planning.ranges import TankRanges
from underlit.results.estimate import Estimate
from underlit.run import trace_whole
from underlit.scene import Scene


@dataclass(frozen=True)
class Row:
    """PPFD on the substrate with every channel at full power [umol/m2/s].

    mean, dimmest, brightest: of the whole substrate and of its dimmest and brightest tenth (None where too noisy to
    say), on patches of patch_m [m]; ends: against the middle (None where hardscape or tall plants fill an end);
    tank_low, tank_high: factors on the mean between which a real tank's lies (95 %). ppf [umol/s], watts: at full
    power. notes: what the tracer's builder did, such as laying the light on the lid.
    """

    key: str
    light: str
    tank: str
    photons: int
    seed: int
    program: str
    ppf: float
    watts: float | None
    mean: Estimate
    dimmest: Estimate | None
    brightest: Estimate | None
    patch_m: float | None
    ends: Ends | None
    tank_low: float
    tank_high: float
    notes: tuple[str, ...]

    @property
    def evenness(self) -> float:
        """Dimmest tenth over the mean; NaN where not known."""
        return self.dimmest.value / self.mean.value if self.dimmest is not None and self.mean.value > 0 else math.nan

    def to_json(self) -> str:
        """The row as a text file: the same bits for the same numbers."""
        return json.dumps(asdict(self), indent=1, sort_keys=True, allow_nan=False, ensure_ascii=False) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Row:
        """A row from its file. Raises ValueError for what is no row."""
        try:
            data: dict[str, Any] = json.loads(text)
            for name in ("mean", "dimmest", "brightest"):
                data[name] = None if data[name] is None else Estimate(**data[name])
            data["ends"] = None if data["ends"] is None else Ends.from_data(data["ends"])
            data["notes"] = tuple(data["notes"])
            row = cls(**data)
        except (TypeError, KeyError, AttributeError) as problem:
            raise ValueError(f"not a row of a chart: {problem}") from None
        if row.mean is None:
            raise ValueError("not a row of a chart: it has no mean")
        return row


@dataclass(frozen=True)
class Misfit:
    """A light that cannot hang over a tank, or a tank that cannot be built, and why."""

    light: str
    tank: str
    reason: str


@dataclass(frozen=True)
class Combination:
    """What a worker is given: names, the scene of the two together, how to trace it."""

    key: str
    light: str
    tank: str
    scene: Scene
    photons: int
    seed: int
    notes: tuple[str, ...]


def trace_combination(asked: Combination) -> Row:
    """Build, trace and read one combination on one thread. Raises LoweringError where it cannot be built."""
    from underlit.lowering.scene import lower
    from underlit.planning.chart.keys import program

    lowered = lower(asked.scene)
    # full power: what the scene dims must neither show nor move photons from one channel to another
    lowered = replace(lowered, dimming=dict.fromkeys(lowered.dimming, 1.0))
    full = trace_whole(lowered, photons=asked.photons, seed=asked.seed, threads=1).result
    tenths, tank = bed_tenths(full), TankRanges(lowered, full).zone(0)
    return Row(
        key=asked.key,
        light=asked.light,
        tank=asked.tank,
        photons=full.photons,
        seed=asked.seed,
        program=program(),
        ppf=full.ppf,
        watts=full_watts(asked.scene.fixtures),
        mean=next(
            e for zone, e in zip(full.compiled.zones, full.zone_estimates(), strict=True) if zone.zone == WHOLE_BED
        ),
        dimmest=tenths.dimmest,
        brightest=tenths.brightest,
        patch_m=tenths.patch_m,
        ends=ends_of(lowered, full),
        tank_low=tank.low,
        tank_high=tank.high,
        notes=(*asked.notes, *lowered.compiled.notes),
    )
