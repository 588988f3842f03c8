"""PPFD against height over places of a tank, and along lines through it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from underlit.viz.figures import LEGEND, Canvas, beside_corner, quiet_ticks, ticks_cm, without_sides
from underlit.viz.palette import BAR_TITLE, INK, SOFT_INK, nice_ceiling

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = ("#1f5f8b", "#c2571a")
"""The tank as it is, and with the other lid; apart for colour-blind eyes, and in grey."""
WATER, BED, BAND, RULE = "#dcebf0", "#b9a88d", "#e4efd9", "#7a7f83"
_WIDE, _TALL = 3.4, 4.3
_LEFT, _RIGHT, _GAP, _TOP, _BOTTOM = 0.65, 0.35, 0.55, 1.15, 1.1
"""Sizes and margins [in]."""


@dataclass(frozen=True)
class Curve:
    """PPFD at heights or distances: at (n,) [m]; value, ends of its simulation error, ends of the real tank's light (n,)
    [umol/m2/s].
    """

    label: str
    at: np.ndarray
    value: np.ndarray
    simulation: tuple[np.ndarray, np.ndarray]
    tank: tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class ColumnPanel:
    """One place: its curves against height, heights of substrate and surface [m], what the rule of thumb would leave, a
    plant's height [m] and its band [umol/m2/s], and a line of words.
    """

    name: str
    curves: tuple[Curve, ...]
    bed: float
    surface: float
    rule: np.ndarray
    words: str = ""
    plant: float | None = None
    band: tuple[float, float] | None = None


def draw_columns(panels: Sequence[ColumnPanel], title: str) -> Figure:
    """PPFD to the right, height up; a panel a place, all on one scale."""
    from matplotlib.artist import Artist
    from matplotlib.patches import Patch

    canvas = Canvas(_LEFT + len(panels) * _WIDE + (len(panels) - 1) * _GAP + _RIGHT, _TOP + _TALL + _BOTTOM)
    canvas.title(_LEFT, title, down=0.3)
    brightest = nice_ceiling(max(float(np.nanmax(c.tank[1])) for p in panels for c in p.curves))
    top = max(float(c.at.max()) for p in panels for c in p.curves) + 0.015
    handles: dict[str, Artist] = {"pale": Patch(color=COLOURS[0], alpha=0.14, label="pale: the real tank (95 %)")}
    for k, panel in enumerate(panels):
        axes = canvas.axes(_LEFT + k * (_WIDE + _GAP), _BOTTOM, _WIDE, _TALL)
        _column(axes, panel, brightest, top)
        if k == 0:
            axes.set_ylabel("height over the bottom pane, cm", fontsize=9, color=SOFT_INK)
        handles |= {str(h.get_label()): h for h in axes.get_legend_handles_labels()[0]}
    at, columns = ((_LEFT - 0.1) / canvas.width, 0.0), 2 if len(panels) == 1 else 3
    canvas.figure.legend(handles=list(handles.values()), loc="lower left", bbox_to_anchor=at, ncols=columns, **LEGEND)
    return canvas.figure


def _column(axes: Axes, panel: ColumnPanel, brightest: float, top: float) -> None:
    axes.set(xlim=(0, brightest), ylim=(0, top))
    axes.axhspan(0, panel.bed, color=BED, zorder=0.2)
    axes.axhspan(panel.bed, min(panel.surface, top), color=WATER, zorder=0.1)
    axes.axhline(panel.surface, color="#5b93aa", lw=1.2, zorder=2)
    if panel.band is not None:
        axes.axvspan(*panel.band, color=BAND, alpha=0.75, zorder=0.3, label="target band")
    under = panel.curves[0].at < panel.surface
    axes.plot(
        panel.rule[under], panel.curves[0].at[under], color=RULE, lw=1.3, ls=(0, (4, 3)), zorder=3,
        label="rule of thumb: four inches of water halve the light",
    )  # fmt: skip
    for curve, colour in zip(panel.curves, COLOURS, strict=False):
        for (low, high), alpha, order in ((curve.tank, 0.14, 3), (curve.simulation, 0.5, 4)):
            axes.fill_betweenx(curve.at, low, high, color=colour, alpha=alpha, lw=0, zorder=order)
        axes.plot(curve.value, curve.at, color=colour, lw=1.6, marker="o", ms=2.6, zorder=5, label=curve.label)
    if panel.plant is not None:
        axes.axhline(panel.bed + panel.plant, color="#3e6b33", lw=1.1, ls=(0, (1, 1.5)), zorder=4, label="the plant")
    _dress(axes)
    axes.set_xlabel(BAR_TITLE, fontsize=9, color=SOFT_INK)
    ticks_cm(axes.yaxis, top, 11)
    axes.set_title(panel.name, fontsize=10, color=INK, loc="left", pad=20)
    beside_corner(axes, panel.words, y=6)


def draw_line(curves: Sequence[Curve], title: str, words: str, band: tuple[float, float] | None) -> Figure:
    """Distance along the line to the right, PPFD up."""
    canvas = Canvas(7.6, 4.3)
    axes = canvas.axes(0.76, 0.82, 6.54, 2.66)
    canvas.title(0.76, title, words, down=0.26)
    if band is not None:
        axes.axhspan(*band, color=BAND, zorder=0.3, label="target band")
    for curve, colour in zip(curves, COLOURS, strict=False):
        for limits, alpha in ((curve.tank, 0.14), (curve.simulation, 0.5)):
            axes.fill_between(curve.at, *limits, color=colour, alpha=alpha, lw=0)
        axes.plot(curve.at, curve.value, color=colour, lw=1.6, label=curve.label)
    axes.set_xlim(curves[0].at[0], curves[0].at[-1])
    axes.set_ylim(0, nice_ceiling(max(float(np.nanmax(c.tank[1])) for c in curves)))
    _dress(axes)
    ticks_cm(axes.xaxis, float(curves[0].at[-1]), 11)
    axes.set_xlabel("along the line, cm", fontsize=9, color=SOFT_INK)
    axes.set_ylabel(BAR_TITLE, fontsize=9, color=SOFT_INK)
    handles = axes.get_legend_handles_labels()[0]
    canvas.figure.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.09, 0.0), ncols=3, **LEGEND)
    return canvas.figure


def _dress(axes: Axes) -> None:
    quiet_ticks(axes)
    axes.grid(color="white", lw=0.8)
    axes.set_axisbelow(True)
    without_sides(axes, "top", "right")
    axes.spines[:].set(color=INK, linewidth=0.9)
