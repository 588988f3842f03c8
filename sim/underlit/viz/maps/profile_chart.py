"""PPFD against height over places of a tank, and along lines through it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.results.atomic import atomic_path
from underlit.viz.maps.plan_map import new_figure
from underlit.viz.palette import BAR_TITLE, INK, PAPER, SCREEN_DPI, SOFT_INK, nice_ceiling

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
    """PPFD at heights or distances: at (n,) [m], value, counting and unknown half widths (n,) [umol/m2/s]."""

    label: str
    at: np.ndarray
    value: np.ndarray
    counting: np.ndarray
    unknown: np.ndarray


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


def write_columns(panels: Sequence[ColumnPanel], path: str | Path, title: str) -> None:
    """Draw profiles beside each other and write them as PNG, whole or not at all."""
    _write(draw_columns(panels, title), path)


def write_line(
    curves: Sequence[Curve], path: str | Path, title: str, words: str, band: tuple[float, float] | None
) -> None:
    """Draw PPFD along a line and write it as PNG, whole or not at all."""
    _write(draw_line(curves, title, words, band), path)


def _write(figure: Figure, path: str | Path) -> None:
    with atomic_path(path) as temporary:
        figure.savefig(temporary, dpi=SCREEN_DPI, facecolor=PAPER, format="png")


def draw_columns(panels: Sequence[ColumnPanel], title: str) -> Figure:
    """PPFD to the right, height up; a panel a place, all on one scale."""
    from matplotlib.patches import Patch

    total = _LEFT + len(panels) * _WIDE + (len(panels) - 1) * _GAP + _RIGHT, _TOP + _TALL + _BOTTOM
    figure = new_figure(*total)
    figure.text(_LEFT / total[0], 1 - 0.3 / total[1], title, fontsize=13, color=INK, fontweight="bold", va="center")
    brightest = nice_ceiling(max(float(np.nanmax(c.value + c.unknown)) for p in panels for c in p.curves))
    top = max(float(c.at.max()) for p in panels for c in p.curves) + 0.015
    handles: dict[str, Any] = {"pale": Patch(color=COLOURS[0], alpha=0.14, label="pale: not known of the tank (95 %)")}
    for k, panel in enumerate(panels):
        left = (_LEFT + k * (_WIDE + _GAP)) / total[0]
        axes = figure.add_axes((left, _BOTTOM / total[1], _WIDE / total[0], _TALL / total[1]))
        _column(axes, panel, brightest, top)
        if k == 0:
            axes.set_ylabel("height over the bottom pane, cm", fontsize=9, color=SOFT_INK)
        handles |= {str(h.get_label()): h for h in axes.get_legend_handles_labels()[0]}
    figure.legend(
        handles=list(handles.values()), loc="lower left", bbox_to_anchor=((_LEFT - 0.1) / total[0], 0.0), fontsize=8,
        ncols=2 if len(panels) == 1 else 3, frameon=False, labelcolor=INK,
    )  # fmt: skip
    return figure


def _column(axes: Axes, panel: ColumnPanel, brightest: float, top: float) -> None:
    axes.set_xlim(0, brightest)
    axes.set_ylim(0, top)
    axes.axhspan(0, panel.bed, color=BED, zorder=0.2)
    axes.axhspan(panel.bed, min(panel.surface, top), color=WATER, zorder=0.1)
    axes.axhline(panel.surface, color="#5b93aa", lw=1.2, zorder=2)
    if panel.band is not None:
        axes.axvspan(*panel.band, color=BAND, alpha=0.75, zorder=0.3, label="band wanted")
    under = panel.curves[0].at < panel.surface
    axes.plot(
        panel.rule[under], panel.curves[0].at[under], color=RULE, lw=1.3, ls=(0, (4, 3)), zorder=3,
        label="if four inches of water halved it",
    )  # fmt: skip
    for curve, colour in zip(panel.curves, COLOURS, strict=False):
        lows, highs = curve.value - curve.unknown, curve.value + curve.unknown
        axes.fill_betweenx(curve.at, lows, highs, color=colour, alpha=0.14, lw=0, zorder=3)
        axes.fill_betweenx(
            curve.at,
            curve.value - curve.counting,
            curve.value + curve.counting,
            color=colour,
            alpha=0.5,
            lw=0,
            zorder=4,
        )
        axes.plot(curve.value, curve.at, color=colour, lw=1.6, marker="o", ms=2.6, zorder=5, label=curve.label)
    if panel.plant is not None:
        axes.axhline(panel.bed + panel.plant, color="#3e6b33", lw=1.1, ls=(0, (1, 1.5)), zorder=4, label="the plant")
    _dress(axes)
    axes.set_xlabel(BAR_TITLE, fontsize=9, color=SOFT_INK)
    _ticks_cm(axes.yaxis, top)
    axes.set_title(panel.name, fontsize=10, color=INK, loc="left", pad=20)
    axes.annotate(
        panel.words, (0, 1), (0, 6), xycoords="axes fraction", textcoords="offset points", fontsize=8, color=SOFT_INK
    )


def draw_line(curves: Sequence[Curve], title: str, words: str, band: tuple[float, float] | None) -> Figure:
    """Distance along the line to the right, PPFD up."""
    total = 7.6, 4.3
    figure = new_figure(*total)
    axes = figure.add_axes((0.1, 0.19, 0.86, 0.62))
    figure.text(0.1, 0.94, title, fontsize=13, color=INK, fontweight="bold", va="center")
    figure.text(0.1, 0.86, words, fontsize=8.5, color=SOFT_INK, va="center")
    if band is not None:
        axes.axhspan(*band, color=BAND, zorder=0.3, label="band wanted")
    for curve, colour in zip(curves, COLOURS, strict=False):
        axes.fill_between(
            curve.at, curve.value - curve.unknown, curve.value + curve.unknown, color=colour, alpha=0.14, lw=0
        )
        axes.fill_between(
            curve.at, curve.value - curve.counting, curve.value + curve.counting, color=colour, alpha=0.5, lw=0
        )
        axes.plot(curve.at, curve.value, color=colour, lw=1.6, label=curve.label)
    axes.set_xlim(curves[0].at[0], curves[0].at[-1])
    axes.set_ylim(0, nice_ceiling(max(float(np.nanmax(c.value + c.unknown)) for c in curves)))
    _dress(axes)
    _ticks_cm(axes.xaxis, float(curves[0].at[-1]))
    axes.set_xlabel("along the line, cm", fontsize=9, color=SOFT_INK)
    axes.set_ylabel(BAR_TITLE, fontsize=9, color=SOFT_INK)
    figure.legend(
        handles=axes.get_legend_handles_labels()[0], loc="lower left", bbox_to_anchor=(0.09, 0.0), fontsize=8, ncols=3,
        frameon=False, labelcolor=INK,
    )  # fmt: skip
    return figure


def _dress(axes: Axes) -> None:
    axes.tick_params(labelsize=8, colors=SOFT_INK, length=3, width=0.7)
    axes.grid(color="white", lw=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for spine in axes.spines.values():
        spine.set(color=INK, linewidth=0.9)


def _ticks_cm(axis: object, size: float) -> None:
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    step = next(s for s in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0) if size / s <= 11 or s == 1.0)
    axis.set_major_locator(MultipleLocator(step))  # type: ignore[attr-defined]
    axis.set_major_formatter(FuncFormatter(lambda v, _: f"{100 * v:.0f}"))  # type: ignore[attr-defined]
