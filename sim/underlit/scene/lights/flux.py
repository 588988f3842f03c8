"""From what a scene says of the light of a fixture to its PPF, and to its beam where readings show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlit.photometry import files
from underlit.photometry.lens import Lens, from_beam_angle
from underlit.photometry.point import Head, WaterOver, irradiance_at
from underlit.photometry.readings import BeamFit, fit_beam, fit_flux
from underlit.scene.lights.channel import Channel
from underlit.scene.lights.output import USUAL_EFFICACY, Output, Reading
from underlit.spectra.grid import FloatArray
from underlit.spectra.media import OpticalConstants

LOST_OF_SCATTERED = 0.075
"""Share of the light scattered by particles that a head loses: .05 to .11 by traces through 25 to 35 cm of hazy and cloudy water
under a small board, a bar and a beam of 60 deg. The rest of it still comes down, since it is scattered forward."""


@dataclass(frozen=True)
class Flux:
    """PPF with every channel at full power [umol/s]; ``departure``: relative root mean square of the readings about it;
    ``beam``: what they show of it, None where they do not.
    """

    ppf: float
    departure: float = 0.0
    beam: BeamFit | None = None


@dataclass(frozen=True, eq=False)
class Emitters:
    """LEDs of one channel that share a lens: n of the ``of`` LEDs among which the channel's ``share`` of the light is even.

    ``lens``: None where the scene gives none; ``points`` (n, 2) [m] and ``axes`` (n, 3) in the fixture's frame.
    """

    channel: Channel
    share: float
    of: int
    lens: Lens | None
    points: FloatArray
    axes: FloatArray


def claimed_flux(output: Output, channels: Sequence[Channel]) -> Flux:
    """PPF from one of ppf, lumens or watts."""
    if output.ppf is not None:
        return Flux(output.ppf)
    if output.lumens is not None:
        total = sum(channel.share for channel in channels)
        per_umol = sum(channel.spectrum.channel.lumens_per_umol * channel.share for channel in channels) / total
        return Flux(output.lumens / per_umol)
    return Flux((output.watts or 0.0) * (output.efficacy or USUAL_EFFICACY))


def flux_from_readings(
    readings: Sequence[Reading],
    emitters: Sequence[Emitters],
    water: OpticalConstants,
    *,
    usual_beam_rad: float,
    beam_is_open: bool,
) -> Flux:
    """PPF from readings under a fixture, in air or in that water, and its beam where it is open and they can show it."""
    values, heads = _values(readings), [reading.head for reading in readings]
    if len(heads) > 1 and beam_is_open:
        beam = fit_beam(values, lambda rad: per_flux(emitters, heads, from_beam_angle(rad), water))
        if beam is not None:
            return Flux(beam.flux, beam.departure, beam)
    return _fitted(values, per_flux(emitters, heads, from_beam_angle(usual_beam_rad), water))


def flux_from_file_and_readings(
    readings: Sequence[Reading],
    measured: files.Photometry,
    water: OpticalConstants,
    turn_rad: float,
    shares: Sequence[tuple[Channel, float]],
) -> Flux:
    """PPF from readings under a fixture whose distribution of light a photometric file gives."""
    found = np.zeros(len(readings))
    for channel, share in shares:
        lit = [
            files.irradiance_at(measured, reading.head, turn_rad=turn_rad, water=_over(reading.head, channel, water))
            for reading in readings
        ]
        found += share * np.array(lit)
    return _fitted(_values(readings), found)


def _values(readings: Sequence[Reading]) -> FloatArray:
    return np.array([reading.reads for reading in readings])


def _fitted(readings: FloatArray, light_per_flux: FloatArray) -> Flux:
    fit = fit_flux(readings, light_per_flux)
    return Flux(fit.flux, fit.departure)


def per_flux(
    emitters: Sequence[Emitters], heads: Sequence[Head], otherwise: Lens, water: OpticalConstants
) -> FloatArray:
    """Irradiance per unit of the fixture's flux at each head, (k,) [1/m2].

    ``otherwise``: lens where none is given; ``water``: over a head that has water over it.
    """
    found = np.zeros(len(heads))
    for some in emitters:
        lens = otherwise if some.lens is None else some.lens
        lit = [
            irradiance_at(lens, some.points, head, axes=some.axes, water=_over(head, some.channel, water))
            for head in heads
        ]
        found += some.share * np.array(lit) * len(some.points) / some.of
    return found


def _over(head: Head, channel: Channel, water: OpticalConstants) -> WaterOver | None:
    """The water over a head for a channel's light; None for a head in air."""
    if not head.under_water_m > 0:
        return None
    photons = channel.spectrum.channel.photons
    lost = water.absorption_per_m + LOST_OF_SCATTERED * water.scattering_per_m
    return WaterOver(float(water.refractive_index @ photons), photons, lost)
