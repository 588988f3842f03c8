"""A planted tank with wood and stone with places in deep shade, and small traces of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from underlit.backends.cpu import Tracer
from underlit.lowering.scene import Lowered, lower
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.scene import scene_from_dict
from underlit.transport.tables import PACKET

SPOTS = {
    "open bed": (24, 4, 3), "carpet": (12, 3, 0.5), "among the stems": (5, 12, 1), "low in the stems": (8, 15, 1.5),
    "deep in the stems": (2.5, 14.5, 0.3), "behind in the stems": (2.5, 18.3, 0.5), "beside the stems": (10, 18, 0.6),
}  # fmt: skip
TANK = {
    "tank": {
        "inside_size": ["30 cm", "20 cm", "20 cm"], "glass_thickness": "4 mm", "back": {"behind": "film", "colour": "black"},
    },
    "water": {"above_bottom": "18 cm", "tannin": "ordinary"},
    "substrate": {"material": "dark soil", "depth": "2 cm"},
    "fixture": [
        {
            "name": "clip", "size": ["12 cm", "4 cm", "1 cm"], "leds": {"rows": 1, "columns": 4},
            "lens": {"beam_angle": "45 deg"}, "output": {"ppf": "5 umol/s"}, "above_rim": "5 cm", "position": ["20 cm", "8 cm"],
        }
    ],
    "stone": [
        {"name": name, "shape": "rounded", "size": ["7 cm", "6 cm", "5 cm"], "at": at, "seed": seed, "material": "dark stone"}
        for name, at, seed in (("left stone", ["13 cm", "14 cm"], 2), ("right stone", ["20 cm", "14 cm"], 3))
    ],
    "plants": [
        {"name": "stems", "kind": "stems", "rectangle": [["1 cm", "9 cm"], ["11 cm", "19 cm"]], "height": "14 cm",
         "density": "dense", "seed": 4},
        {"name": "carpet", "kind": "carpet", "rectangle": [["3 cm", "1 cm"], ["20 cm", "6 cm"]], "height": "2 cm",
         "density": "medium", "seed": 5},
    ],
    "spot": [
        {"name": name, "at": [f"{x} cm", f"{y} cm"], "above_substrate": f"{z} cm"} for name, (x, y, z) in SPOTS.items()
    ],
}  # fmt: skip


@lru_cache
def lowered() -> Lowered:
    """The tank."""
    return lower(scene_from_dict(TANK))


def traced(seed: int, *, batch_bits: int = 12, batches: int = 16) -> Result:
    """A trace of the tank, by default the smallest that there is: 65,536 photons."""
    compiled = lowered().compiled
    tracer = Tracer(compiled.tables, seed=seed, batch_bits=batch_bits)
    tracer.run([batches])
    return Result(compiled, tuple(tracer.counts), seed, 0.0, lowered().dimming)


@dataclass(frozen=True)
class Many:
    """Small traces of one tank, seed by seed, and a long one that stands for the truth."""

    small: tuple[Result, ...]
    long: Result

    def cells(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The bed map's true PPFD (cells,), its values and standard errors in the small traces, (seeds, cells)."""
        truth = self.long.bed().value.ravel()
        lit = truth > 0
        fields = [result.bed() for result in self.small]
        values = np.array([f.value.ravel()[lit] for f in fields])
        return truth[lit], values, np.array([f.standard_error.ravel()[lit] for f in fields])

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the intervals of the same cells, each (seeds, cells)."""
        lit = self.long.bed().value.ravel() > 0
        ends = np.array([[end.ravel()[lit] for end in result.bed().limits] for result in self.small])
        return ends[:, 0], ends[:, 1]

    def spots(self) -> dict[str, tuple[float, list[Estimate]]]:
        """The truth and the estimates of each reading spot."""
        found = [result.heads() for result in self.small]
        return {name: (e.value, [one[name] for one in found]) for name, e in self.long.heads().items()}

    def batches(self, spot: str) -> tuple[np.ndarray, float]:
        """PPFD of a spot in every batch of the small traces, and what one packet adds to one batch [umol/m2/s]."""
        compiled = self.long.compiled
        index = [head.name for head in compiled.heads].index(spot)
        area, column = compiled.heads[index].area, len(compiled.zones) + index
        quanta = np.array([row[column] for result in self.small for row in result.counts[0].points], dtype=np.float64)
        scale = self.small[0].source_scale(0) / area
        return quanta * scale, PACKET * scale


@lru_cache
def many(seeds: int = 60) -> Many:
    """Traces of 65,536 photons, and one 64 times as long."""
    return Many(tuple(traced(seed) for seed in range(1, seeds + 1)), traced(1001, batch_bits=16, batches=64))
