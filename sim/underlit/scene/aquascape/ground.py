"""Substrate, wood and stone."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field, model_validator

from underlit.scene.common import (
    AngleRad,
    Fraction,
    LengthM,
    Name,
    NonNegativeLengthM,
    Number,
    OneOf,
    Part,
    Point,
    PositiveLengthM,
    PositiveNumber,
    Role,
    Seed,
    wrong,
)
from underlit.scene.named_files import MeshFile, NumberFile
from underlit.scene.outline import Outlined
from underlit.scene.tank.tank import Size
from underlit.spectra.grid import FloatArray
from underlit.spectra.materials import reflectance
from underlit.units import LENGTH_UNITS_M

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

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the height map", "rows", "file", required=True),)

    unit: LengthUnit
    rows: tuple[tuple[Number, ...], ...] | None = None
    file: NumberFile | None = None

    @model_validator(mode="after")
    def _is_a_grid(self) -> Heights:
        key = "rows" if self.rows is not None else "file"
        try:
            grid = self.grid_m
        except ValueError as problem:
            raise wrong(f"not a height map: {problem}", key) from None
        if min(grid.shape) < 2:
            raise wrong("a height map needs at least two rows and two columns", key)
        if not np.isfinite(grid).all() or grid.min() < 0:
            raise wrong("heights must be finite and at least 0", key)
        return self

    @cached_property
    def grid_m(self) -> FloatArray:
        """Heights over the bottom pane's inside, (rows, columns) [m]; rows from front to back."""
        if self.file is not None:
            return self.file.content * LENGTH_UNITS_M[self.unit]
        if len({len(row) for row in self.rows or ()}) != 1:
            raise ValueError("its rows must have the same length")
        return np.array(self.rows, dtype=np.float64) * LENGTH_UNITS_M[self.unit]


class Surfaced(Part):
    """What has a material, and a reflectance of its own where the scene gives one."""

    material: Annotated[str, Role.MATERIAL] = ""
    reflectance: Annotated[Fraction | None, Role.MATERIAL] = None

    def spectrum(self) -> FloatArray:
        """Reflectance over the 60 bins, (60,)."""
        return reflectance(self.material, self.reflectance)


class Terrace(Outlined, Surfaced):
    """A level step of the substrate and the edge that holds it.

    ``height`` is that of its soil over the bottom pane. The edge runs along the outline, but not along panes; it is
    ``edge`` thick and stands ``edge_above`` over the soil. Where terraces overlap the higher one counts; one that is
    lower than the bed around it does not show.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the location", "outline", "rectangle", "circle", required=True),)

    height: PositiveLengthM
    edge: PositiveLengthM = 0.008
    edge_above: NonNegativeLengthM = 0.004
    material: StoneMaterial | WoodMaterial = "dark stone"

    @model_validator(mode="after")
    def _edge_is_thick_enough(self) -> Terrace:
        if self.edge < THINNEST_EDGE_M:
            raise wrong("an edge must be at least 2 mm thick", "edge")
        return self


class Substrate(Surfaced):
    """The bed: one depth, a slope from front to back, or a height map, and terraces on it; its material and reflectance."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the depth", "depth", ("front_depth", "back_depth"), "heights"),)
    together: ClassVar[tuple[tuple[str, str], ...]] = (("front_depth", "back_depth"),)

    depth: NonNegativeLengthM | None = None
    front_depth: NonNegativeLengthM | None = None
    back_depth: NonNegativeLengthM | None = None
    heights: Heights | None = None
    terraces: tuple[Terrace, ...] = Field(default=(), alias="terrace")
    material: Annotated[SubstrateMaterial, Role.MATERIAL] = "dark soil"

    @property
    def grid_m(self) -> FloatArray:
        """Height of the bed on an even grid over the inside footprint, (rows front to back, columns) [m]."""
        if self.heights is not None:
            return self.heights.grid_m
        if self.front_depth is not None and self.back_depth is not None:
            return np.array([[self.front_depth] * 2, [self.back_depth] * 2])
        return np.full((2, 2), SUBSTRATE_DEPTH_M if self.depth is None else self.depth)

    def terraced(self, x: FloatArray, y: FloatArray, heights: FloatArray) -> FloatArray:
        """Heights of the bed at points of the plan [m], terraces included."""
        if not self.terraces:
            return heights
        from shapely import Polygon, contains_xy

        for terrace in self.terraces:
            on_it = contains_xy(Polygon(terrace.polygon), x, y)
            heights = np.where(on_it, np.maximum(heights, terrace.height), heights)
        return heights


class FromMesh(Part):
    """What a mesh file may give, and how it stands.

    The shape is scaled, rolled about x (``tilt``), turned about z (counter-clockwise from above), then moved so that
    the middle of its bounding box stands at ``at`` and its lowest point lies ``sunk`` under the substrate there, or
    at ``base`` over the bottom pane.
    """

    together: ClassVar[tuple[tuple[str, str], ...]] = (("mesh", "unit"),)

    name: Name
    mesh: MeshFile | None = None
    unit: Annotated[LengthUnit | None, Field(description="the unit of the numbers in the mesh")] = None
    up: Literal["z", "y"] = "z"
    scale: PositiveNumber = 1.0
    at: Point | None = None
    sunk: LengthM = 0.0
    base: LengthM | None = None
    turn: AngleRad = 0.0
    tilt: AngleRad = 0.0


class Placed(FromMesh):
    """A mesh or a grown shape in its place."""

    at: Point
    sunk: LengthM = 0.01


class Solid(Placed, Surfaced):
    """What wood and stone share."""

    one_of: ClassVar[tuple[OneOf, ...]] = (OneOf("the shape", ("shape", "size"), ("mesh", "unit"), required=True),)
    together: ClassVar[tuple[tuple[str, str], ...]] = (*Placed.together, ("shape", "size"))

    size: Annotated[
        Size | None, Field(description="[length, front to back, height]; a mesh has a size of its own, see scale")
    ] = None
    seed: Seed = 1

    @property
    def reach_m(self) -> float | None:
        """Radius on the plan that a grown shape cannot leave about ``at`` [m]; None for a mesh."""
        return None if self.size is None else self.scale * math.hypot(*self.size) / 2


class Wood(Solid):
    """Driftwood: a mesh, or branches grown from a seed inside ``size`` [length, front to back, height]."""

    shape: Literal["branching"] | None = None
    material: WoodMaterial = "dark wood"


class Stone(Solid):
    """A stone: a mesh, or a rounded or jagged shape grown from a seed inside ``size``."""

    shape: Literal["rounded", "jagged"] | None = None
    material: StoneMaterial = "grey stone"
