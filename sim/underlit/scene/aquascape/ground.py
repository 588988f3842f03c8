"""Substrate, wood and stone."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from underlit.scene.common import (
    AngleRad,
    FilePath,
    Fraction,
    LengthM,
    Name,
    NonNegativeLengthM,
    Number,
    Part,
    Point,
    PositiveLengthM,
    PositiveNumber,
    Seed,
    exactly_one,
    wrong,
)
from underlit.scene.lights import read_number_table
from underlit.scene.outline import Outlined
from underlit.scene.tank.tank import Size
from underlit.spectra.grid import FloatArray
from underlit.spectra.materials import reflectance
from underlit.units.quantity import LENGTH_UNITS_M

LengthUnit = Literal["mm", "cm", "m", "in", "ft"]
SubstrateMaterial = Literal["dark soil", "gravel", "white sand", "coral sand", "black", "white"]
WoodMaterial = Literal["dark wood", "light wood"]
StoneMaterial = Literal["dark stone", "grey stone", "pale stone"]
SUBSTRATE_DEPTH_M = 2.5 * 0.0254
THINNEST_EDGE_M = 0.002


class Heights(Part):
    """Substrate heights on an even grid: rows from front to back, in each row from left to right, all in ``unit``.

    The outer rows and columns lie on the panes; between the points the height is bilinear.
    """

    unit: LengthUnit
    rows: tuple[tuple[Number, ...], ...] | None = None
    file: FilePath | None = None

    @model_validator(mode="after")
    def _is_a_grid(self) -> Heights:
        exactly_one(self, ("rows", "file"), "the height map")
        key = "rows" if self.rows is not None else "file"
        try:
            grid = self.grid_m
        except (ValueError, OSError) as problem:
            raise wrong(f"not a height map: {problem}", key) from None
        if min(grid.shape) < 2:
            raise wrong("a height map needs at least two rows and two columns", key)
        if not np.isfinite(grid).all() or grid.min() < 0:
            raise wrong("heights are finite and not below the bottom pane", key)
        return self

    @cached_property
    def grid_m(self) -> FloatArray:
        """Heights over the bottom pane's inside, (rows, columns) [m]; rows from front to back."""
        if self.file is not None:
            return read_number_table(self.file) * LENGTH_UNITS_M[self.unit]
        if len({len(row) for row in self.rows or ()}) != 1:
            raise ValueError("its rows differ in length")
        return np.array(self.rows, dtype=np.float64) * LENGTH_UNITS_M[self.unit]


class Terrace(Outlined):
    """A level step of the substrate and the edge that holds it.

    ``height`` of its soil over the bottom pane; the edge, ``edge`` thick along the outline but not along panes, stands
    ``edge_above`` over the soil. Where terraces overlap the higher one counts; under the bed around it none shows.
    """

    height: PositiveLengthM
    edge: PositiveLengthM = 0.008
    edge_above: NonNegativeLengthM = 0.004
    material: StoneMaterial | WoodMaterial = "dark stone"
    reflectance: Fraction | None = None

    @model_validator(mode="after")
    def _has_a_place(self) -> Terrace:
        if not self.outline_keys:
            raise wrong("where? say outline, rectangle or circle")
        if self.edge < THINNEST_EDGE_M:
            raise wrong("an edge is at least 2 mm thick", "edge")
        return self

    def spectrum(self) -> FloatArray:
        """Reflectance of the edge over the 60 bins, (60,)."""
        return reflectance(self.material, self.reflectance)


class Substrate(Part):
    """The bed: one depth, a slope from front to back, or a height map, and terraces on it; its material and reflectance."""

    depth: NonNegativeLengthM | None = None
    front_depth: NonNegativeLengthM | None = None
    back_depth: NonNegativeLengthM | None = None
    heights: Heights | None = None
    terraces: tuple[Terrace, ...] = Field(default=(), alias="terrace")
    material: SubstrateMaterial = "dark soil"
    reflectance: Fraction | None = None

    @model_validator(mode="after")
    def _depth_said_once(self) -> Substrate:
        sloped = self.front_depth is not None or self.back_depth is not None
        if sum([self.depth is not None, sloped, self.heights is not None]) > 1:
            raise wrong("the depth is said twice; keep one of depth, front_depth with back_depth, heights", "depth")
        if sloped and (self.front_depth is None or self.back_depth is None):
            raise wrong("a slope needs both front_depth and back_depth", "front_depth")
        return self

    @property
    def grid_m(self) -> FloatArray:
        """Height of the bed on an even grid over the inside footprint, (rows front to back, columns) [m]."""
        if self.heights is not None:
            return self.heights.grid_m
        if self.front_depth is not None and self.back_depth is not None:
            return np.array([[self.front_depth] * 2, [self.back_depth] * 2])
        return np.full((2, 2), SUBSTRATE_DEPTH_M if self.depth is None else self.depth)

    def terraced(self, x: FloatArray, y: FloatArray, heights: FloatArray) -> FloatArray:
        """Heights of the bed at points of the plan [m] with its terraces put on."""
        if not self.terraces:
            return heights
        from shapely import Polygon, contains_xy

        for terrace in self.terraces:
            on_it = contains_xy(Polygon(terrace.polygon), x, y)
            heights = np.where(on_it, np.maximum(heights, terrace.height), heights)
        return heights

    def spectrum(self) -> FloatArray:
        """Reflectance over the 60 bins, (60,)."""
        return reflectance(self.material, self.reflectance)


class Placed(Part):
    """A mesh file or a grown shape, put somewhere.

    The shape is scaled, rolled about x (``tilt``), turned about z (counter-clockwise from above), then moved so that
    the middle of its bounding box stands at ``at`` and its lowest point lies ``sunk`` under the substrate there, or
    at ``base`` over the bottom pane.
    """

    name: Name
    mesh: FilePath | None = None
    unit: LengthUnit | None = None
    up: Literal["z", "y"] = "z"
    scale: PositiveNumber = 1.0
    at: Point
    sunk: LengthM = 0.01
    base: LengthM | None = None
    turn: AngleRad = 0.0
    tilt: AngleRad = 0.0

    @model_validator(mode="after")
    def _mesh_has_unit(self) -> Placed:
        if (self.mesh is None) != (self.unit is None):
            raise wrong("a mesh needs the unit of its numbers, and a unit its mesh", "mesh")
        if self.mesh is not None and not self.mesh.is_file():
            raise wrong("no such mesh file", "mesh", str(self.mesh))
        return self


class Solid(Placed):
    """What wood and stone share."""

    size: Size | None = None
    seed: Seed = 1
    reflectance: Fraction | None = None

    def _check_shape(self, shape: str | None) -> None:
        if (self.mesh is None) == (shape is None):
            raise wrong("say either a mesh or a shape", "shape" if shape else "")
        if shape is not None and self.size is None:
            raise wrong("a shape needs its size, [length, depth, height]", "shape")
        if shape is None and self.size is not None:
            raise wrong("a mesh brings its own size; use scale", "size")

    @property
    def reach_m(self) -> float | None:
        """Radius on the plan that a grown shape cannot leave about ``at`` [m]; None for a mesh."""
        return None if self.size is None else self.scale * math.hypot(*self.size) / 2


class Wood(Solid):
    """Driftwood: a mesh, or branches grown from a seed inside ``size`` [length, front to back, height]."""

    shape: Literal["branching"] | None = None
    material: WoodMaterial = "dark wood"

    @model_validator(mode="after")
    def _one_shape(self) -> Wood:
        self._check_shape(self.shape)
        return self

    def spectrum(self) -> FloatArray:
        """Reflectance over the 60 bins, (60,)."""
        return reflectance(self.material, self.reflectance)


class Stone(Solid):
    """A stone: a mesh, or a rounded or jagged shape grown from a seed inside ``size``."""

    shape: Literal["rounded", "jagged"] | None = None
    material: StoneMaterial = "grey stone"

    @model_validator(mode="after")
    def _one_shape(self) -> Stone:
        self._check_shape(self.shape)
        return self

    def spectrum(self) -> FloatArray:
        """Reflectance over the 60 bins, (60,)."""
        return reflectance(self.material, self.reflectance)
