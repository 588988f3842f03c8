"""From what is said of a fixture's light to its PPF, and to its beam where readings tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from underlit.photometry import BeamFit, files, fit_beam, fit_flux, from_beam_angle, irradiance_at
from underlit.photometry.lens import Lens
from underlit.photometry.point import Head, WaterOver
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.lens import LensShape
from underlit.scene.lights.output import USUAL_EFFICACY, Output
from underlit.scene.tank.tank import TANNIN_A440_PER_M
from underlit.spectra.grid import FloatArray
from underlit.spectra.media import optical_constants

if TYPE_CHECKING:
    from underlit.scene.lights.fixture import Fixture


@dataclass(frozen=True)
class Flux:
    """PPF with every channel at full [umol/s]; ``departure``: relative root mean square of readings about it; ``beam``:
    what they told of it, None where they did not.
    """

    ppf: float
    departure: float = 0.0
    beam: BeamFit | None = None


def claimed_flux(output: Output, channels: Sequence[Channel], fixture: Fixture | None = None) -> Flux:
    """PPF from one of ppf, watts, lumens or readings; the last need the ``fixture`` for its LEDs or file."""
    if output.ppf is not None:
        return Flux(output.ppf)
    if output.lumens is not None:
        total = sum(channel.share for channel in channels)
        per_umol = sum(channel.spectrum.channel.lumens_per_umol * channel.share for channel in channels) / total
        return Flux(output.lumens / per_umol)
    if output.readings and fixture is not None:
        return _from_readings(fixture)
    return Flux((output.watts or 0.0) * (output.efficacy or USUAL_EFFICACY))


def _from_readings(fixture: Fixture) -> Flux:
    readings = np.array([reading.reads for reading in fixture.output.readings])
    heads = [reading.head for reading in fixture.output.readings]
    if fixture.photometric_file is not None:
        return _fitted(readings, _per_flux_of_file(fixture, heads))
    if len(heads) > 1 and fixture.leaves_lens_open and not any(channel.lens for channel in fixture.channels):
        beam = fit_beam(readings, lambda rad: per_flux(fixture, heads, from_beam_angle(rad)))
        if beam is not None:
            return Flux(beam.flux, beam.departure, beam)
    return _fitted(readings, per_flux(fixture, heads, from_beam_angle(fixture.preset.beam_rad)))


def _fitted(readings: FloatArray, light_per_flux: FloatArray) -> Flux:
    fit = fit_flux(readings, light_per_flux)
    return Flux(fit.flux, fit.departure)


def per_flux(fixture: Fixture, heads: Sequence[Head], otherwise: Lens) -> FloatArray:
    """Irradiance per unit of the fixture's flux at each head, (k,) [1/m2]; ``otherwise``: lens where none is stated."""
    board, found = fixture.board, np.zeros(len(heads))
    for channel, share in zip(fixture.channels, fixture.shares, strict=True):
        stated = channel.lens or fixture.lens
        at = np.nonzero(fixture.leds_of(channel))[0]
        by_lens: dict[LensShape | None, list[int]] = {}
        for i in at:
            by_lens.setdefault(board.lens[i] or stated, []).append(int(i))
        for shape, some in by_lens.items():
            lens = otherwise if shape is None else shape.lens
            points, axes = board.points[some], board.axis[some]
            lit = [irradiance_at(lens, points, head, axes=axes, water=_water(head, channel)) for head in heads]
            found += share * np.array(lit) * len(some) / len(at)
    return found


def _per_flux_of_file(fixture: Fixture, heads: Sequence[Head]) -> FloatArray:
    measured, found = fixture.photometry, np.zeros(len(heads))
    if measured is None:
        return found
    for channel, share in zip(fixture.channels, fixture.shares, strict=True):
        turn = fixture.photometric_turn
        lit = [files.irradiance_at(measured, head, turn_rad=turn, water=_water(head, channel)) for head in heads]
        found += share * np.array(lit)
    return found


def _water(head: Head, channel: Channel) -> WaterOver | None:
    """Ordinary aquarium water over a head, for a channel's light; None for a head in air."""
    if not head.under_water_m > 0:
        return None
    index, absorption = ordinary_water()
    photons = channel.spectrum.channel.photons
    return WaterOver(float(index @ photons), photons, absorption)


@cache
def ordinary_water() -> tuple[FloatArray, FloatArray]:
    """Index (60,) and absorption (60,) [1/m] of water as a scene has it that says nothing of it."""
    constants = optical_constants("water", tannin_a440_per_m=TANNIN_A440_PER_M["ordinary"])
    return constants.refractive_index, constants.absorption_per_m
