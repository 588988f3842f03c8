"""From readings of a meter to the flux of a fixture, and to its beam where readings at different places show it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from underlit.spectra.grid import FloatArray

NARROWEST_BEAM_RAD, WIDEST_BEAM_RAD = math.radians(20.0), math.radians(150.0)
METER_ERROR = 0.05
"""Relative error of one reading against another with the same meter; common practice, no source."""
_COARSE_STEPS = 53
_HOPELESS = 1e6
"""Stands for an infinite misfit, where a beam sends nothing to a head that read some."""


@dataclass(frozen=True)
class FluxFit:
    """Flux that fits best, and the root mean square of the readings' relative departures from it."""

    flux: float
    departure: float


@dataclass(frozen=True)
class BeamFit:
    """Beam angle (full width at half maximum) and flux that fit best; ``departure`` as in `FluxFit`.

    ``low_rad`` to ``high_rad``: beams that the readings allow, for meter errors of `METER_ERROR`.
    """

    beam_rad: float
    flux: float
    departure: float
    low_rad: float
    high_rad: float


def fit_flux(readings: FloatArray, per_flux: FloatArray) -> FluxFit:
    """Flux from readings (k,) and what one unit of flux would give at each place (k,).

    Least squares in the logarithm, since the error of a meter is a share of its reading: the geometric mean of k answers.
    The flux is infinite where no light would reach a head that read some.
    """
    if not (per_flux > 0).all():
        return FluxFit(math.inf, math.inf)
    answers = np.log(readings / per_flux)
    return FluxFit(float(np.exp(answers.mean())), float(answers.std()))


def fit_beam(readings: FloatArray, per_flux_of: Callable[[float], FloatArray]) -> BeamFit | None:
    """Beam and flux from readings (k,) at different places; None where they cannot show the beam.

    ``per_flux_of``: beam [rad] to what one unit of flux gives at each place, (k,). They can show it where the beams that
    fit within twice the meter's error cover at most half of the range.
    """
    from scipy.optimize import minimize_scalar

    def misfit(beam: float) -> float:
        return min(fit_flux(readings, per_flux_of(beam)).departure, _HOPELESS)

    beams = np.linspace(NARROWEST_BEAM_RAD, WIDEST_BEAM_RAD, _COARSE_STEPS)
    tried = np.array([misfit(float(beam)) for beam in beams])
    best = int(np.argmin(tried))
    around = beams[max(best - 1, 0)], beams[min(best + 1, len(beams) - 1)]
    found = minimize_scalar(misfit, bounds=around, method="bounded", options={"xatol": 1e-5})
    beam = float(found.x) if found.fun < tried[best] else float(beams[best])
    # A misfit that grows by (2 sigma)^2 in the sum of squares: 95 % for one unknown.
    limit = math.sqrt(misfit(beam) ** 2 + (2 * METER_ERROR) ** 2 / len(readings))
    low = _crossing(misfit, limit, beam, [float(b) for b in beams[beams < beam][::-1]])
    high = _crossing(misfit, limit, beam, [float(b) for b in beams[beams > beam]])
    if high - low > (WIDEST_BEAM_RAD - NARROWEST_BEAM_RAD) / 2:
        return None
    fit = fit_flux(readings, per_flux_of(beam))
    return BeamFit(beam, fit.flux, fit.departure, low, high)


def _crossing(misfit: Callable[[float], float], limit: float, start: float, steps: list[float]) -> float:
    """Where the misfit first passes the limit on the way from the start along the steps; the last step if nowhere."""
    from scipy.optimize import brentq

    inside = start
    for step in steps:
        if misfit(step) > limit:
            return float(brentq(lambda beam: misfit(beam) - limit, inside, step, xtol=1e-4))
        inside = step
    return inside
