"""Numbers as people read them: no more figures than the error leaves room for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from underlit.scene import Band

UNKNOWN = "?"
NONE = "-"


def light(value: float) -> str:
    """A PPFD on its own: three figures are plenty."""
    if not math.isfinite(value):
        return NONE
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:.1f}"


def band_text(band: Band | None) -> str:
    """A band, such as `35-70`; nothing without one."""
    return "" if band is None else f"{band.low:g}-{band.high:g}"


def with_error(value: float, half_width: float) -> str:
    """A PPFD and its error to the same place, the error rounded up: `43.8 ± 0.2`, `112 ± 4`."""
    if not math.isfinite(value):
        return NONE
    if not math.isfinite(half_width):
        return f"{light(value)} ± {UNKNOWN}"
    digits = 0 if half_width >= 1 else 1
    unit = 10**digits
    # a hair off, so that 0.2 stays 0.2
    rounded = math.ceil(half_width * unit - 1e-9) / unit
    return f"{value:.{digits}f} ± {rounded:.{digits}f}"


def error(value: float) -> str:
    """An error on its own: two figures, at most one decimal."""
    if not math.isfinite(value):
        return UNKNOWN
    return f"{value:.0f}" if value >= 9.95 or value == 0 else f"{value:.1f}"


def percent(share: float) -> str:
    """A share of one as whole per cent."""
    return f"{100 * share:.0f} %"


def sure_to(relative: float) -> str:
    """A relative half width as per cent, with a decimal where it is small."""
    if not math.isfinite(relative):
        return UNKNOWN
    return f"{100 * relative:.0f} %" if relative >= 0.0995 else f"{100 * relative:.1f} %"


def duration(seconds: float) -> str:
    """A time to wait, in the unit that suits it."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    if seconds < 100 * 60:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h"
