"""Plant groups, from which real leaves are grown, and what a group is like where the scene does not say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from pydantic import model_validator

from underlit.scene.common import (
    AngleRad,
    FilePath,
    Fraction,
    LengthM,
    Name,
    Point,
    PositiveLengthM,
    PositiveNumber,
    Seed,
    wrong,
)
from underlit.scene.ground import LengthUnit
from underlit.scene.outline import Outlined
from underlit.spectra.materials import LeafKind, LeafOptics, leaf_optics


class PlantKind(StrEnum):
    """Growth forms."""

    CARPET = "carpet"
    STEMS = "stems"
    ROSETTES = "rosettes"
    FLOATING = "floating"
    EPIPHYTES = "epiphytes"
    MESH = "mesh"


Density = Literal["thin", "medium", "dense"]


@dataclass(frozen=True)
class Habit:
    """What a growth form is like by default. Common practice, no source.

    ``leaf_area``: one-sided leaf area over ground area (over the wood covered for epiphytes) for thin, medium and
    dense; with an extinction of .56 stems of 1.5, 2.5 and 4 take 57, 75 and 89 % of the light (extinction: Zhang et
    al., Front. Earth Sci. 2014, doi 10.1007/s11707-014-0446-7). Floating plants cover a quarter, half, nearly all.
    """

    leaf_area: tuple[float, float, float]
    leaf_length_m: float
    leaf_width_m: float
    spacing_m: float
    leaf: LeafKind


HABITS = {
    PlantKind.CARPET: Habit((1.0, 2.0, 3.0), 0.008, 0.005, 0.010, LeafKind.SUBMERGED),
    PlantKind.STEMS: Habit((1.5, 2.5, 4.0), 0.030, 0.008, 0.025, LeafKind.SUBMERGED),
    PlantKind.ROSETTES: Habit((1.0, 2.0, 3.0), 0.120, 0.030, 0.080, LeafKind.SUBMERGED),
    PlantKind.FLOATING: Habit((0.25, 0.5, 0.95), 0.025, 0.020, 0.030, LeafKind.TYPICAL),
    PlantKind.EPIPHYTES: Habit((0.5, 1.0, 2.0), 0.050, 0.025, 0.040, LeafKind.DARK),
    PlantKind.MESH: Habit((0.0, 0.0, 0.0), 0.0, 0.0, 0.0, LeafKind.SUBMERGED),
}
DENSITIES: tuple[Density, ...] = ("thin", "medium", "dense")


class Plants(Outlined):
    """One group of plants of a kind, inside an outline, on a piece of wood or stone, or from a mesh."""

    name: Name
    kind: PlantKind
    on: Name | None = None
    height: PositiveLengthM | None = None
    density: Density = "medium"
    leaf_area: PositiveNumber | None = None
    cover: Fraction | None = None
    spacing: PositiveLengthM | None = None
    leaf_length: PositiveLengthM | None = None
    leaf_width: PositiveLengthM | None = None
    leaf: LeafKind | None = None
    reflectance: Fraction | None = None
    transmittance: Fraction | None = None
    seed: Seed = 1
    mesh: FilePath | None = None
    unit: LengthUnit | None = None
    up: Literal["z", "y"] = "z"
    scale: PositiveNumber = 1.0
    at: Point | None = None
    sunk: LengthM = 0.0
    base: LengthM | None = None
    turn: AngleRad = 0.0
    tilt: AngleRad = 0.0

    @model_validator(mode="after")
    def _kind_has_its_keys(self) -> Plants:
        kind = self.kind
        if kind is PlantKind.MESH:
            self._check_mesh()
        elif self.mesh is not None or self.unit is not None or self.at is not None:
            key = "mesh" if self.mesh is not None else "unit" if self.unit is not None else "at"
            raise wrong('only kind = "mesh" is placed by a mesh, its unit and at', key)
        elif kind is PlantKind.EPIPHYTES:
            if self.on is None:
                raise wrong("epiphytes need on = the name of the wood or stone that they grow on")
        elif not self.outline_keys:
            raise wrong("where? say outline, rectangle or circle")
        if self.on is not None and kind is not PlantKind.EPIPHYTES:
            raise wrong("only epiphytes grow on wood or stone", "on")
        if self.height is None and kind in (PlantKind.CARPET, PlantKind.STEMS, PlantKind.ROSETTES):
            raise wrong("how tall? say height", "")
        if self.cover is not None and kind is not PlantKind.FLOATING:
            raise wrong("cover is for floating plants; use density or leaf_area", "cover")
        self._check_leaf()
        return self

    def _check_mesh(self) -> None:
        if self.mesh is None or self.unit is None or self.at is None:
            raise wrong("a mesh plant needs mesh, the unit of its numbers, and at")
        if self.outline_keys:
            raise wrong("a mesh plant stands at a point; it has no outline", self.outline_keys[0])
        if not self.mesh.is_file():
            raise wrong("no such mesh file", "mesh", str(self.mesh))

    def _check_leaf(self) -> None:
        try:
            _ = self.leaf_optics
        except ValueError as problem:
            raise wrong(str(problem), "transmittance" if self.transmittance is not None else "reflectance") from None

    @property
    def habit(self) -> Habit:
        """The defaults of this growth form."""
        return HABITS[self.kind]

    @property
    def leaf_area_index(self) -> float:
        """One-sided leaf area over ground area; for floating plants the share of the surface covered."""
        if self.cover is not None:
            return self.cover
        if self.leaf_area is not None:
            return self.leaf_area
        return self.habit.leaf_area[DENSITIES.index(self.density)]

    @property
    def leaf_length_m(self) -> float:
        """Length of a leaf [m]; a rosette's leaves are as long as it is tall where the scene does not say."""
        if self.leaf_length is None and self.kind is PlantKind.ROSETTES and self.height is not None:
            return self.height
        return self.leaf_length or self.habit.leaf_length_m

    @property
    def leaf_width_m(self) -> float:
        """Width of a leaf [m]; a quarter of its length at most where the scene does not say, for rosettes."""
        if self.leaf_width is None and self.kind is PlantKind.ROSETTES:
            return min(self.habit.leaf_width_m, self.leaf_length_m / 4)
        return self.leaf_width or self.habit.leaf_width_m

    @property
    def spacing_m(self) -> float:
        """Distance between plants or stems [m]."""
        return self.spacing or self.habit.spacing_m

    @property
    def leaf_kind(self) -> LeafKind:
        """Leaf optics by name."""
        return self.leaf or self.habit.leaf

    @property
    def leaf_optics(self) -> LeafOptics:
        """Reflectance and transmittance over the 60 bins."""
        return leaf_optics(self.leaf_kind, reflectance_mean=self.reflectance, transmittance_mean=self.transmittance)
