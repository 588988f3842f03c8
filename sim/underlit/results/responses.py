"""How the light on each target answers to every assumption: part of a result, kept in its file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from underlit.lowering.records import Part


@dataclass(frozen=True)
class Responses:
    """What a trace found of T targets: zones, meter heads, plantings, patches of the beds.

    sums: (sources, T, classes, 1 + 2 K) float64, share of a source's photons that reach a target, by class of path; that
    share times each of K features; and times their squares (`backends.responses`). levers: the levers that the features
    stand for, (K,), by `Lever.tag`. lens: (sources, K) bool, which of them is the logarithm
    of the cosine at a source's lens. ends: E times tag of a lever and the end of
    its range (0 low, 1 high) that the scene was traced anew at, with the same random numbers. logs, errors: (E, T) float64,
    logarithm of the light there over that of the scene, and its standard error. points: (zones + heads,) targets of those
    of this result. plantings: their parts, in the order of their targets from first_planting on. first_patch: first patch
    of the bed of a tank. remembered: what was worked out from all this before.
    """

    sums: np.ndarray
    levers: tuple[str, ...]
    lens: np.ndarray
    ends: tuple[tuple[str, int], ...]
    logs: np.ndarray
    errors: np.ndarray
    points: np.ndarray
    plantings: tuple[Part, ...]
    first_planting: int
    first_patch: dict[int, int]
    remembered: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)

    def of_points(self, chosen: Sequence[int]) -> Responses:
        """The same answers with some of the zones and heads only."""
        return replace(self, points=self.points[list(chosen)], remembered={})

    def of_planting(self, part: Part) -> int:
        """The target that a planting is."""
        return self.first_planting + self.plantings.index(part.whole)
