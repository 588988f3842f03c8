"""Settings cards: how to set the light of each tank, two cards to a page, to be cut and hung by the tank."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from underlit.viz.figures import PRINT_DPI, Canvas, outlined, show_map, write_pdf, write_png
from underlit.viz.maps.plan_map import frame
from underlit.viz.overlay import Points
from underlit.viz.palette import INK, SOFT_INK, colour_range
from underlit.viz.sheets.reading_sheet import PAGE_IN, Paper

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CARDS_A_PAGE = 2
MOST_ZONES = 6
LONG_TITLE = 55
LEAD_LINES = 3
_LEAD_SIZE, _SMALL = 9.5, 8.5
_MARGIN = 0.55
_RULE = "#b9c1c5"
_MAP_WIDE, _MAP_TALL = 2.95, 1.65
"""Measures [in]."""
MARKS = {"right": "#2f7d46", "too dim": "#1f5f8b", "too bright": "#a0397a", "borderline": "#8a6d00"}


@dataclass(frozen=True)
class LightSetting:
    """How to set one light: its name, what to set it to, the hours of a day, where it hangs, and what a new tank gets."""

    name: str
    dial: str
    hours: str
    place: str
    new_tank: str


@dataclass(frozen=True)
class CardZone:
    """A line of a card: zone, PPFD with its error, target band, verdict, DLI."""

    name: str
    ppfd: str
    band: str
    verdict: str
    dli: str


@dataclass(frozen=True)
class Card:
    """One tank. lead: what to do about its light, in sentences; bed: PPFD on the substrate (ny, nx); size: the tank's inside
    length and depth [m]; outlines: its zones.
    """

    title: str
    tank: str
    lights: tuple[LightSetting, ...]
    lead: str
    zones: tuple[CardZone, ...]
    suits: str
    energy: str
    foot: str
    bed: np.ndarray
    size: tuple[float, float]
    outlines: tuple[Points, ...] = ()


def write_cards(cards: Sequence[Card], paper: Paper, folder: Path) -> list[Path]:
    """Write cards.pdf and a PNG of each page, cards-1.png and on, into a folder; returns the files. Raises OSError."""
    figures = draw_cards(cards, paper)
    made = [folder / "cards.pdf", *(folder / f"cards-{number}.png" for number in range(1, len(figures) + 1))]
    write_pdf(figures, made[0], "Settings")
    for path, figure in zip(made[1:], figures, strict=True):
        write_png(figure, path, dpi=PRINT_DPI)
    return made


def draw_cards(cards: Sequence[Card], paper: Paper) -> list[Figure]:
    """Pages of the paper's size with two cards each."""
    pages = []
    for first in range(0, len(cards), CARDS_A_PAGE):
        page = Canvas(*PAGE_IN[paper], PRINT_DPI)
        middle = page.height / 2
        for k, card in enumerate(cards[first : first + CARDS_A_PAGE]):
            _Drawn(page, middle * (1 - k), card).draw()
        page.line(0.02 * page.width, middle, 0.98 * page.width, middle, color=_RULE, lw=0.7, ls=(0, (5, 5)))
        pages.append(page.figure)
    return pages


class _Drawn:
    """A card on its half of a page; places are inches from its left and bottom."""

    def __init__(self, page: Canvas, bottom: float, card: Card) -> None:
        self.page, self.bottom, self.card = page, bottom, card
        self.width, self.height = page.width, page.height / CARDS_A_PAGE
        self.inside = self.width - 2 * _MARGIN

    def text(self, x: float, y: float, words: str, size: float = 9.0, **style: Any) -> None:
        self.page.text(x, self.bottom + y, words, size, **style)

    def rule(self, y: float) -> None:
        at = self.bottom + y
        self.page.line(_MARGIN, at, self.width - _MARGIN, at, color=_RULE, lw=0.8)

    def draw(self) -> None:
        top = self.height - 0.36
        short = len(self.card.title) <= LONG_TITLE
        self.text(_MARGIN, top, _cut(self.card.title, 85), 14.5 if short else 11.5, fontweight="bold")
        self.text(_MARGIN, top - 0.29, self.card.tank, 9, color=SOFT_INK)
        for row in self.lead_rows():
            self.text(_MARGIN, top - 0.5, row, _LEAD_SIZE, fontweight="bold")
            top -= 0.165
        self.rule(top - 0.52)
        self.lights(top - 0.64)
        self.map(top - 0.68)
        table = top - 0.68 - _MAP_TALL - 0.36
        self.rule(table + 0.1)
        self.table(table)

    def lead_rows(self) -> list[str]:
        """As many whole sentences of the lead as there is room for, the first in any case."""
        wide, kept = int(self.inside / (0.0081 * _LEAD_SIZE)), ""
        for sentence in self.card.lead.split(". "):
            said = f"{kept} {sentence}".strip()
            said = said if said.endswith(".") else f"{said}."
            if kept and len(textwrap.wrap(said, wide)) > LEAD_LINES:
                break
            kept = said
        return textwrap.wrap(kept, wide)[:LEAD_LINES]

    def lights(self, y: float) -> None:
        """The settings, large enough to read from a step away."""
        shown = self.card.lights[:3]
        size = 22 if len(shown) == 1 else 13
        wide = int((self.inside - _MAP_WIDE - 0.9) / 0.072)
        for light in shown:
            self.text(_MARGIN, y, f"{_cut(light.name, 34)}: set to", 9.5, color=SOFT_INK)
            beside = len(light.dial) + len(light.hours) <= wide * _SMALL / size
            said = f"{light.dial},  {light.hours}" if beside else light.dial
            self.text(_MARGIN, y - 0.19, said, size, fontweight="bold")
            y -= 0.19 + size / 72 * 1.35
            if not beside:
                self.text(_MARGIN, y, light.hours, _SMALL)
                y -= 0.165
            if len(shown) < 3:
                for line in (light.place, light.new_tank):
                    for row in textwrap.wrap(line, wide):
                        self.text(_MARGIN, y, row, 8.5)
                        y -= 0.165
            y -= 0.07
        more = len(self.card.lights) - len(shown)
        if more:
            self.text(_MARGIN, y, f"and {more} more light{'s' if more > 1 else ''}", 8.5, color=SOFT_INK)

    def map(self, top: float) -> None:
        """The substrate's light, small, with the zones numbered as in the table."""
        length, depth = self.card.size
        wide = min(_MAP_WIDE, _MAP_TALL * length / depth)
        tall = wide * depth / length
        x, y = self.width - _MARGIN - wide - 0.55, top - tall
        axes = self.page.axes(x, self.bottom + y, wide, tall)
        image = show_map(axes, self.card.bed, (0, length, 0, depth), colour_range(self.card.bed))
        frame(axes, length, depth)
        axes.tick_params(labelsize=6.5, length=2, pad=1.5)
        for number, outline in enumerate(self.card.outlines[:MOST_ZONES], start=1):
            outlined(axes, outline, 0.7, 1.6)
            # At the left end of the back edge: zones within each other seldom share it.
            points = np.asarray(outline)
            corner = points[np.argmax(points[:, 1] - points[:, 0])]
            axes.annotate(
                str(number), corner, (6, -6), textcoords="offset points", fontsize=6.5, ha="center", va="center",
                color=INK, bbox={"boxstyle": "circle,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.85},
            )  # fmt: skip
        self.page.bar(image, (x + wide + 0.08, self.bottom + y, 0.09, tall), size=6.5)
        self.text(x, y - 0.17, "substrate from above in cm, front pane below", 6.5, color=SOFT_INK)

    def table(self, y: float) -> None:
        """Zones and verdicts, then the lines under them."""
        columns = (_MARGIN, 3.45, 4.75, 5.55, self.width - _MARGIN)
        heads = ("zone", "PAR (PPFD), range", "target", "verdict", "DLI, mol/m²/day")
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
            self.text(_MARGIN, y, f"and {more} more zone{'s' if more > 1 else ''}", 8, color=SOFT_INK)
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
