"""The tank, what stands behind its panes, its rim and braces."""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import StrEnum
from functools import cached_property
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from underlit.scene.common import (
    Fraction,
    LengthM,
    NonNegativeLengthM,
    OneOf,
    Part,
    Point,
    PositiveLengthM,
    Role,
    ShortForm,
    wrong,
)
from underlit.scene.outline import fault_of
from underlit.scene.tank import outline as tank_outline
from underlit.scene.tank.lid import Sheet
from underlit.scene.tank.mesh import ClosedMesh, MeshGlass
from underlit.scene.tank.outline import UPRIGHT_SIDES, TankOutline
from underlit.scene.tank.panes import Panes, PaneState
from underlit.spectra.grid import FloatArray
from underlit.spectra.materials import reflectance
from underlit.spectra.media import PaneKind

Size = tuple[PositiveLengthM, PositiveLengthM, PositiveLengthM]
SIDES = ("front", "back", "left", "right", "bottom")


class Behind(StrEnum):
    """What is behind a pane. Paint and film touch the glass and stop total reflection; a sheet leaves a gap."""

    OPEN_AIR = "open air"
    SHEET = "sheet"
    PAINT = "paint"
    FILM = "film"


class Wall(Part):
    """One pane: what is behind it, and how much light is returned by the algae and plants in front of it."""

    renamed: ClassVar[Mapping[str, str]] = {"gives_back": "returned_per_reflection"}

    behind: Annotated[Behind, Role.MATERIAL] = Behind.OPEN_AIR
    colour: Annotated[Sheet | None, Role.MATERIAL] = None
    reflectance: Annotated[Fraction | None, Role.MATERIAL, Field(description="of what is behind the pane")] = None
    air_gap: Annotated[PositiveLengthM, Role.MATERIAL] = 0.001
    returned_per_reflection: Annotated[
        Fraction | None,
        Field(description="light left per reflection at the pane by algae and plants in front of it; 1 is clean glass"),
    ] = None

    @model_validator(mode="after")
    def _colour_fits(self) -> Wall:
        if self.behind is Behind.OPEN_AIR:
            if self.colour is not None or self.reflectance is not None:
                key = "colour" if self.colour is not None else "reflectance"
                raise wrong('open air has no colour: give behind = "sheet" or "paint" as well', key, getattr(self, key))
        elif self.colour is None and self.reflectance is None:
            raise wrong(f"the colour of the {self.behind} is missing: give colour or reflectance", "behind")
        if self.behind is not Behind.SHEET and "air_gap" in self.model_fields_set:
            raise wrong('only a sheet has an air gap: give behind = "sheet" or remove this', "air_gap")
        return self

    @property
    def touches_glass(self) -> bool:
        """Whether what is behind the pane is in optical contact with it."""
        return self.behind in (Behind.PAINT, Behind.FILM)

    def backing_reflectance(self) -> FloatArray | None:
        """Reflectance of the backing over the 60 bins, (60,); None in open air."""
        if self.behind is Behind.OPEN_AIR:
            return None
        return reflectance(self.colour or "black", self.reflectance)


class Rim(Part):
    """The frame around the top edge: it covers the water inward, and its top is level with the top edge of the panes."""

    covers: NonNegativeLengthM = 0.016
    height: PositiveLengthM = 0.025
    reflectance: Fraction | None = None


class AnyBrace(Part):
    """A plate at the top edge; opaque, or of glass where ``glass`` is given."""

    width: PositiveLengthM = 0.044
    thickness: PositiveLengthM = 0.012
    glass: PaneKind | None = None
    reflectance: Fraction | None = None


class Brace(AnyBrace):
    """A cross brace from front to back at the top edge; opaque, or of glass where ``glass`` is given."""

    at: LengthM


class EuroBrace(AnyBrace):
    """A strip around the inside of the top edge; opaque, or of glass where ``glass`` is given."""

    width: PositiveLengthM = 0.05


def _bottom() -> Wall:
    return Wall(behind=Behind.SHEET, colour="foam")


class TankShape(StrEnum):
    """The usual shapes seen from above."""

    BOX = "box"
    BOW_FRONT = "bow front"
    CYLINDER = "cylinder"
    HEXAGON = "hexagon"
    CORNER = "corner"


SHAPE_KEYS = {"bow": TankShape.BOW_FRONT, "side_pane": TankShape.CORNER, "room_corner": TankShape.CORNER}
"""Keys that only one shape has."""
OF_ONE_SHAPE = tuple(SHAPE_KEYS)
MESH_SAYS = ("glass_thickness", "bottom_thickness", "rim", "braces", "euro_brace")
"""Fields that a tank from meshes does not have."""


class Tank(Part):
    """The glass tank, by its inside measures or by its nominal outside size; [length, front to back, height].

    Lengths and places are counted from the left and from the front of the rectangle around its inside. A shape other than
    the usual ones is given by its inside ``outline`` and ``height``.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        OneOf(
            "the size of the tank", "nominal_size", "inside_size", ("outline", "height"), ("inside", "outside"),
            required=True,
        ),
    )  # fmt: skip
    together: ClassVar[tuple[tuple[str, str], ...]] = (("outline", "height"), ("inside", "outside"))
    displaces: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "shape": OF_ONE_SHAPE,
        "outline": ("shape", *OF_ONE_SHAPE),
        "inside": ("shape", *OF_ONE_SHAPE, "glass_thickness", "bottom_thickness", "rim", "brace", "euro_brace"),
    }

    nominal_size: Annotated[
        Size | None, Role.SIZE, Field(description="outside measures: length, front to back, height")
    ] = None
    inside_size: Annotated[
        Size | None, Role.SIZE, Field(description="inside measures: length, front to back, height")
    ] = None
    shape: Annotated[TankShape, Role.SIZE, Field(description="what the tank looks like from above")] = TankShape.BOX
    bow: Annotated[
        PositiveLengthM | None,
        Role.SIZE,
        Field(description="bow front: how far the middle of the front pane stands out before its ends, inside"),
    ] = None
    side_pane: Annotated[
        PositiveLengthM | None,
        Role.SIZE,
        Field(description="corner tank: inside width of the two short panes; a third of the length if not given"),
    ] = None
    room_corner: Annotated[
        Literal["back left", "back right"] | None,
        Role.SIZE,
        Field(description="corner tank: where its two long panes meet; back left if not given"),
    ] = None
    outline: Annotated[
        tuple[Point, ...] | None,
        Role.SIZE,
        Field(description="corners of the inside seen from above, in order, for any other shape"),
    ] = None
    height: Annotated[
        PositiveLengthM | None, Role.SIZE, Field(description="inside height of a tank given by its outline")
    ] = None
    inside: Annotated[
        ClosedMesh | None,
        Role.SIZE,
        Field(description="for any shape: a closed mesh of what the tank holds to its top"),
    ] = None
    outside: Annotated[
        ClosedMesh | None, Role.SIZE, Field(description="a closed mesh of the outer surface of the glass, filled")
    ] = None
    glass: PaneKind = PaneKind.CLEAR
    glass_thickness: PositiveLengthM | None = None
    bottom_thickness: PositiveLengthM | None = None
    front: Wall = Field(default_factory=Wall)
    back: Wall = Field(default_factory=Wall)
    left: Wall = Field(default_factory=Wall)
    right: Wall = Field(default_factory=Wall)
    bottom: Wall = Field(default_factory=_bottom)
    rim: Annotated[Rim | None, Role.SIZE] = None
    braces: Annotated[tuple[Brace, ...], Role.SIZE, Field(alias="brace")] = ()
    euro_brace: Annotated[
        EuroBrace | None, Role.SIZE, Field(description="a strip of glass or plastic around the inside of the top")
    ] = None
    panes: Annotated[
        Panes | None,
        ShortForm("name", lambda: tuple(PaneState), "returned_per_reflection"),
        Field(description="what is in front of the upright panes; what a pane says itself goes before it"),
    ] = None

    @model_validator(mode="after")
    def _sizes_fit(self) -> Tank:
        self._check_shape_keys()
        if self.inside is not None or self.outside is not None:
            self._check_meshes()
            return self
        if self.outline is not None:
            self._check_outline(self.outline)
        elif min(self.inside_m) <= 0:
            raise wrong("the panes are too thick: nothing is left inside", "glass_thickness")
        if max(self.inside_m) > 20:
            raise wrong("a side is longer than 20 m: check the unit", self._size_key)
        self._check_shape()
        try:
            self.inside_outline.moved(self.wall_thickness_m)
        except ValueError as problem:
            key = "glass_thickness" if self.glass_thickness is not None else self._size_key
            raise wrong(str(problem), key) from None
        return self

    @property
    def _size_key(self) -> str:
        return next(
            key for key in ("nominal_size", "inside_size", "outline", "inside") if getattr(self, key) is not None
        )

    def _check_shape_keys(self) -> None:
        for key, shape in SHAPE_KEYS.items():
            if getattr(self, key) is not None and self.shape is not shape:
                raise wrong(f'only shape = "{shape}" has this key: give that shape or remove this', key)
        if self.outline is not None and "shape" in self.model_fields_set:
            raise wrong("the shape of the tank is given twice (shape, outline): remove one", "shape")

    def _check_meshes(self) -> None:
        said = [key for key in MESH_SAYS if getattr(self, key)]
        if said:
            raise wrong("a tank from meshes does not have this: remove it or make it part of the meshes", said[0])
        for side in UPRIGHT_SIDES:
            if self.walls[side].behind is Behind.SHEET:
                raise wrong("a sheet can only stand behind a flat pane: give paint or film", side)
        try:
            if max(self.inside_m) > 20:
                raise ValueError("a side is longer than 20 m: check the unit")
        except ValueError as problem:
            raise wrong(str(problem), "outside" if "outside" in str(problem) else "inside") from None

    def _check_outline(self, outline: tuple[Point, ...]) -> None:
        if len(outline) < 3:
            raise wrong("an outline needs at least three points", "outline")
        if len(set(outline)) < len(outline):
            raise wrong("an outline must name each corner only once", "outline")
        if fault := fault_of(outline):
            raise wrong(fault, "outline")
        if min(x for x, _ in outline) != 0 or min(y for _, y in outline) != 0:
            raise wrong("the outline must begin at 0: its leftmost corner at x = 0, its frontmost at y = 0", "outline")

    def _check_shape(self) -> None:
        length, depth, _ = self.inside_m
        if self.shape is TankShape.BOW_FRONT:
            if self.bow is None:
                raise wrong("the bow is missing: give how far the front pane stands out in the middle", "bow")
            if self.bow > length / 2 or self.bow >= depth:
                raise wrong("a bow can be at most half the length of the tank, and less than its front to back", "bow")
        if self.shape is TankShape.CYLINDER and not math.isclose(length, depth, rel_tol=1e-9):
            raise wrong("a cylinder must be as long as it is deep: give its diameter for both", self._size_key)
        if self.shape is TankShape.CORNER and self._side_pane_m >= min(length, depth):
            raise wrong("the short panes must be narrower than the long ones", "side_pane")

    @property
    def wall_thickness_m(self) -> float:
        """Thickness of the four walls [m]; by common practice for the height where the scene does not say."""
        if self.glass_thickness is not None:
            return self.glass_thickness
        if self.meshes is not None:
            return -float(self.meshes.outside[:, 0].min())
        return usual_thickness_m(*(self.nominal_size or self.inside_size or self.inside_m))

    @property
    def bottom_thickness_m(self) -> float:
        """Thickness of the bottom pane [m]; that of the walls where the scene does not say."""
        if self.meshes is not None:
            return -float(self.meshes.outside[:, 2].min())
        return self.bottom_thickness or self.wall_thickness_m

    @property
    def inside_m(self) -> tuple[float, float, float]:
        """Inside length, front to back, and height from the bottom pane to the top edge [m].

        For shapes other than a box, those of the rectangle around the inside.
        """
        if self.inside_size is not None:
            return self.inside_size
        if self.meshes is not None:
            return self.meshes.size
        if self.outline is not None and self.height is not None:
            return max(x for x, _ in self.outline), max(y for _, y in self.outline), self.height
        length, depth, height = self.nominal_size or (0.0, 0.0, 0.0)
        wall = self.wall_thickness_m
        # A hexagon's length runs from corner to corner, where the glass is cut at 60 degrees.
        ends = 2 * wall / math.cos(math.pi / 6) if self.shape is TankShape.HEXAGON else 2 * wall
        return length - ends, depth - 2 * wall, height - self.bottom_thickness_m

    @property
    def is_box(self) -> bool:
        """Whether the inside is a rectangle seen from above."""
        return self.shape is TankShape.BOX and self.outline is None and self.inside is None

    @property
    def shape_name(self) -> str:
        """The shape in words."""
        if self.inside is not None:
            return "a shape from meshes"
        return str(self.shape) if self.outline is None else f"an outline of {len(self.outline)} corners"

    @cached_property
    def meshes(self) -> MeshGlass | None:
        """The glass of a tank from meshes, None for others. Raises ValueError where the two meshes do not fit."""
        return None if self.inside is None or self.outside is None else MeshGlass(self.inside, self.outside)

    @property
    def _side_pane_m(self) -> float:
        return self.side_pane or self.inside_m[0] / 3

    @cached_property
    def inside_outline(self) -> TankOutline:
        """The inside seen from above; for a tank from meshes its widest extent."""
        if self.meshes is not None:
            return self.meshes.outline(self.meshes.inside, self.meshes.inside_faces)
        length, depth, _ = self.inside_m
        if self.outline is not None:
            return tank_outline.of_points(self.outline)
        if self.shape is TankShape.BOW_FRONT:
            return tank_outline.bow_front(length, depth, self.bow or 0.0)
        if self.shape is TankShape.CYLINDER:
            return tank_outline.cylinder(length)
        if self.shape is TankShape.HEXAGON:
            return tank_outline.hexagon(length, depth)
        if self.shape is TankShape.CORNER:
            return tank_outline.corner(length, depth, self._side_pane_m, self.room_corner or "back left")
        return tank_outline.box(length, depth)

    @cached_property
    def outside_outline(self) -> TankOutline:
        """The outer faces of the panes seen from above."""
        if self.meshes is not None:
            return self.meshes.outline(self.meshes.outside, self.meshes.outside_faces)
        return self.inside_outline.moved(self.wall_thickness_m)

    @property
    def walls(self) -> dict[str, Wall]:
        """The five panes by side: front, back, left, right, bottom."""
        return {side: getattr(self, side) for side in SIDES}


def usual_thickness_m(length: float, depth: float, height: float) -> float:
    """Glass thickness that tanks of this size commonly have [m]; common practice, no source."""
    for tallest, short_mm, long_mm in ((0.31, 5, 6), (0.42, 6, 8), (0.52, 8, 10), (0.62, 10, 12), (0.78, 12, 15)):
        if height <= tallest:
            return (long_mm if length > 1.25 else short_mm) / 1000
    return 0.019
