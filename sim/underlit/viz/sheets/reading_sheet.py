"""The reading sheet: a page to take to the tank, with the spots on a plan, how to read, and a box for every reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from underlit.viz.figures import PRINT_DPI, Canvas, polygon, write_pdf, write_png
from underlit.viz.overlay import Footprint, Overlay
from underlit.viz.palette import HARDSCAPE_LINE, INK, SOFT_INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MARGIN = 0.6
_ROW = 0.27
_BOX = "#9aa3a8"
PLAN_IN, SMALLER_PLAN_IN = 2.45, 1.7
"""Height of the plan; the smaller one where all rows then fit on the page."""
BOLD = 1.15
"""Letters of bold type are wider by this."""


class Paper(StrEnum):
    """Sizes of paper."""

    A4 = "a4"
    LETTER = "letter"


PAGE_IN = {Paper.A4: (210 / 25.4, 297 / 25.4), Paper.LETTER: (8.5, 11.0)}
"""Width and height [in]: ISO 216; ANSI/ASME Y14.1, size A."""


@dataclass(frozen=True)
class Line:
    """A reading to take: number, place on the plan [m] where it has one, what its cells say, whether the lid is off."""

    number: int
    at: tuple[float, float] | None
    cells: tuple[str, ...]
    lid_off: bool = False


@dataclass(frozen=True)
class Page:
    """What the sheet says. columns: heads of the cells with their widths as shares; the last one is the empty box."""

    title: str
    subtitle: str
    before: tuple[str, ...]
    cautions: str
    columns: tuple[tuple[str, float], ...]
    lines: tuple[Line, ...]
    foot: str = ""


def write_sheet(page: Page, overlay: Overlay, footprints: Sequence[Footprint], paper: Paper, path: Path) -> list[Path]:
    """Write the sheet as PDF (all pages in one) or PNG (a file a page). Returns the files."""
    figures = draw_sheet(page, overlay, footprints, paper)
    if path.suffix.lower() == ".pdf":
        write_pdf(figures, path, page.title)
        return [path]
    paths = [path, *(path.with_name(f"{path.stem}-{i}{path.suffix}") for i in range(2, len(figures) + 1))]
    for target, figure in zip(paths, figures, strict=True):
        write_png(figure, target, dpi=PRINT_DPI)
    return paths


def draw_sheet(page: Page, overlay: Overlay, footprints: Sequence[Footprint], paper: Paper) -> list[Figure]:
    """The pages as matplotlib figures of the paper's size."""
    first, rest = _first_page(page, overlay, footprints, paper, PLAN_IN)
    if rest:
        smaller = _first_page(page, overlay, footprints, paper, SMALLER_PLAN_IN)
        first, rest = (first, rest) if smaller[1] else smaller
    figures = [first.figure]
    while rest:
        further = _Sheet(paper)
        further.heading(page)
        rest = further.table(page, rest)
        further.closing(page)
        figures.append(further.figure)
    return figures


def _first_page(
    page: Page, overlay: Overlay, footprints: Sequence[Footprint], paper: Paper, tall: float
) -> tuple[_Sheet, Sequence[Line]]:
    """The page with the plan, and the rows that do not fit on it."""
    first = _Sheet(paper)
    first.heading(page)
    first.plan(page, overlay, footprints, tall)
    first.checklist(page.before)
    rest = first.table(page, page.lines)
    first.closing(page)
    return first, rest


class _Sheet(Canvas):
    """One page; what is drawn moves `y` [in from the bottom] down."""

    def __init__(self, paper: Paper) -> None:
        super().__init__(*PAGE_IN[paper], PRINT_DPI)
        self.y = self.height - _MARGIN
        self.inside = self.width - 2 * _MARGIN

    def heading(self, page: Page) -> None:
        """Title, and lines to fill in."""
        for row in wrapped(page.title, 15 * BOLD, self.inside):
            self.text(_MARGIN, self.y, row, 15, fontweight="bold")
            self.y -= 0.28
        for row in wrapped(page.subtitle, 9, self.inside):
            self.text(_MARGIN, self.y, row, 9, color=SOFT_INK)
            self.y -= 0.17
        self.y -= 0.13
        x = _MARGIN
        for label, width in (("Date", 1.6), ("Read by", 2.2), ("Meter", self.inside - 3.8)):
            self.text(x, self.y, label, 8.5, color=SOFT_INK)
            self.line(x + 0.09 * len(label) + 0.05, self.y - 0.13, x + width - 0.15, self.y - 0.13, color=_BOX, lw=0.7)
            x += width
        self.y -= 0.36

    def plan(self, page: Page, overlay: Overlay, footprints: Sequence[Footprint], tall: float) -> None:
        """The tank from above with numbered spots, to scale, no higher than `tall` [in]."""
        scale = min((self.inside - 0.7) / overlay.length, tall / overlay.depth)
        w, h = scale * overlay.length, scale * overlay.depth
        left = _MARGIN + (self.inside - w) / 2
        axes = self.axes(left, self.y - h - 0.1, w, h)
        axes.set(xlim=(0, overlay.length), ylim=(0, overlay.depth), xticks=(), yticks=())
        axes.spines[:].set(color="#6f9c90", linewidth=2)
        _furniture(axes, overlay, footprints)
        _spots(axes, page.lines)
        bottom = self.y - h - 0.1
        self.text(self.width / 2, bottom - 0.06, "front (you stand here)", 8.5, ha="center", fontweight="bold")
        inside = f"inside {100 * overlay.length:.1f} cm long, {100 * overlay.depth:.1f} cm front to back"
        legend = f"{inside}; dashed: light above"
        legend += "; green: plants" if overlay.zones else ""
        legend += "; brown: wood and stone" if footprints else ""
        if any(line.lid_off for line in page.lines) and not all(line.lid_off for line in page.lines):
            legend += "; dark numbers: with the lid off"
        self.text(self.width / 2, bottom - 0.22, legend, 7.5, color=SOFT_INK, ha="center")
        self.y = bottom - 0.5

    def checklist(self, items: Sequence[str]) -> None:
        """What to do, each with a box to tick."""
        self.text(_MARGIN, self.y, "Before and while you read", 10.5, fontweight="bold")
        self.y -= 0.24
        for item in items:
            self.box(_MARGIN + 0.02, self.y - 0.125, 0.11, 0.11)
            for row in wrapped(item, 8.7, self.inside - 0.25):
                self.text(_MARGIN + 0.22, self.y, row, 8.7)
                self.y -= 0.158
            self.y -= 0.028
        self.y -= 0.1

    def table(self, page: Page, lines: Sequence[Line]) -> Sequence[Line]:
        """Rows as far as they fit over the closing words; returns the rest."""
        self.y -= 0.13 * max(head.count("\n") for head, _ in page.columns) + 0.06
        edges = _MARGIN + self.inside * np.concatenate([[0], np.cumsum([share for _, share in page.columns])])
        for x, (head, _) in zip(edges, page.columns, strict=False):
            self.text(x + 0.04, self.y, head, 8, color=SOFT_INK, va="bottom", linespacing=1.1)
        self.y -= 0.05
        self.line(_MARGIN, self.y, self.width - _MARGIN, self.y, color=INK, lw=1.0)
        floor = self._closing_height(page) + 0.1
        for index, line in enumerate(lines):
            if self.y - _ROW < floor:
                return lines[index:]
            for x, cell in zip(edges, line.cells, strict=False):
                self.text(x + 0.04, self.y - _ROW / 2, cell, 9, va="center")
            self.box(edges[-2] + 0.05, self.y - _ROW + 0.03, edges[-1] - edges[-2] - 0.05, _ROW - 0.06)
            self.y -= _ROW
            self.line(_MARGIN, self.y, self.width - _MARGIN, self.y, color="#d9dee0", lw=0.5)
        return ()

    def _closing_height(self, page: Page) -> float:
        rows = len(wrapped(page.cautions, 7.8, self.inside)) + len(wrapped(page.foot, 7.8, self.inside))
        return _MARGIN + 0.14 * rows + 0.12

    def closing(self, page: Page) -> None:
        """Cautions and what to do with the readings, at the foot."""
        y = self._closing_height(page)
        for words, style in ((page.foot, {}), (page.cautions, {"color": SOFT_INK})):
            for row in wrapped(words, 7.8, self.inside):
                self.text(_MARGIN, y, row, 7.8, **style)
                y -= 0.14
            y -= 0.06


def wrapped(words: str, size: float, width: float) -> list[str]:
    """Words in lines of a width [in], by the mean width of letters in the usual typeface at a size [pt]."""
    import textwrap

    return textwrap.wrap(words, max(10, int(width * 72 / (0.505 * size)))) if words else []


def _furniture(axes: Axes, overlay: Overlay, footprints: Sequence[Footprint]) -> None:
    for piece in footprints:
        for outline in piece.outlines:
            polygon(axes, outline, fc="#e8ddd0", ec=HARDSCAPE_LINE, lw=0.8, zorder=2)
    for zone in overlay.zones:
        polygon(axes, zone.outline, fc="#e9f0e4", ec="#8fae82", lw=0.7, zorder=1)
    for fixture in overlay.fixtures:
        polygon(axes, fixture.outline, fill=False, ec=SOFT_INK, lw=0.9, ls=(0, (5, 3)), zorder=3)


def _spots(axes: Axes, lines: Sequence[Line]) -> None:
    """Numbered discs; those of one place on the plan stand beside each other."""
    seen: dict[tuple[float, float], int] = {}
    for line in lines:
        if line.at is None:
            continue
        place = (round(line.at[0], 3), round(line.at[1], 3))
        shift = 15 * seen.get(place, 0)
        seen[place] = seen.get(place, 0) + 1
        fill, ink = (INK, "white") if line.lid_off else ("white", INK)
        axes.annotate(
            str(line.number), line.at, (shift, 0), textcoords="offset points", ha="center", va="center", fontsize=8.5,
            color=ink, fontweight="bold", bbox={"boxstyle": "circle,pad=0.25", "fc": fill, "ec": INK, "lw": 0.9},
            zorder=10, annotation_clip=False,
        )  # fmt: skip
