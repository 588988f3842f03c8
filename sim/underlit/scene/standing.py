"""What of the readings still counts: values that the scene says as they were measured."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from underlit.photometry.lens import Lens, LensKind
from underlit.scene.lights.fixture import Fixture
from underlit.scene.measured import Kind, MeasuredParameter
from underlit.scene.model import Scene

AS_MEASURED = 1e-3
"""Relative departure up to which a value is the one that was measured: files round it."""


@dataclass(frozen=True)
class Standing:
    """What still stands of what was measured: parameters that the scene has as measured, and the covariance of their u."""

    parameters: tuple[MeasuredParameter, ...]
    covariance: np.ndarray

    def of(self, what: Kind, name: str = "") -> MeasuredParameter | None:
        """The parameter of a kind, and of a fixture or pane where it is of one; None where nothing stands."""
        return next((p for p in self.parameters if p.what is what and (not p.of or name in p.of)), None)


def standing(scene: Scene) -> Standing:
    """What counts as measured in a scene's own tank."""
    measured = scene.measured
    if measured is None:
        return Standing((), np.zeros((0, 0)))
    kept = [k for k, parameter in enumerate(measured.parameters) if _stands(scene, parameter)]
    sd = np.array([measured.parameters[k].sd for k in kept])
    covariance = measured.matrix[np.ix_(kept, kept)] * np.outer(sd, sd) if kept else np.zeros((0, 0))
    return Standing(tuple(measured.parameters[k] for k in kept), covariance)


def measured_notes(scene: Scene) -> Iterator[str]:
    """A line for each parameter that no longer counts as measured."""
    for parameter in () if scene.measured is None else scene.measured.parameters:
        if not _stands(scene, parameter):
            now = value_in(scene, parameter.what, parameter.of)
            said = "the scene has none any more" if now is None else f"the scene now says {now:.4g}"
            yield f"{parameter.name} was measured as {parameter.value:.4g}, but {said}: it does not count as measured"


def _stands(scene: Scene, parameter: MeasuredParameter) -> bool:
    now = value_in(scene, parameter.what, parameter.of)
    return now is not None and math.isclose(now, parameter.value, rel_tol=AS_MEASURED)


# -- what a scene says of a kind -----------------------------------------------------------------------------------
def value_in(scene: Scene, what: Kind, of: tuple[str, ...] = ()) -> float | None:
    """What a scene says: claimed PPF [umol/s], beam angle [deg], absorption at 440 nm [1/m], or a share.

    of: names of fixtures or panes. None where the scene has no such thing, or several of them differ.
    """
    if what is Kind.LID:
        return None if scene.lid is None else scene.lid.dirt
    if what is Kind.TINT:
        return scene.water.tannin.absorption_440_per_m
    if what is Kind.GROWTH:
        return _common([scene.returned_per_reflection(side) for side in of])
    if what is Kind.BACKING:
        return _common([backing_level(scene, side) for side in of])
    own = [fixture for fixture in scene.fixtures if fixture.name in of]
    return _common([fixture.claimed_ppf if what is Kind.OUTPUT else _beam_deg(fixture) for fixture in own])


def _common(values: list[float] | list[float | None]) -> float | None:
    """The one value of several; None where there is none or they differ."""
    return values[0] if len(set(values)) == 1 else None


def backing_level(scene: Scene, side: str) -> float:
    """Mean reflectance of what is behind a pane; 0 for open air."""
    found = scene.tank.walls[side].backing_reflectance()
    return 0.0 if found is None else float(found.mean())


def own_lens(fixture: Fixture) -> Lens | None:
    """The lens of a fixture's LEDs that have none of their own, where that is a beam angle; a file or table is taken at
    its word.
    """
    if fixture.photometric_file is not None:
        return None
    plain = next((channel for channel in fixture.channels if channel.lens is None), None)
    lens = None if plain is None else fixture.lens_shape(plain).lens
    return lens if lens is not None and lens.kind is LensKind.COSINE_POWER else None


def _beam_deg(fixture: Fixture) -> float | None:
    lens = own_lens(fixture)
    return None if lens is None else beam_deg_of(lens.exponent)


def exponent_of(beam_deg: float) -> float:
    """Exponent m of cos^m for a beam angle [deg], full width at half maximum."""
    return math.log(0.5) / math.log(math.cos(math.radians(beam_deg) / 2))


def beam_deg_of(exponent: float) -> float:
    """Beam angle [deg] of cos^m."""
    return 2 * math.degrees(math.acos(0.5 ** (1 / exponent)))
