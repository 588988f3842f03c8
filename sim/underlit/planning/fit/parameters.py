"""What a fit to readings may change in a scene, and what is believed of each before any reading.

A parameter is fitted as u, a number without bounds: the logarithm of the value, or of its optical depth -log(value)
where the value is a share between 0 and 1. Believed beforehand: u is normal about the scene's own value (`PRIORS`).

What weighs a recorded path anew is a natural number eta of each parameter: the path's weight changes by
exp(feature * (eta' - eta)), see `light.py`.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from underlit.lowering.compiled import CompiledScene
from underlit.lowering.records import Face, Frame, Part, Role, Source
from underlit.lowering.tank.panes import UPRIGHT, WATER, pane, sheet_behind
from underlit.planning.makes import grouped_by_make
from underlit.scene.lights.fixture import Fixture
from underlit.scene.measured import Kind
from underlit.scene.model import Scene
from underlit.scene.standing import backing_level, beam_deg_of, exponent_of, own_lens
from underlit.transport.tables import SurfaceKind, Tables

PRACTICE = "common practice, no source"


class Scale(StrEnum):
    """How a value becomes u: its logarithm, or that of its optical depth."""

    LOG = "log of the value"
    LOG_DEPTH = "log of -log of the value"


@dataclass(frozen=True)
class Prior:
    """Believed of a kind beforehand: one standard deviation of u, the range that practice knows, and where it is from.

    least: value (LOG) or optical depth (LOG_DEPTH) taken where the scene says that there is nothing (no tannin, a clean
    lid), which is known to `SD_OF_NOTHING` only. low, high: values within which the fit stays.
    """

    scale: Scale
    sd: float
    low: float
    high: float
    least: float
    known: str
    source: str = PRACTICE


PRIORS = {
    Kind.OUTPUT: Prior(Scale.LOG, 0.20, 0.05, 20.0, 0.0, "± 15 % of the claim; cheap fixtures 20-40 % under"),
    Kind.BEAM: Prior(Scale.LOG, 0.12, 15.0, 165.0, 0.0, "bare LEDs 110-120 deg, lensed 60-90, spots 30-60"),
    Kind.LID: Prior(Scale.LOG_DEPTH, 0.60, 0.05, 0.9999, 0.02, "a top in use takes 15-30 % in all, crusted 30-50"),
    Kind.GROWTH: Prior(Scale.LOG_DEPTH, 0.33, 0.001, 0.999, 0.05, "overgrown .1-.4 returned per reflection; clean .6-1"),
    Kind.TINT: Prior(Scale.LOG, 0.70, 0.001, 30.0, 0.05, "carbon-filtered .05-.1, ordinary .3-.5, tea 2-5"),
    Kind.BACKING: Prior(Scale.LOG_DEPTH, 0.25, 0.001, 0.999, 0.05, "black .03-.08, white .7-.85"),
}  # fmt: skip
"""What is believed before any reading. Standard deviations hold the range as about ± 2 of them, output and
tint wider, for a claim and a tint by eye are wrong more often than that."""

CLEAN_FROM, SD_OF_CLEAN_PANES = 0.5, 0.8
"""Share returned from which panes count as clean, and the error of their u: clean ones return .6 to 1."""
SD_OF_NOTHING = 1.0
"""Of u where the scene says that there is nothing: from a third to three times the least."""


@dataclass(frozen=True)
class Parameter:
    """One thing that a fit may change.

    start: value in the scene (output: 1, a factor on the claim; beam: degrees; tint: 1/m at 440 nm; others shares). of:
    which fixtures or panes, by name; lights: the records of those fixtures. sources: indices of the light sources it
    belongs to (output, beam).
    """

    kind: Kind
    start: float
    of: tuple[str, ...] = ()
    sources: tuple[int, ...] = ()
    slope_per_nm: float = 0.0
    lights: tuple[Part, ...] = ()

    @property
    def prior(self) -> Prior:
        """What is believed of its kind."""
        return PRIORS[self.kind]

    @property
    def u_start(self) -> float:
        """The middle of what is believed."""
        if self.prior.scale is Scale.LOG:
            return math.log(max(self.start, self.prior.least))
        return math.log(max(-math.log(max(self.start, self.prior.low)), self.prior.least))

    @property
    def u_sd(self) -> float:
        """One standard deviation of what is believed of u."""
        nothing = self.u_start == math.log(self.prior.least) if self.prior.least > 0 else False
        if self.kind is Kind.GROWTH and self.start > CLEAN_FROM and not nothing:
            return SD_OF_CLEAN_PANES
        return SD_OF_NOTHING if nothing else self.prior.sd

    @property
    def u_bounds(self) -> tuple[float, float]:
        """Lowest and highest u."""
        ends = sorted((self.u_of(self.prior.low), self.u_of(self.prior.high)))
        return ends[0], ends[1]

    def u_of(self, value: float) -> float:
        """u of a value."""
        return math.log(value) if self.prior.scale is Scale.LOG else math.log(-math.log(value))

    def value_of(self, u: float) -> float:
        """The value of u."""
        return math.exp(u) if self.prior.scale is Scale.LOG else math.exp(-math.exp(u))

    def eta_of(self, u: float) -> tuple[float, float]:
        """Natural number of u and its slope d eta / d u: what multiplies a path's feature in the logarithm of its
        weight.
        """
        if self.kind is Kind.OUTPUT:
            return u, 1.0
        if self.kind is Kind.BEAM:
            half = math.radians(math.exp(u)) / 2
            m = exponent_of(math.exp(u))
            return m, m * half * math.tan(half) / math.log(math.cos(half))
        if self.kind is Kind.TINT:
            return math.exp(u), math.exp(u)
        share = 0.5 if self.kind is Kind.GROWTH else 1.0
        return -share * math.exp(u), -share * math.exp(u)

    @property
    def name(self) -> str:
        """Its name for people."""
        if self.kind in (Kind.OUTPUT, Kind.BEAM):
            return f"{self.kind} of {', '.join(self.of)}"
        return str(self.kind)


# -- what a scene has -------------------------------------------------------------------------------------------
def parameters_of(scene: Scene, compiled: CompiledScene) -> tuple[Parameter, ...]:
    """Everything in a scene that a fit may change: its own tank, and all lights of its rack, for they all shine on it.

    compiled: the scene lowered with its lid on.
    """
    return tuple([*_of_fixtures(scene, compiled), *_of_lid(scene), *_of_walls(scene), *_of_water(scene)])


def _of_fixtures(scene: Scene, compiled: CompiledScene) -> Iterator[Parameter]:
    in_rack = [(frame, f) for frame in compiled.frames for f in scene.tank_scenes[frame.tank].fixtures]
    for of_one_make in grouped_by_make(in_rack, lambda one: one[1]):
        lights = tuple(fixture_part(fixture).moved_to(frame) for frame, fixture in of_one_make)
        names = tuple(light.name for light in lights)
        sources = tuple(i for i, source in enumerate(compiled.sources) if light_of(source) in lights)
        yield Parameter(Kind.OUTPUT, 1.0, names, sources, lights=lights)
        beam, lens = _beam_sources(of_one_make, compiled), own_lens(of_one_make[0][1])
        if beam and lens is not None:
            yield Parameter(Kind.BEAM, beam_deg_of(lens.exponent), names, beam, lights=lights)


def fixture_part(fixture: Fixture, tank: int = 0) -> Part:
    """The record of a fixture of a tank."""
    return Part(fixture.name, Role.FIXTURE, tank=tank)


def light_of(source: Source) -> Part:
    """The record of the fixture that a source belongs to."""
    return Part(source.fixture, Role.FIXTURE, tank=source.tank)


def _beam_sources(fixtures: tuple[tuple[Frame, Fixture], ...], compiled: CompiledScene) -> tuple[int, ...]:
    """Sources whose LEDs have the fixture's own lens; fixtures: each with the frame of its tank."""
    if own_lens(fixtures[0][1]) is None:
        return ()
    wanted = {
        Source(fixture.name, channel.name, k, tank=frame.tank)
        for frame, fixture in fixtures
        for channel in fixture.channels
        if channel.lens is None
        for k, group in enumerate(fixture.led_groups(channel))
        if group.lens == fixture.lens_shape(channel)
    }
    return tuple(i for i, source in enumerate(compiled.sources) if source in wanted)


def _of_lid(scene: Scene) -> Iterator[Parameter]:
    if scene.lid is not None and scene.lid.dirt > 0:
        yield Parameter(Kind.LID, scene.lid.dirt)


def grown_panes(scene: Scene) -> tuple[str, ...]:
    """The upright panes whose growth is one number: those that return the share that most of them do."""
    shares = [scene.returned_per_reflection(side) for side in UPRIGHT]
    common = max(shares, key=lambda share: (shares.count(share), -share))
    return tuple(side for side, share in zip(UPRIGHT, shares, strict=True) if share == common and share > 0)


def backed_panes(scene: Scene) -> tuple[str, ...]:
    """The upright panes with a backing that gives light back, of one colour (that of the first such pane)."""
    backed = [side for side in UPRIGHT if backing_level(scene, side) > 0]
    return tuple(side for side in backed if backing_level(scene, side) == backing_level(scene, backed[0]))


def _of_walls(scene: Scene) -> Iterator[Parameter]:
    grown, backed = grown_panes(scene), backed_panes(scene)
    if grown:
        yield Parameter(Kind.GROWTH, scene.returned_per_reflection(grown[0]), grown)
    if backed:
        yield Parameter(Kind.BACKING, backing_level(scene, backed[0]), backed)


def _of_water(scene: Scene) -> Iterator[Parameter]:
    tint = scene.water.tannin
    yield Parameter(Kind.TINT, tint.absorption_440_per_m, slope_per_nm=tint.slope_per_nm)


# -- in the tables ----------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Touched:
    """Rows of a plan's tables that a parameter changes: surfaces (film, or reflectance of both sides), a medium or
    None.
    """

    surfaces: tuple[int, ...] = ()
    medium: int | None = None


def touched(parameter: Parameter, compiled: CompiledScene) -> Touched:
    """What a parameter changes in a compiled scene; nothing for a lid that is off."""
    frame, meshes = compiled.frame, compiled.plain_meshes

    def of(parts: Container[Part]) -> tuple[int, ...]:
        return tuple(sorted({mesh.surface for mesh in meshes if mesh.part in parts}))

    if parameter.kind is Kind.LID:
        tops = [m.part for m in meshes if m.part.tank == frame.tank and (m.role, m.part.face) == (Role.LID, Face.TOP)]
        return Touched(of(tops))
    if parameter.kind is Kind.GROWTH:
        return Touched(of([pane(side, Face.WET_INSIDE).moved_to(frame) for side in parameter.of]))
    if parameter.kind is Kind.BACKING:
        opaque = compiled.tables.surfaces["kind"] == SurfaceKind.OPAQUE
        behind = [part for side in parameter.of for part in (pane(side, Face.OUTSIDE), sheet_behind(side))]
        return Touched(tuple(i for i in of([part.moved_to(frame) for part in behind]) if opaque[i]))
    if parameter.kind is Kind.TINT:
        line = compiled.lines.index(WATER.moved_to(frame))
        return Touched(medium=int(np.flatnonzero(compiled.tables.media["bucket"] == line)[0]))
    return Touched()


def tint_shape(slope_per_nm: float) -> np.ndarray:
    """Absorption by dissolved colour over that at 440 nm, (60,)."""
    from underlit.spectra.grid import PAR_WAVELENGTHS_NM

    return np.exp(-slope_per_nm * (PAR_WAVELENGTHS_NM - 440.0))


def with_values(compiled: CompiledScene, parameters: tuple[Parameter, ...], u: np.ndarray) -> Tables:
    """The plan's tables with the parameters at u, as the scene with those values would be lowered (output apart)."""
    tables = compiled.tables._replace(
        surfaces=compiled.tables.surfaces.copy(), optics=compiled.tables.optics.copy(), sources=compiled.tables.sources.copy(),
        reflectance=compiled.tables.reflectance.copy(),
    )  # fmt: skip
    for parameter, number in zip(parameters, u, strict=True):
        value, rows = parameter.value_of(float(number)), touched(parameter, compiled)
        for i in rows.surfaces:
            if parameter.kind is Kind.BACKING:
                tables.reflectance[i] *= value / tables.reflectance[i].mean()
            else:
                tables.surfaces["film"][i] = math.sqrt(value) if parameter.kind is Kind.GROWTH else value
        if rows.medium is not None:
            tables.optics[rows.medium, 1] += (value - parameter.start) * tint_shape(parameter.slope_per_nm)
        if parameter.kind is Kind.BEAM:
            tables.sources["lens_exponent"][list(parameter.sources)] = exponent_of(value)
    return tables
