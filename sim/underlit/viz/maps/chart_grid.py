"""The picture of a chart: tanks down, lights across, each cell with its figures, so that it reads without colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from underlit.planning.chart import Answer, Chart, Misfit, Row, Target
from underlit.viz.figures import Canvas, without_sides
from underlit.viz.palette import BAR_TITLE, COVERED, INK, PAPER, SOFT_INK, colour_map, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import LogNorm
    from matplotlib.figure import Figure
    from matplotlib.typing import ColorType

SHORT = {Answer.NOT_ENOUGH: "too weak", Answer.FULL_POWER: "full", Answer.TOO_STRONG: "too strong"}
"""Settings in a word, where a share of full power would say the wrong thing."""
_CELL, _LEFT, _RIGHT, _BOTTOM = (0.86, 0.56), 1.9, 1.0, 0.62
"""Size of a cell and margins round the grid [in]."""
_HEADING, _LETTER_RISE = 0.85, 0.042
"""Room over the names of the lights, and what a letter of a slanted name takes upward [in]."""


def column_letters(count: int) -> list[str]:
    """Short names of columns: A to Z, then AA, AB ..."""
    single = [chr(ord("A") + i) for i in range(26)]
    return [*single, *(a + b for a in single for b in single)][:count]


def draw_chart(chart: Chart, target: Target) -> Figure:
    """The chart as a matplotlib figure.

    Colour is the mean at full power, on a scale of equal ratios whose lightness rises evenly; where that is not enough
    the cell is hatched. The figures in a cell are the mean at full power and, under it, the setting.
    """
    columns, rows = len(chart.lights), len(chart.tanks)
    width, height = columns * _CELL[0], rows * _CELL[1]
    above = _HEADING + _LETTER_RISE * max(len(light.name) + 3 for light in chart.lights)
    canvas = Canvas(_LEFT + width + _RIGHT, above + height + _BOTTOM)
    axes = canvas.axes(_LEFT, _BOTTOM, width, height)
    norm = _norm(chart, target)
    for y, tank in enumerate(chart.tanks):
        for x, light in enumerate(chart.lights):
            _draw_cell(axes, x, y, chart.cells[light.name, tank.name], target, norm)
    _name_axes(axes, chart)
    _bar(canvas, axes, target, norm)
    said = "each cell: mean PPFD on the substrate at full power and, below it, the setting for the target"
    canvas.title(_LEFT, f"Target: {target.words}", said, down=0.24)
    _key(axes, target, y=-0.16 / height)
    return canvas.figure


def _norm(chart: Chart, target: Target) -> LogNorm:
    from matplotlib.colors import LogNorm

    means = [row.mean.value for row in chart.rows if row.mean.value > 0]
    return LogNorm(min([*means, target.low]) * 0.8, max([*means, target.high]) * 1.25)


def _draw_cell(axes: Axes, x: int, y: int, cell: Row | Misfit, target: Target, norm: LogNorm) -> None:
    from matplotlib.patches import Rectangle

    if isinstance(cell, Misfit):
        axes.add_patch(Rectangle((x, y), 1, 1, fc=COVERED, ec=PAPER, lw=1))
        axes.text(x + 0.5, y + 0.5, "no fit", ha="center", va="center", fontsize=8, color=SOFT_INK)
        return
    found = target.setting(cell)
    fill = colour_map()(norm(max(cell.mean.value, norm.vmin or 0.0)))
    ink = _readable(fill)
    axes.add_patch(Rectangle((x, y), 1, 1, fc=fill, ec=PAPER, lw=1))
    if found.answer is Answer.NOT_ENOUGH:
        axes.add_patch(Rectangle((x, y), 1, 0.14, fc=fill, ec=ink, hatch="//////", lw=0.0))
        axes.add_patch(Rectangle((x, y + 0.86), 1, 0.14, fc=fill, ec=ink, hatch="//////", lw=0.0))
    setting = SHORT.get(found.answer, f"{100 * found.share:.0f} %")
    axes.text(x + 0.5, y + 0.35, number(cell.mean.value), ha="center", va="center", fontsize=8, color=ink)
    axes.text(x + 0.5, y + 0.67, setting, ha="center", va="center", fontsize=9.5, fontweight="bold", color=ink)
    for shown, at, sign in ((found.corners_too_dim, 0.1, "▼"), (found.middle_too_bright, 0.9, "▲")):
        if shown and found.answer is not Answer.NOT_ENOUGH:
            axes.text(x + at, y + 0.67, sign, ha="center", va="center", fontsize=7, color=ink, family="DejaVu Sans")


def _readable(fill: ColorType) -> str:
    """Dark or white, whichever stands out more on a colour (contrast ratio of WCAG 2.2)."""
    from matplotlib.colors import to_rgb

    def luminance(colour: ColorType) -> float:
        parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    under = luminance(fill) + 0.05
    return INK if under / (luminance(INK) + 0.05) > (luminance(PAPER) + 0.05) / under else PAPER


def _name_axes(axes: Axes, chart: Chart) -> None:
    axes.set_xlim(0, len(chart.lights))
    axes.set_ylim(len(chart.tanks), 0)
    names = zip(column_letters(len(chart.lights)), chart.lights, strict=True)
    axes.set_xticks([i + 0.5 for i in range(len(chart.lights))], [f"{a}  {light.name}" for a, light in names])
    axes.tick_params(axis="x", top=True, labeltop=True, bottom=False, labelbottom=False, length=0, pad=3)
    for text in axes.get_xticklabels():
        text.set(rotation=32, ha="left", rotation_mode="anchor", fontsize=8.5, color=INK)
    labels = []
    for tank in chart.tanks:
        labels.append(tank.name + "\n" + " x ".join(f"{100 * side:.0f}" for side in tank.size_m) + " cm")
    axes.set_yticks([i + 0.5 for i in range(len(chart.tanks))], labels, fontsize=8.5, color=INK)
    axes.tick_params(axis="y", length=0)
    without_sides(axes, *axes.spines)


def _bar(canvas: Canvas, axes: Axes, target: Target, norm: LogNorm) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.ticker import LogLocator, NullFormatter, ScalarFormatter

    title = f"{BAR_TITLE}\ntarget: {'between the lines' if target.is_band else 'the line'}"
    side = canvas.bar(ScalarMappable(norm, colour_map()), canvas.beside(axes, 0.25, 0.16), title, size=8)
    side.yaxis.set_major_locator(LogLocator(10, subs=(1, 2, 5)))
    side.yaxis.set_major_formatter(ScalarFormatter())
    side.yaxis.set_minor_formatter(NullFormatter())
    for value in sorted({target.low, target.high}):
        side.axhline(value, color=PAPER, lw=3)
        side.axhline(value, color=INK, lw=1.2)


def _key(axes: Axes, target: Target, y: float) -> None:
    said = "too weak (hatched): not enough at full power; full: full power; no fit: cannot hang there"
    if target.is_band:
        said += "\nat the setting: ▼ the dimmest tenth is below the band, ▲ the brightest tenth is above it"
    axes.text(0, y, said, transform=axes.transAxes, fontsize=8, color=SOFT_INK, va="top", linespacing=1.5)
