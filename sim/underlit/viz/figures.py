"""What the flat pictures share: places in inches, words, colour bars, ticks, outlines, and how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.results.atomic import atomic_path
from underlit.viz.palette import BAR_TITLE, INK, PAPER, SCREEN_DPI, SOFT_INK, colour_map

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure
    from matplotlib.image import AxesImage
    from matplotlib.patches import Polygon

    from underlit.viz.overlay import Points

Extent = tuple[float, float, float, float]
"""Left, right, front and back of a map [m]."""
PRINT_DPI = 200
LEGEND: dict[str, object] = {"fontsize": 8, "frameon": False, "labelcolor": INK}


class Canvas:
    """A figure on which places and sizes are inches from its left and its bottom."""

    def __init__(self, width: float, height: float, dpi: int = SCREEN_DPI) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.width, self.height = width, height
        self.figure = Figure(figsize=(width, height), dpi=dpi, facecolor=PAPER)
        # a canvas of its own, so that no window system and no global state is touched
        FigureCanvasAgg(self.figure)

    def axes(self, x: float, y: float, width: float, height: float, **more: Any) -> Axes:
        """Axes at a place."""
        place = (x / self.width, y / self.height, width / self.width, height / self.height)
        return self.figure.add_axes(place, **more)

    def text(self, x: float, y: float, words: str, size: float = 8.5, **style: Any) -> None:
        """Words at a place, their top at y unless `va` says otherwise."""
        said: dict[str, Any] = {"color": INK, "va": "top", **style}
        self.figure.text(x / self.width, y / self.height, words, fontsize=size, **said)

    def title(self, x: float, words: str, note: str = "", down: float = 0.32) -> None:
        """A bold line at the top, its middle so far down, and a quiet one below it."""
        self.text(x, self.height - down, words, 13, fontweight="bold", va="center")
        if note:
            self.text(x, self.height - down - 0.26, note, color=SOFT_INK, va="center")

    def line(self, x0: float, y0: float, x1: float, y1: float, **style: Any) -> None:
        """A line on the page."""
        from matplotlib.lines import Line2D

        across, up = [x0 / self.width, x1 / self.width], [y0 / self.height, y1 / self.height]
        self.figure.add_artist(Line2D(across, up, **style))

    def box(self, x: float, y: float, width: float, height: float) -> None:
        """An empty box, its lower left corner at x, y."""
        from matplotlib.patches import Rectangle

        self.figure.add_artist(
            Rectangle((x / self.width, y / self.height), width / self.width, height / self.height, fc="white", ec=INK,
                      lw=0.8, transform=self.figure.transFigure)
        )  # fmt: skip

    def beside(self, axes: Axes, gap: float, width: float) -> Extent:
        """A place to the right of axes and as tall: x, y, width, height."""
        place = axes.get_position()
        return place.x1 * self.width + gap, place.y0 * self.height, width, place.height * self.height

    def bar(
        self, shown: ScalarMappable, at: Extent, label: str = BAR_TITLE, extend: str = "neither", size: float = 9
    ) -> Axes:
        """A colour bar at x, y, width, height."""
        side = self.axes(*at)
        bar = self.figure.colorbar(shown, cax=side, extend=extend, extendfrac=0.03)
        bar.set_label(label, fontsize=size, color=INK, labelpad=size - 3)
        side.tick_params(labelsize=min(8.0, size), colors=SOFT_INK, length=3 if size > 7 else 2)
        bar.outline.set_linewidth(0.6)
        return side


# -- writing ---------------------------------------------------------------------------------------------------------
def write_png(figure: Figure, path: str | Path, *, dpi: int = SCREEN_DPI, tight: bool = False) -> None:
    """Write a figure as PNG, whole or not at all. tight: cut to what is drawn. Raises OSError where it cannot be written."""
    cut: dict[str, Any] = {"bbox_inches": "tight", "pad_inches": 0.15} if tight else {}
    with atomic_path(path) as temporary:
        figure.savefig(temporary, dpi=dpi, facecolor=PAPER, format="png", **cut)


def write_pdf(figures: Sequence[Figure], path: Path, title: str) -> None:
    """Write figures as the pages of one PDF, whole or not at all. Raises OSError."""
    from matplotlib.backends.backend_pdf import PdfPages

    about = {"Title": title, "Creator": "underlit"}
    with atomic_path(path) as temporary, PdfPages(temporary, metadata=about) as pages:
        for figure in figures:
            pages.savefig(figure)


# -- parts of maps ---------------------------------------------------------------------------------------------------
def show_map(
    axes: Axes, values: np.ndarray, extent: Extent, limits: tuple[float, float], colours: Colormap | None = None
) -> AxesImage:
    """Values (ny, nx) as colours, the front at the bottom; without a value nothing is drawn but `palette.COVERED`."""
    return axes.imshow(
        np.ma.masked_invalid(values), origin="lower", extent=extent, cmap=colours or colour_map(), vmin=limits[0],
        vmax=limits[1], zorder=1,
    )  # fmt: skip


def polygon(axes: Axes, outline: Points | np.ndarray, **style: Any) -> Polygon:
    """A closed outline (k, 2) on axes."""
    from matplotlib.patches import Polygon

    patch = Polygon(np.asarray(outline), closed=True, **style)
    axes.add_patch(patch)
    return patch


def outlined(axes: Axes, outline: Points, width: float = 0.8, halo: float = 1.8, order: int = 2, **style: Any) -> None:
    """A closed dark line over a light one, so that it shows on any colour."""
    points = np.asarray(outline, dtype=np.float64)
    line = np.concatenate([points, points[:1]])
    axes.plot(*line.T, color="white", lw=halo, zorder=order, solid_joinstyle="round")
    axes.plot(*line.T, color=INK, lw=width, zorder=order + 1, solid_joinstyle="round", **style)


def ticks_cm(axis: Axis, size: float, most: int = 10) -> None:
    """Ticks in whole centimetres along a size [m]."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    axis.set_major_locator(
        MultipleLocator(next(s for s in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0) if size / s <= most or s == 1.0))
    )
    axis.set_major_formatter(FuncFormatter(lambda metres, _: f"{100 * metres:.0f}"))


def quiet_ticks(axes: Axes, size: float = 8, colour: str = SOFT_INK) -> None:
    """Small ticks in quiet ink."""
    axes.tick_params(labelsize=size, colors=colour, length=3, width=0.7)


def without_sides(axes: Axes, *sides: str) -> None:
    """Leave out sides of the frame."""
    axes.spines[list(sides)].set_visible(False)


def beside_corner(axes: Axes, words: str, x: float = 0.0, y: float = 5.0, **style: Any) -> None:
    """Quiet words over the upper left corner of axes, moved by points."""
    axes.annotate(
        words, (0, 1), (x, y), xycoords="axes fraction", textcoords="offset points", fontsize=8, color=SOFT_INK, **style
    )
