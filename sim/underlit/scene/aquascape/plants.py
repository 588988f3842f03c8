"""Plant groups, from which leaves are grown one by one, and what a group is like where the scene does not say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from underlit.scene.aquascape.ground import FromMesh
from underlit.scene.aquascape.growth import (
    FLOATING,
    GROWTH,
    SLOWER_WITHOUT_CO2,
    Form,
    Growth,
    LeafAreaGoes,
    Stand,
    grown_on,
    trimmed,
)
from underlit.scene.common import (
    Fraction,
    Name,
    NonNegativeLengthM,
    OneOf,
    PositiveLengthM,
    PositiveNumber,
    Seed,
    Weeks,
    YesNo,
    wrong,
)
from underlit.scene.outline import Outlined
from underlit.scene.targets import Band, Need, Needs, PpfdRange, band_for
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
DENSITIES: tuple[Density, ...] = ("thin", "medium", "dense")
FORMS: dict[PlantKind, tuple[Form, ...]] = {
    PlantKind.CARPET: (Form.ROUND, Form.GRASS, Form.CLOVER),
    PlantKind.STEMS: (Form.OPPOSITE, Form.WHORL, Form.FINE),
    PlantKind.ROSETTES: (Form.BROAD, Form.LOW, Form.RIBBON),
    PlantKind.FLOATING: (Form.PADS, Form.DUCKWEED),
    PlantKind.EPIPHYTES: (Form.THICK_LEAVES, Form.MOSS),
    PlantKind.MESH: (),
}
"""Forms of each kind; the first is assumed where the scene does not say."""


@dataclass(frozen=True)
class Habit:
    """What a form is like by default. Common practice, no source.

    ``leaf_area``: one-sided leaf area over ground area (over the wood covered for epiphytes) for thin, medium and
    dense; with an extinction of .56 stems of 1.5, 2.5 and 4 take 57, 75 and 89 % of the light (extinction: Zhang et
    al., Front. Earth Sci. 2014, doi 10.1007/s11707-014-0446-7). Floating plants cover a quarter, half, nearly all.
    ``height_m``: for forms whose height a scene may omit.
    """

    leaf_area: tuple[float, float, float]
    leaf: LeafKind = LeafKind.SUBMERGED
    height_m: float | None = None


_STEMS = Habit((1.5, 2.5, 4.0))
_ON_THE_GROUND = Habit((1.0, 2.0, 3.0))
_AFLOAT = Habit((0.25, 0.5, 0.95), LeafKind.TYPICAL)
HABITS = {
    **dict.fromkeys(FORMS[PlantKind.CARPET], _ON_THE_GROUND),
    **dict.fromkeys(FORMS[PlantKind.STEMS], _STEMS),
    **dict.fromkeys(FORMS[PlantKind.ROSETTES], _ON_THE_GROUND),
    **dict.fromkeys(FORMS[PlantKind.FLOATING], _AFLOAT),
    Form.THICK_LEAVES: Habit((0.5, 1.0, 2.0), LeafKind.DARK, 0.07),
    Form.MOSS: Habit((1.0, 2.0, 4.0), LeafKind.DARK, 0.012),
}


class Plants(Outlined, FromMesh):
    """One group of plants of a kind, inside an outline, on a piece of wood or stone, or from a mesh.

    How much: one of ``density``, ``leaf_area`` (index), ``cover`` (floating) and ``spacing`` (between plants or stems).
    Later: ``trimmed_to`` a height, then ``grown`` for some weeks, by the rule of `growth`; ``grows_per_week`` (height) and
    ``doubles_in`` give rates of your own. Epiphytes are tied to the wood inside their outline, if any, and between
    ``tied_above`` and ``tied_below`` (over the bottom pane). ``floats``: stems drift level under the surface, ``height``
    long.
    """

    one_of: ClassVar[tuple[OneOf, ...]] = (
        *Outlined.one_of,
        OneOf("the amount", "density", "leaf_area", "cover", "spacing"),
        OneOf("the target", "band", "need", "needs"),
    )
    renamed: ClassVar[Mapping[str, str]] = {"grows": "grows_per_week"}

    kind: PlantKind
    form: Form | None = None
    on: Name | None = None
    tied_above: NonNegativeLengthM | None = None
    tied_below: PositiveLengthM | None = None
    floats: YesNo = False
    height: PositiveLengthM | None = None
    grown: Weeks = 0.0
    trimmed_to: PositiveLengthM | None = None
    grows_per_week: Annotated[PositiveLengthM | None, Field(description="height gained in a week")] = None
    doubles_in: Weeks | None = None
    density: Density | None = None
    leaf_area: PositiveNumber | None = None
    cover: Fraction | None = None
    spacing: PositiveLengthM | None = None
    leaf_length: PositiveLengthM | None = None
    leaf_width: PositiveLengthM | None = None
    leaf: LeafKind | None = None
    reflectance: Fraction | None = None
    transmittance: Fraction | None = None
    need: Need | None = None
    band: PpfdRange | None = None
    needs: Needs | None = Field(
        None, description="the light they need, which depends on the tank; given by an entry of the catalogue"
    )
    seed: Seed = 1

    @model_validator(mode="after")
    def _kind_has_its_keys(self) -> Plants:
        if self.kind is PlantKind.MESH:
            self._check_mesh()
        else:
            self._refuse(("mesh", "unit", "at"), 'only kind = "mesh" has this key')
            self._check_place()
            self._check_growth()
        self._check_form()
        self._check_amount()
        self._check_leaf()
        return self

    def _refuse(self, keys: tuple[str, ...], why: str) -> None:
        for key in keys:
            if key in self.stated():
                raise wrong(f"{why}: remove this", key)

    def _check_mesh(self) -> None:
        if self.mesh is None or self.unit is None or self.at is None:
            raise wrong("a plant from a mesh needs mesh, unit (of the numbers in the mesh) and at")
        self._refuse(("outline", "rectangle", "circle"), "a plant from a mesh stands at a point and has no outline")
        self._refuse(
            ("height", "density", "leaf_area", "spacing", "leaf_length", "leaf_width", "trimmed_to", "grown"),
            "a plant from a mesh has the size of its mesh, times scale",
        )
        self._refuse(("on", "tied_above", "tied_below"), "only epiphytes grow on wood or stone")

    def _check_place(self) -> None:
        if self.kind is PlantKind.EPIPHYTES:
            if self.on is None:
                raise wrong("is missing: give the name of the wood or stone that the epiphytes grow on", "on")
            if self.tied_above is not None and self.tied_below is not None and self.tied_below <= self.tied_above:
                raise wrong("must be higher than tied_above", "tied_below")
        else:
            if not self.outline_keys:
                raise wrong("the location is missing: give outline, rectangle or circle")
            self._refuse(("on", "tied_above", "tied_below"), "only epiphytes grow on wood or stone")
        if self.floats and self.kind is not PlantKind.STEMS:
            raise wrong('only stems can float and be rooted; for floating plants give kind = "floating"', "floats")
        if self.kind is PlantKind.FLOATING:
            self._refuse(("height",), "floating plants lie at the surface and have no height")
        elif self.height is None and self.kind is not PlantKind.EPIPHYTES:
            raise wrong("is missing: give how tall the plants are", "height")

    def _check_form(self) -> None:
        known = FORMS[self.kind]
        if self.form is not None and self.form not in known:
            names = " or ".join(f'"{form}"' for form in known)
            said = "a plant from a mesh has the form of its mesh: remove this"
            raise wrong(f"for {self.kind} it must be {names}" if known else said, "form", str(self.form))

    def _check_amount(self) -> None:
        if self.cover is not None and self.kind is not PlantKind.FLOATING:
            raise wrong("only floating plants have a cover: give density or leaf_area", "cover")
        if self.leaf_area is not None and self.kind is PlantKind.FLOATING:
            raise wrong("floating plants have no leaf area index: give cover or density", "leaf_area")
        if self.spacing is not None and self.kind in (PlantKind.CARPET, PlantKind.FLOATING):
            raise wrong(f"{self.kind} plants have no spacing: give density", "spacing")

    def _check_growth(self) -> None:
        if self.kind is PlantKind.FLOATING:
            self._refuse(("trimmed_to", "grows_per_week"), "floating plants are thinned by cover, not by height")
        if self.doubles_in is not None:
            if self.doubles_in == 0:
                raise wrong("must be more than 0", "doubles_in")
            if self.growth.leaf_area is LeafAreaGoes.WITH_HEIGHT:
                raise wrong("this form grows by its height: give grows_per_week", "doubles_in")

    def _check_leaf(self) -> None:
        try:
            _ = self.leaf_optics
        except ValueError as problem:
            raise wrong(str(problem), "transmittance" if self.transmittance is not None else "reflectance") from None
        if self.leaf_length is not None and self.leaf_form is Form.GRASS:
            raise wrong("blades of grass are as long as the carpet is tall: remove this", "leaf_length")
        if self.leaf_width is not None and self.kind is PlantKind.FLOATING:
            raise wrong("floating leaves are round: give their diameter as leaf_length", "leaf_width")
        tall = self.height if self.kind is PlantKind.ROSETTES else None
        if self.leaf_length is not None and tall is not None and self.leaf_length < tall:
            raise wrong("the longest leaves of a rosette must be at least as long as it is tall", "leaf_length")
        if self.leaf_width is not None and self.leaf_length is not None and self.leaf_width > self.leaf_length:
            raise wrong("must not be more than leaf_length", "leaf_width")

    @property
    def leaf_form(self) -> Form | None:
        """The form given, or the first of its kind; None for a mesh."""
        return self.form or next(iter(FORMS[self.kind]), None)

    @property
    def is_rooted(self) -> bool:
        """Whether they grow from the substrate."""
        return self.kind in (PlantKind.CARPET, PlantKind.STEMS, PlantKind.ROSETTES) and not self.floats

    @property
    def habit(self) -> Habit:
        """The defaults of this form."""
        return Habit((0.0, 0.0, 0.0)) if self.leaf_form is None else HABITS[self.leaf_form]

    @property
    def growth(self) -> Growth:
        """Rates of this form, or those that the scene gives."""
        assert self.leaf_form is not None
        known = GROWTH[self.leaf_form]
        return replace(
            known,
            height_m_per_week=known.height_m_per_week if self.grows_per_week is None else self.grows_per_week,
            doubling_weeks=known.doubling_weeks if self.doubles_in is None else self.doubles_in,
        )

    @property
    def as_planted(self) -> Stand:
        """Before trimming and growing; the leaf area index of floating plants is the share of the surface covered."""
        height = self.habit.height_m if self.height is None else self.height
        if self.spacing is not None:
            return Stand(height, None)
        said = self.cover if self.cover is not None else self.leaf_area
        return Stand(height, self.habit.leaf_area[DENSITIES.index(self.density or "medium")] if said is None else said)

    def stand(self, *, added_co2: bool, room_m: float = float("inf")) -> tuple[Stand, float | None]:
        """The stand trimmed and grown, and its leaf area divided by that after trimming; room_m: to the surface [m]."""
        speed = 1.0 if added_co2 or self.leaf_form in FLOATING else SLOWER_WITHOUT_CO2
        if self.grows_per_week is not None or self.doubles_in is not None:
            speed = 1.0
        begun = trimmed(self.as_planted, self.trimmed_to)
        if not self.grown:
            return begun, 1.0
        return grown_on(begun, self.growth, weeks=self.grown, speed=speed, room_m=room_m)

    def wanted(self, *, added_co2: bool, settled: bool = True) -> Band | None:
        """The light that these plants should have; None where the scene does not say."""
        if self.band is not None:
            return Band(*self.band, "", "as the scene says")
        if self.needs is not None:
            return self.needs.wanted(added_co2=added_co2, settled=settled)
        return None if self.need is None else band_for(self.need, added_co2=added_co2, settled=settled)

    @property
    def leaf_kind(self) -> LeafKind:
        """Leaf optics by name."""
        return self.leaf or self.habit.leaf

    @property
    def leaf_optics(self) -> LeafOptics:
        """Reflectance and transmittance over the 60 bins."""
        return leaf_optics(self.leaf_kind, reflectance_mean=self.reflectance, transmittance_mean=self.transmittance)
