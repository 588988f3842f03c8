"""The picture of a fit: how far each reading lies from the scene before and after, and what is now known of each
parameter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from underlit.viz.figures import Canvas, without_sides
from underlit.viz.palette import INK, SOFT_INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

AFTER, BEFORE, BAND = "#2a6f97", "#b07d2b", "#e3e9ec"
_ROW, _LEFT, _RIGHT, _TOP, _GAP, _WIDTH = 0.27, 2.9, 1.9, 0.95, 0.95, 10.0
"""Height of a row, margins and the figure's width [in]."""


@dataclass(frozen=True)
class ReadingMark:
    """A reading: label, departure of the reading from the scene before and after (relative), whether it was set
    aside.
    """

    label: str
    before: float
    after: float
    set_aside: bool


@dataclass(frozen=True)
class KnownMark:
    """A parameter: label; what is likeliest after, and the ends of what is possible, in half widths of before; in words."""

    label: str
    middle: float
    low: float
    high: float
    text: str


def draw_residuals(readings: Sequence[ReadingMark], known: Sequence[KnownMark], expected: float, title: str) -> Figure:
    """Readings above, parameters below, as a matplotlib figure. expected: two standard deviations of a reading, relative."""
    tall = (len(readings) + 1) * _ROW, (len(known) + 1) * _ROW
    canvas = Canvas(_WIDTH, _TOP + sum(tall) + _GAP + 0.75)
    wide = _WIDTH - _LEFT - _RIGHT
    _readings(canvas.axes(_LEFT, canvas.height - _TOP - tall[0], wide, tall[0]), readings, expected)
    _known(canvas.axes(_LEFT, 0.75, wide, tall[1]), known)
    canvas.title(0.3, title, down=0.35)
    return canvas.figure


def _rows(axes: Axes, labels: Sequence[str]) -> None:
    axes.set_ylim(len(labels) - 0.5 + 0.25, -0.75)
    axes.set_yticks(range(len(labels)), labels, fontsize=8.5, color=INK)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=8, colors=SOFT_INK)
    without_sides(axes, "top", "right", "left")
    axes.spines["bottom"].set_color(SOFT_INK)


def _readings(axes: Axes, readings: Sequence[ReadingMark], expected: float) -> None:
    _rows(axes, [r.label for r in readings])
    axes.axvspan(-100 * expected, 100 * expected, color=BAND, lw=0, zorder=0)
    axes.axvline(0, color=SOFT_INK, lw=0.8, zorder=1)
    for i, r in enumerate(readings):
        axes.plot([100 * r.before, 100 * r.after], [i, i], color="#c9cfd2", lw=1, zorder=1.5)
        axes.plot(100 * r.before, i, "o", ms=5.5, mfc="white", mec=BEFORE, mew=1.2, zorder=3)
        mark, size = ("X", 7) if r.set_aside else ("o", 6)
        axes.plot(100 * r.after, i, mark, ms=size, color=AFTER, mec="white", mew=0.6, zorder=4)
        if r.set_aside:
            axes.annotate(
                "set aside",
                (100 * r.after, i),
                (8, 0),
                textcoords="offset points",
                va="center",
                fontsize=8,
                color=AFTER,
            )
    said = "difference of the reading from the scene, %  (shaded: usual scatter of readings by hand, 95 %)"
    axes.set_xlabel(said, fontsize=8.5, color=SOFT_INK)
    title = "Readings against the scene as it was (hollow) and as corrected (filled)"
    axes.set_title(title, fontsize=9.5, color=INK, loc="left", pad=8)


def _known(axes: Axes, known: Sequence[KnownMark]) -> None:
    _rows(axes, [k.label for k in known])
    axes.set_xlim(-1.6, 1.6)
    for i, k in enumerate(known):
        axes.plot([-1, 1], [i, i], color=BAND, lw=9, solid_capstyle="butt", zorder=1)
        ends = [max(-1.58, k.low), min(1.58, k.high)]
        axes.plot(ends, [i, i], color=AFTER, lw=3, solid_capstyle="butt", zorder=2)
        axes.plot(min(max(k.middle, -1.58), 1.58), i, "o", ms=6, color=AFTER, mec="white", mew=0.6, zorder=3)
        axes.annotate(
            k.text, (1.0, i), (6, 0), xycoords=("axes fraction", "data"), textcoords="offset points", va="center",
            fontsize=8, color=INK, annotation_clip=False,
        )  # fmt: skip
    axes.axvline(0, color=SOFT_INK, lw=0.8, zorder=1.5)
    axes.set_xticks([-1, 0, 1], ["less", "as the scene says", "more"])
    title = "What is known before the readings (shaded) and after (line), 95 %"
    axes.set_title(title, fontsize=9.5, color=INK, loc="left", pad=8)
