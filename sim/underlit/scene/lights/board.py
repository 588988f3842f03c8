"""Where the LEDs are, which is which, and where each points: rows, rings, clusters, patterns and lenses of their own."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from underlit.photometry.point import led_grid
from underlit.scene.common import Count, LengthM, OneOf, Part, PositiveLengthM, one_line, wrong
from underlit.scene.lights.lens import Aimed, LensShape
from underlit.spectra.grid import FloatArray

NO_LED = "-"
"""Stands in a pattern where the board is empty."""
CLUSTER_PITCH_M = 0.01
MOST_LEDS = 100_000
IntArray = NDArray[np.int64]

Numbers = Annotated[tuple[Count, ...] | None, Field(description="counted from 1; all if not given")]


class Arrangement(Part):
    """LEDs in ``rows`` by ``columns``, in ``rings`` about one in the middle, or as a ``pattern`` draws them.

    Row 1 is the front one, column 1 the left one. Ring k holds 6 k LEDs; rows count rings from the middle, columns run
    counter-clockwise from the right seen from above. A pattern has a text for each row and a letter for each LED, ``-``
    where there is none; a channel names its ``letter``.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf("the LED arrangement", ("rows", "columns"), "rings", "pattern", required=True),
        OneOf("the pitch", ("row_pitch", "column_pitch"), "rings"),
    )
    together: ClassVar[tuple[tuple[str, str], ...]] = (("rows", "columns"),)
    displaces: ClassVar[Mapping[str, tuple[str, ...]]] = {"pattern": ("row_pitch", "column_pitch")}

    rows: Annotated[Count | None, Field(description="across the board, the front one first")] = None
    columns: Annotated[Count | None, Field(description="along the board, from the left")] = None
    rings: Annotated[Count | None, Field(le=60, description="rings around one LED in the middle, instead of rows")] = (
        None
    )
    pattern: Annotated[
        tuple[str, ...] | None,
        Field(description='a text for each row from the front, a letter for each LED: ["WWRWW", "WBW-W"]'),
    ] = None
    pitch: Annotated[PositiveLengthM | None, Field(description="between rows and columns, or between rings")] = None
    row_pitch: Annotated[PositiveLengthM | None, Field(description="between rows; goes before pitch")] = None
    column_pitch: Annotated[PositiveLengthM | None, Field(description="between columns; goes before pitch")] = None
    face: Annotated[PositiveLengthM, Field(description="side of the square that gives light")] = 0.003

    @model_validator(mode="after")
    def _is_a_board(self) -> Arrangement:
        if self.pattern is not None:
            _check_pattern(self.pattern)
        if self.count > MOST_LEDS:
            raise wrong(f"more than {MOST_LEDS:,} LEDs: give fewer", "rings" if self.rings else "columns")
        return self

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns; of rings, their number with the middle and the LEDs of the outermost."""
        if self.pattern is not None:
            return len(self.pattern), len(self.pattern[0])
        if self.rings is not None:
            return self.rings + 1, 6 * self.rings
        return self.rows or 1, self.columns or 1

    @property
    def count(self) -> int:
        """Places for LEDs."""
        rows, columns = self.shape
        return 1 + 3 * self.rings * (self.rings + 1) if self.rings is not None else rows * columns

    def laid_out(self, cluster: int, at: tuple[float, float], pitch: tuple[float, float]) -> Board:
        """Its LEDs about ``at`` (along, across) [m]; ``pitch`` (columns, rows) [m] holds where it says none itself."""
        rows, columns = self.shape
        letters = [""] * self.count
        if self.rings is not None:
            row, column, points = _ring_places(self.rings, self.pitch or min(pitch))
        else:
            along, across = self.pitches(pitch)
            points = led_grid(rows=rows, columns=columns, row_pitch_m=across, column_pitch_m=along)
            place = np.arange(rows * columns)
            row, column = place // columns + 1, place % columns + 1
        if self.pattern is not None:
            letters = [letter for text in self.pattern for letter in text]
        letter = np.array(letters)
        there = letter != NO_LED
        return Board(
            points=(points + np.array(at))[there],
            row=row[there],
            column=column[there],
            cluster=np.full(int(there.sum()), cluster),
            letter=letter[there],
            face=np.full(int(there.sum()), self.face),
            axis=np.tile(aim_down(), (int(there.sum()), 1)),
            lens=[None] * int(there.sum()),
        )

    def pitches(self, otherwise: tuple[float, float]) -> tuple[float, float]:
        """Distance between columns and between rows [m]."""
        return self.column_pitch or self.pitch or otherwise[0], self.row_pitch or self.pitch or otherwise[1]


def _check_pattern(pattern: tuple[str, ...]) -> None:
    widths = {len(one_line(text)) for text in pattern}
    if len(widths) != 1 or widths == {0}:
        raise wrong("the rows of a pattern must be texts of the same length", "pattern", list(pattern))
    if set("".join(pattern)) <= {NO_LED, " "}:
        raise wrong("the pattern has no LED: put a letter for each", "pattern", list(pattern))
    if any(" " in text for text in pattern):
        raise wrong(f"a pattern has no spaces: write {NO_LED} where there is no LED", "pattern", list(pattern))


def _ring_places(rings: int, pitch: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Ring (from 1, the middle), place in it (from 1) and centres [m] of LEDs in rings."""
    row, column, points = [1], [1], [(0.0, 0.0)]
    for ring in range(1, rings + 1):
        for place in range(6 * ring):
            angle = 2 * math.pi * place / (6 * ring)
            row.append(ring + 1)
            column.append(place + 1)
            points.append((ring * pitch * math.cos(angle), ring * pitch * math.sin(angle)))
    return np.array(row), np.array(column), np.array(points)


def aim_down() -> FloatArray:
    """Straight out of the board, (3,)."""
    return np.array([0.0, 0.0, -1.0])


class Leds(Arrangement):
    """The LEDs of one board; they are spread evenly over it where no pitch is given."""


class Cluster(Arrangement, Aimed):
    """One group of LEDs on the board, ``at`` [along, across] from its middle; right and back count positive."""

    at: Annotated[
        tuple[LengthM, LengthM],
        Field(description="its middle, counted from the middle of the board: to the right, to the back"),
    ] = (0.0, 0.0)


class Optic(Aimed):
    """A lens and direction of their own for the LEDs that lie in the ``rows``, ``columns`` and ``clusters`` given."""

    rows: Numbers = None
    columns: Numbers = None
    clusters: Numbers = None


@dataclass(frozen=True, eq=False)
class Board:
    """LEDs, n of them: ``points`` (n, 2) from the middle [m]; ``row``, ``column``, ``cluster`` (n,) from 1; ``letter`` (n,)
    of the pattern; ``face`` (n,) [m]; ``axis`` (n, 3) in the fixture's frame; ``lens`` where an LED has its own.
    """

    points: FloatArray
    row: IntArray
    column: IntArray
    cluster: IntArray
    letter: NDArray[np.str_]
    face: FloatArray
    axis: FloatArray
    lens: list[LensShape | None]

    def __len__(self) -> int:
        return len(self.points)

    def picked(
        self, rows: Sequence[int] | None, columns: Sequence[int] | None, clusters: Sequence[int] | None
    ) -> NDArray[np.bool_]:
        """Which LEDs lie in all of these, (n,); None is all."""
        mask = np.ones(len(self), dtype=bool)
        for numbers, wanted in ((self.row, rows), (self.column, columns), (self.cluster, clusters)):
            if wanted is not None:
                mask &= np.isin(numbers, wanted)
        return mask


def build_board(leds: Leds, clusters: Sequence[Cluster], optics: Sequence[Optic], size_m: tuple[float, float]) -> Board:
    """All LEDs of a fixture; later optics go before earlier ones, and all go before the lenses of clusters."""
    length, width = size_m
    if clusters:
        usual = (CLUSTER_PITCH_M, CLUSTER_PITCH_M)
        parts = [cluster.laid_out(i, cluster.at, usual) for i, cluster in enumerate(clusters, 1)]
        for cluster, part in zip(clusters, parts, strict=True):
            part.axis[:] = cluster.axis
            part.lens[:] = [cluster.lens] * len(part)
    else:
        rows, columns = leds.shape
        pitch = (length / columns, width / rows)
        if leds.rings is not None:
            pitch = (length / (2 * leds.rings + 1), width / (2 * leds.rings + 1))
        parts = [leds.laid_out(1, (0.0, 0.0), pitch)]
    board = _joined(parts)
    for optic in optics:
        for i in np.nonzero(board.picked(optic.rows, optic.columns, optic.clusters))[0]:
            if {"tilt", "lean"} & optic.model_fields_set:
                board.axis[i] = optic.axis
            if optic.lens is not None:
                board.lens[i] = optic.lens
    return board


def _joined(parts: Sequence[Board]) -> Board:
    names = ("points", "row", "column", "cluster", "letter", "face", "axis")
    arrays = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    return Board(**arrays, lens=[lens for part in parts for lens in part.lens])


@dataclass(frozen=True, eq=False)
class LedGroup:
    """LEDs of a channel that share lens and face: ``points`` (n, 2) [m], ``axis`` (n, 3), side of a face [m].

    ``stands_out``: they do not point straight out of the board, so they stand on it rather than in its plane.
    """

    points: FloatArray
    axis: FloatArray
    face_m: float
    lens: LensShape
    stands_out: bool


def groups(board: Board, mask: NDArray[np.bool_], usual: LensShape) -> Iterator[LedGroup]:
    """The LEDs of ``mask`` by lens, face and whether they point straight out, in the order of the board."""
    found: dict[tuple[LensShape, float, bool], list[int]] = {}
    for i in np.nonzero(mask)[0]:
        stands_out = bool(board.axis[i, 2] > -1 + 1e-12)
        found.setdefault((board.lens[i] or usual, float(board.face[i]), stands_out), []).append(int(i))
    for (lens, face, stands_out), at in found.items():
        yield LedGroup(board.points[at], board.axis[at], face, lens, stands_out)
