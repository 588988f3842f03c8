"""The picture of suggestions: a row for each zone, its band as a bar, and where every suggestion puts its light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from underlit.planning.suggest import Suggestion, Suggestions
from underlit.viz.figures import Canvas, without_sides
from underlit.viz.palette import BAR_TITLE, INK, PAPER, SOFT_INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BAND = "#c9d6cf"
_ROW, _LEFT, _WIDTH, _TOP, _BOTTOM, _KEY_LINE = 0.9, 2.3, 6.0, 0.5, 0.75, 0.2
"""Sizes [in]."""
_NOW = "o"


def draw_suggestions(found: Suggestions, names: Sequence[tuple[str, str]]) -> Figure:
    """The picture as a matplotlib figure. Numbers stand for the suggestions, so that it reads without colour.

    names: number and words of `now` and of each suggestion to show.
    """
    zones = found.now.zones
    height = _ROW * len(zones)
    key = _KEY_LINE * len(names) + 0.1
    canvas = Canvas(_LEFT + _WIDTH + 0.2, _TOP + height + _BOTTOM + key)
    axes = canvas.axes(_LEFT, _BOTTOM + key, _WIDTH, height)
    for row, zone in enumerate(zones):
        assert zone.band is not None
        low, high = max(zone.band.low, 1.0), zone.band.high
        axes.barh(row, high - low, left=low, height=0.86, color=_BAND, edgecolor=INK, linewidth=0.8, zorder=1)
    shown = [found.now, *found.ranked[: len(names) - 1]]
    for i, (one, (name, _)) in enumerate(zip(shown, names, strict=True)):
        _draw_one(axes, one, name, i, len(shown))
    _frame(axes, found)
    canvas.title(_LEFT, "Light of each zone and its band", down=0.23)
    for i, (name, words) in enumerate(names):
        canvas.text(0.1, key - _KEY_LINE * i, f"{_NOW if i == 0 else name}   {words}", 8)
    return canvas.figure


def _draw_one(axes: Axes, one: Suggestion, name: str, index: int, count: int) -> None:
    for row, zone in enumerate(one.zones):
        # side by side within the row, so that like values don't hide each other
        y = row + (index - (count - 1) / 2) * 0.78 / max(count, 1)
        x = max(zone.ppfd.value, 1.0)
        if index == 0:
            axes.plot(x, y, _NOW, mfc=PAPER, mec=INK, ms=5.5, zorder=3)
        else:
            axes.text(x, y, name, ha="center", va="center", fontsize=8.5, fontweight="bold", color=INK, zorder=4)


def _frame(axes: Axes, found: Suggestions) -> None:
    from matplotlib.ticker import NullFormatter, ScalarFormatter

    zones = found.now.zones
    axes.set_ylim(len(zones) - 0.5, -0.5)
    axes.set_yticks(range(len(zones)), [zone.name for zone in zones], fontsize=8.5, color=INK)
    axes.set_xscale("log")
    values = [zone.ppfd.value for one in (found.now, *found.ranked) for zone in one.zones]
    edges = [edge for zone in zones if zone.band is not None for edge in (zone.band.low, zone.band.high)]
    axes.set_xlim(max(1.0, min([*values, *edges]) * 0.75), max([*values, *edges]) * 1.25)
    axes.set_xticks([t for t in (2, 5, 10, 15, 20, 35, 50, 70, 100, 150, 200, 300, 500) if _within(t, axes.get_xlim())])
    axes.xaxis.set_major_formatter(ScalarFormatter())
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.tick_params(axis="x", labelsize=8, colors=INK)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel(f"{BAR_TITLE}; bars: target bands", fontsize=8.5, color=SOFT_INK)
    axes.grid(axis="x", color="#e6e6e6", zorder=0)
    without_sides(axes, "top", "right", "left")


def _within(value: float, span: tuple[float, float]) -> bool:
    return span[0] <= value <= span[1]
