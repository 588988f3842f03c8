"""Numbers as people read them: no more figures than the error leaves room for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from underlit.planning.ranges import TankRange
    from underlit.results.estimate import Estimate
    from underlit.scene import Band

UNKNOWN = "?"
LEAST_MOVED = 0.01
"""Share of a place's light below which an assumption is not worth naming."""
NONE = "-"


def light(value: float) -> str:
    """A PPFD on its own: three figures are plenty."""
    if not math.isfinite(value):
        return NONE
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:.1f}"


def band_text(band: Band | None) -> str:
    """A band, such as `35-70`; nothing without one."""
    return "" if band is None else f"{band.low:g}-{band.high:g}"


def with_error(value: float, half_width: float, low: float | None = None, high: float | None = None) -> str:
    """A PPFD and its error to the same place: `43.81 ± 0.19`, `112.4 ± 3.1`.

    low, high: ends of the 95 % interval. Where that is lopsided, for the value rests on few hits, it is told itself: `0.2-1.4`;
    and where nothing but an upper bound is known, `< 0.4`.
    """
    if not math.isfinite(value):
        return NONE
    if not math.isfinite(half_width):
        return f"{light(value)} ± {UNKNOWN}"
    if low is None or high is None or not lopsided(value, half_width, low):
        rounded, digits = _up(half_width)
        return f"{value:.{digits}f} ± {rounded:.{digits}f}"
    _, digits = _up(high - low)
    least = math.floor(low * 10**digits) / 10**digits
    if least <= 0:
        rounded, digits = _up(high)
        return f"< {rounded:.{digits}f}"
    return f"{least:.{digits}f}-{math.ceil(high * 10**digits) / 10**digits:.{digits}f}"


def estimated(estimate: Estimate) -> str:
    """An estimate with its simulation error, see `with_error`."""
    return with_error(estimate.value, estimate.half_width, estimate.low, estimate.high)


def lopsided(value: float, half_width: float, low: float) -> bool:
    """Whether a 95 % interval reaches less far down than up, beyond what rounding of stored numbers does."""
    return low - (value - half_width) > 0.01 * half_width


def _up(width: float) -> tuple[float, int]:
    """A width rounded up to two figures, and its decimals: at most two, for nobody reads a meter finer."""
    for digits in (2, 1, 0):
        # a hair off, so that 0.2 stays 0.2
        whole = math.ceil(width * 10**digits - 1e-9)
        if whole < 100 or digits == 0:
            return whole / 10**digits, digits if width > 0 else 1
    raise AssertionError


def error(value: float) -> str:
    """An error on its own: two figures, at most one decimal."""
    if not math.isfinite(value):
        return UNKNOWN
    return f"{value:.0f}" if value >= 9.95 or value == 0 else f"{value:.1f}"


def span_text(low: float, high: float) -> str:
    """A range of PPFD: `46-71`; nothing where no light was counted."""
    if high == 0:
        return NONE
    return f"{light(low)}-{light(high)}" if math.isfinite(low) and math.isfinite(high) else UNKNOWN


def moved_words(value: float, tank: TankRange) -> str:
    """The assumptions that move a place most, with how far at the ends of their ranges: `lid.dirt -8 to +4; ...`."""
    told = []
    for effect in tank.named:
        low, high = sorted((value * (effect.low - 1), value * (effect.high - 1)))
        if high - low >= LEAST_MOVED * value:
            told.append(f"{effect.name} {signed(min(low, 0.0))} to {signed(max(high, 0.0))}")
    return "; ".join(told)


def signed(value: float) -> str:
    """A difference of PPFD with its sign, as exact as an error; `0` for next to nothing."""
    shown = error(abs(value))
    return "0" if float(shown) == 0 else f"{'-' if value < 0 else '+'}{shown}"


def percent(share: float) -> str:
    """A share of one as whole per cent."""
    return f"{100 * share:.0f} %"


def sure_to(relative: float) -> str:
    """A relative half width as per cent, with a decimal where it is small."""
    if not math.isfinite(relative):
        return UNKNOWN
    return f"{100 * relative:.0f} %" if relative >= 0.0995 else f"{100 * relative:.1f} %"


def known_to(name: str, relative: float) -> str:
    """How well a zone or spot is known by the trace, from its relative half width."""
    if math.isfinite(relative):
        return f"{name} ± {sure_to(relative)}"
    return f"{name}, where too little light has been counted to tell"


def duration(seconds: float) -> str:
    """A time to wait, in the unit that suits it."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    if seconds < 100 * 60:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h"
