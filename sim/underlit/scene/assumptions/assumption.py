"""One value that a scene leaves open and that was assumed."""

from __future__ import annotations

from dataclasses import dataclass

from underlit.scene.assumptions.lever import Lever
from underlit.scene.targets import PRACTICE


@dataclass(frozen=True)
class Assumption:
    """``relative_low`` to ``relative_high``: how far the mean PPFD may lie from that computed with the assumed value.

    Both are None where the light does not depend on it, or where it is a condition rather than an unknown. measured: told by
    readings, which `source` names. levers: what moves when the value is wrong.
    """

    key: str
    value_text: str
    range_text: str
    relative_low: float | None
    relative_high: float | None
    source: str = PRACTICE
    measured: bool = False
    levers: tuple[Lever, ...] = ()

    @property
    def mean_square(self) -> float:
        """Mean square relative departure, if every value of the range is equally likely."""
        if self.relative_low is None or self.relative_high is None:
            return 0.0
        low, high = self.relative_low, self.relative_high
        return (low * low + low * high + high * high) / 3
