"""Settings cards: how to set the light of each tank, two cards to a page, to be cut and hung by the tank."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.results.atomic import atomic_path
from underlit.viz.maps.plan_map import closed, ticks
from underlit.viz.overlay import Points
from underlit.viz.palette import BAR_TITLE, INK, PAPER, SOFT_INK, colour_map, colour_range
from underlit.viz.sheets.reading_sheet import PAGE_IN, PRINT_DPI, Paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CARDS_A_PAGE = 2
MOST_ZONES = 6
LONG_TITLE = 55
_MARGIN = 0.55
_RULE = "#b9c1c5"
_MAP_WIDE, _MAP_TALL = 2.95, 1.65
"""Measures [in]."""
MARKS = {"right": "#2f7d46", "too dim": "#1f5f8b", "too bright": "#a0397a", "borderline": "#8a6d00"}


@dataclass(frozen=True)
class LightSetting:
    """How to set one light: its name, what the dial shall say, the hours of a day, and where it hangs."""

    name: str
    dial: str
    hours: str
    place: str
    new_tank: str


@dataclass(frozen=True)
class CardZone:
    """A line of what a card's light suits: zone, PPFD with its span, band wanted, verdict, DLI."""

    name: str
    ppfd: str
    band: str
    verdict: str
    dli: str


@dataclass(frozen=True)
class Card:
    """One tank. bed: PPFD on the substrate (ny, nx); size: the tank's inside length and depth [m]; outlines: its zones."""

    title: str
    tank: str
    lights: tuple[LightSetting, ...]
    zones: tuple[CardZone, ...]
    suits: str
    energy: str
    foot: str
    bed: np.ndarray
    size: tuple[float, float]
    outlines: tuple[Points, ...] = ()


def write_cards(cards: Sequence[Card], paper: Paper, folder: Path) -> list[Path]:
    """Write cards.pdf and a PNG of each page, cards-1.png and on, into a folder; returns the files. Raises OSError."""
    from matplotlib.backends.backend_pdf import PdfPages

    figures = draw_cards(cards, paper)
    made = [folder / "cards.pdf"]
    with (
        atomic_path(made[0]) as temporary,
        PdfPages(temporary, metadata={"Title": "Settings", "Creator": "underlit"}) as pdf,
    ):
        for figure in figures:
            pdf.savefig(figure)
    for number, figure in enumerate(figures, start=1):
        made.append(folder / f"cards-{number}.png")
        with atomic_path(made[-1]) as temporary:
            figure.savefig(temporary, dpi=PRINT_DPI, facecolor=PAPER, format="png")
    return made


def draw_cards(cards: Sequence[Card], paper: Paper) -> list[Figure]:
    """Pages of the paper's size with two cards each."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    width, height = PAGE_IN[paper]
    pages = []
    for first in range(0, len(cards), CARDS_A_PAGE):
        figure = Figure(figsize=(width, height), dpi=PRINT_DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        for k, card in enumerate(cards[first : first + CARDS_A_PAGE]):
            _Drawn(figure, width, height / 2, height / 2 * (1 - k), card).draw()
        cut = Line2D([0.02, 0.98], [0.5, 0.5], color=_RULE, lw=0.7, ls=(0, (5, 5)))
        figure.add_artist(cut)
        pages.append(figure)
    return pages


class _Drawn:
    """A card on its half of a page; places are inches from its left and bottom."""

    def __init__(self, figure: Figure, width: float, height: float, bottom: float, card: Card) -> None:
        self.figure, self.width, self.height, self.bottom, self.card = figure, width, height, bottom, card
        self.inside = width - 2 * _MARGIN

    def text(self, x: float, y: float, words: str, size: float = 9.0, **style: Any) -> None:
        said: dict[str, Any] = {"color": INK, "va": "top", **style}
        page = self.figure.get_figheight()
        self.figure.text(x / self.width, (self.bottom + y) / page, words, fontsize=size, **said)

    def rule(self, y: float) -> None:
        from matplotlib.lines import Line2D

        at = (self.bottom + y) / self.figure.get_figheight()
        self.figure.add_artist(Line2D([_MARGIN / self.width, 1 - _MARGIN / self.width], [at, at], color=_RULE, lw=0.8))

    def draw(self) -> None:
        top = self.height - 0.36
        short = len(self.card.title) <= LONG_TITLE
        self.text(_MARGIN, top, _cut(self.card.title, 85), 14.5 if short else 11.5, fontweight="bold")
        self.text(_MARGIN, top - 0.29, self.card.tank, 9, color=SOFT_INK)
        self.rule(top - 0.52)
        self.lights(top - 0.64)
        self.map(top - 0.68)
        table = top - 0.68 - _MAP_TALL - 0.42
        self.rule(table + 0.1)
        self.table(table)

    def lights(self, y: float) -> None:
        """The settings, large enough to read from a step away."""
        shown = self.card.lights[:3]
        size = 22 if len(shown) == 1 else 13
        wide = int((self.inside - _MAP_WIDE - 0.9) / 0.072)
        for light in shown:
            self.text(_MARGIN, y, f"{_cut(light.name, 34)}: set to", 9.5, color=SOFT_INK)
            self.text(_MARGIN, y - 0.19, f"{light.dial},  {light.hours}", size, fontweight="bold")
            y -= 0.19 + size / 72 * 1.35
            if len(shown) < 3:
                for line in (light.place, light.new_tank):
                    for row in textwrap.wrap(line, wide):
                        self.text(_MARGIN, y, row, 8.5)
                        y -= 0.165
            y -= 0.07
        more = len(self.card.lights) - len(shown)
        if more:
            self.text(_MARGIN, y, f"and {more} more lights", 8.5, color=SOFT_INK)

    def map(self, top: float) -> None:
        """The substrate's light, small, with the zones numbered as in the table."""
        length, depth = self.card.size
        wide = min(_MAP_WIDE, _MAP_TALL * length / depth)
        tall = wide * depth / length
        x, y = self.width - _MARGIN - wide - 0.55, top - tall
        page = self.figure.get_figheight()
        axes = self.figure.add_axes((x / self.width, (self.bottom + y) / page, wide / self.width, tall / page))
        vmin, vmax = colour_range(self.card.bed)
        image = axes.imshow(
            np.ma.masked_invalid(self.card.bed), origin="lower", extent=(0, length, 0, depth), cmap=colour_map(),
            vmin=vmin, vmax=vmax,
        )  # fmt: skip
        ticks(axes, length, depth)
        axes.tick_params(labelsize=6.5, length=2, pad=1.5)
        for number, outline in enumerate(self.card.outlines[:MOST_ZONES], start=1):
            line = closed(outline)
            axes.plot(*line.T, color="white", lw=1.6)
            axes.plot(*line.T, color=INK, lw=0.7)
            # At the left end of the back edge: zones within each other seldom share it.
            points = np.asarray(outline)
            corner = points[np.argmax(points[:, 1] - points[:, 0])]
            axes.annotate(
                str(number), corner, (6, -6), textcoords="offset points", fontsize=6.5, ha="center", va="center",
                color=INK, bbox={"boxstyle": "circle,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.85},
            )  # fmt: skip
        side = ((x + wide + 0.08) / self.width, (self.bottom + y) / page, 0.09 / self.width, tall / page)
        bar = self.figure.colorbar(image, cax=self.figure.add_axes(side))
        bar.set_label(BAR_TITLE, fontsize=6.5, color=SOFT_INK, labelpad=2)
        bar.ax.tick_params(labelsize=6.5, length=2, pad=1.5, colors=SOFT_INK)
        bar.outline.set_linewidth(0.4)  # type: ignore[operator]
        self.text(x, y - 0.17, "substrate from above, cm, front below", 6.5, color=SOFT_INK)

    def table(self, y: float) -> None:
        """Zones and verdicts, then the lines under them."""
        columns = (_MARGIN, 3.45, 4.75, 5.55, self.width - _MARGIN)
        heads = ("zone", "PAR (PPFD), ± both", "wanted", "verdict", "DLI, mol/m²/day")
        for x, words in zip(columns, heads, strict=True):
            self.text(x, y, words, 7.5, color=SOFT_INK, ha="right" if x == columns[-1] else "left")
        y -= 0.18
        for number, zone in enumerate(self.card.zones[:MOST_ZONES], start=1):
            cells = (f"{number}  {_cut(zone.name, 38)}", zone.ppfd, zone.band, zone.verdict, zone.dli)
            for x, words in zip(columns, cells, strict=True):
                style: dict[str, Any] = {"ha": "right"} if x == columns[-1] else {}
                if words == zone.verdict and words in MARKS:
                    style |= {"color": MARKS[words], "fontweight": "bold"}
                self.text(x, y, words, 8.8, **style)
            y -= 0.185
        more = len(self.card.zones) - MOST_ZONES
        if more > 0:
            self.text(_MARGIN, y, f"and {more} more zones", 8, color=SOFT_INK)
            y -= 0.17
        y -= 0.04
        for words, size, colour in (
            (self.card.suits, 8.5, INK),
            (self.card.energy, 8.5, INK),
            (self.card.foot, 6.8, SOFT_INK),
        ):
            for row in textwrap.wrap(words, int(self.inside / (0.0078 * size))):
                self.text(_MARGIN, y, row, size, color=colour)
                y -= size / 72 * 1.35
            y -= 0.03


def _cut(words: str, most: int) -> str:
    return textwrap.shorten(words, most, placeholder=" ...") if len(words) > most else words
