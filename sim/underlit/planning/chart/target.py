"""What the substrate should get, and the setting that gives it: light adds, so dimming is arithmetic on stored rows."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from underlit.planning.chart.row import Row
from underlit.scene import Band, Need, band_for

LOWEST_SETTING = 0.1
"""Few dimmers go lower and hold it; common practice, no source."""


class Answer(StrEnum):
    """What to do with a light over a tank."""

    NOT_ENOUGH = "not enough at full power"
    FULL_POWER = "full power"
    DIM = "dim"
    TOO_STRONG = "too strong to dim"


@dataclass(frozen=True)
class Setting:
    """How to set a light. share: of full power for all channels alike (1 where it is not enough).

    mean, dimmest, brightest, ends: PPFD then [umol/m2/s]; the tenths and the ends None where not known. corners_too_dim,
    middle_too_bright: the dimmest tenth is under the target's band, the brightest over it.
    """

    answer: Answer
    share: float
    mean: float
    dimmest: float | None
    brightest: float | None
    ends: float | None
    corners_too_dim: bool
    middle_too_bright: bool

    @property
    def words(self) -> str:
        """The setting in words: `dim to 64 %`, `full power`, `not enough at full power`."""
        if self.answer is Answer.DIM:
            return f"dim to {100 * self.share:.0f} %"
        if self.answer is Answer.TOO_STRONG:
            return f"would need {100 * self.share:.1f} %: hang it higher"
        return str(self.answer)

    @property
    def judged(self) -> str:
        """What the substrate gets at this setting, in words; nothing where the tenths are not known."""
        if self.answer is Answer.NOT_ENOUGH:
            return "too dim"
        if self.dimmest is None or self.brightest is None:
            return ""
        dim = ["dimmest tenth too dim"] if self.corners_too_dim else []
        bright = ["brightest tenth too bright"] if self.middle_too_bright else []
        return ", ".join(dim + bright) or "right everywhere"


@dataclass(frozen=True)
class Target:
    """PPFD wanted on the substrate [umol/m2/s]: ideal is aimed at; low is enough; over high is too much. words: as asked."""

    low: float
    ideal: float
    high: float
    words: str

    @classmethod
    def of_ppfd(cls, ppfd: float) -> Target:
        """A mean to be met. Raises ValueError unless it is above nothing."""
        if not 0 < ppfd < float("inf"):
            raise ValueError(f"the PPFD must be above 0 (got {ppfd:g})")
        return cls(ppfd, ppfd, ppfd, f"{ppfd:g} umol/m2/s")

    @classmethod
    def of_band(cls, band: Band, words: str) -> Target:
        """The middle of a band is aimed at."""
        return cls(band.low, (band.low + band.high) / 2, band.high, f"{words}: {band.low:g}-{band.high:g} umol/m2/s")

    @classmethod
    def of_need(cls, need: Need, *, added_co2: bool, settled: bool = True) -> Target:
        """The band that a need stands for, see `band_for`."""
        words = f"{need}, {'with' if added_co2 else 'without'} added CO2{'' if settled else ', new tank'}"
        return cls.of_band(band_for(need, added_co2=added_co2, settled=settled), words)

    @property
    def is_band(self) -> bool:
        """Whether it leaves room; a single figure says nothing of corners and middle."""
        return self.low < self.high

    def setting(self, row: Row) -> Setting:
        """The setting that brings a row's mean to the target, or as near as full power does.

        A light is enough when its mean at full power reaches `low` within its simulation error.
        """
        most = row.mean.value
        share = min(1.0, self.ideal / most) if most > 0 else 1.0
        if most + row.mean.half_width < self.low or most <= 0:
            answer = Answer.NOT_ENOUGH
        elif share >= 1.0:
            answer = Answer.FULL_POWER
        else:
            answer = Answer.DIM if share >= LOWEST_SETTING else Answer.TOO_STRONG
        both_ends = None if row.ends is None else row.ends.both
        dimmest, brightest, ends = (
            None if e is None else e.value * share for e in (row.dimmest, row.brightest, both_ends)
        )
        return Setting(
            answer,
            share,
            most * share,
            dimmest,
            brightest,
            ends,
            self.is_band and dimmest is not None and dimmest < self.low,
            self.is_band and brightest is not None and brightest > self.high,
        )

    def at_full_power(self, row: Row) -> str:
        """What the light is at full power: `too dim`, `right` or `too bright`; for a single figure `below` or `reached`."""
        if row.mean.value + row.mean.half_width < self.low:
            return "too dim" if self.is_band else "below"
        if not self.is_band:
            return "reached"
        return "too bright" if row.mean.value - row.mean.half_width > self.high else "right"
