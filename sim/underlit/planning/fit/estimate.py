"""The parameters that readings and what was believed beforehand make most likely, and how well they are then known.

Residuals: (log of the reading - log of the model) / sigma for each reading, (u - u_0) / sd for each parameter. Their
sum of squares is least at the estimate; the inverse of J^T J there is its covariance (Gauss & Newton). A reading that
the others leave no room for is set aside before the last estimate and named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from underlit.planning.fit.belief import Belief, belief
from underlit.planning.fit.light import Model, Shot
from underlit.planning.fit.parameters import Parameter
from underlit.planning.fit.readings import Reading
from underlit.planning.fit.sampling import Density, Draws, draw

READING_SD = 0.04
"""One reading by hand, relative, its place apart: the head's level, shadows, the surface's ripple; common practice, no
source (ripple alone moves the mean by ± 3 %)."""
PLACED_SD_M = 0.005
"""Along each axis: a head is held to about a centimetre; common practice, no source. What that does to a reading
follows from how steep the light is there."""
STEEPEST_PER_M = 20.0
"""Slope of the light's logarithm along an axis beyond which it is no slope but the edge of a shadow."""
MODEL_SD = 0.03
"""What a scene leaves out differs from spot to spot by about this much; an estimate (plants, hoses, how light falls on
a seam)."""
ROUNDING_PPFD = 0.3
"""Meters show whole numbers: a uniform error of ± 0.5 umol/m2/s."""
OUTLIER = 3.5
"""Standard deviations from what the other readings say beyond which a reading is set aside."""
MOST_SET_ASIDE = 0.3
"""Share of the readings that may be set aside; where more stand out, it is the scene that is wrong."""
ROBUST_FROM = 1.5
"""Huber's loss while outliers are looked for: squares up to here, then straight."""
Z95 = 1.959964
EVEN_ENOUGH = 0.4
"""Effective number of reweighted paths over that as recorded, below which the tank is traced anew."""
MOST_RETRACES = 4


@dataclass(frozen=True)
class Posterior:
    """An estimate: u, its covariance, and per reading the model [umol/m2/s], the relative error sigma and the slope of
    its logarithm by u.
    """

    u: np.ndarray
    covariance: np.ndarray
    model: np.ndarray
    sigma: np.ndarray
    slope: np.ndarray


@dataclass(frozen=True)
class Residual:
    """A reading against the model.

    before, modelled: by the scene as it was and as fitted [umol/m2/s]; departure: reading over model less 1;
    standardised: its logarithm over what it may be by chance, given the other readings; leverage: 0 to 1, how much of
    the model at this place is this reading's own doing; set_aside: not used.
    """

    reading: Reading
    before: float
    modelled: float
    departure: float
    standardised: float
    leverage: float
    set_aside: bool


@dataclass(frozen=True)
class Fitted:
    """A fit to readings.

    u, covariance: most likely values of the parameters in order, and the inverse curvature there; draws: what is
    possible, from the density, the posterior's logarithm; stretch: factor on the readings' errors because they scatter
    more than they should (1 where they do not); misfit: root mean square of the departures used, over the errors before
    that; slope: d log (model) / d u, (readings, parameters); retraced: how often the tank was traced anew; evenness: of
    the weights at the end; belief: before these readings.
    """

    parameters: tuple[Parameter, ...]
    u: np.ndarray
    covariance: np.ndarray
    residuals: tuple[Residual, ...]
    slope: np.ndarray
    stretch: float
    misfit: float
    model: Model
    shots: tuple[Shot, ...]
    retraced: int
    evenness: float
    draws: Draws
    density: Density
    belief: Belief

    @property
    def sd(self) -> np.ndarray:
        """Standard error of u, (parameters,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def prior_sd(self) -> np.ndarray:
        """Standard deviation of u before any reading, (parameters,)."""
        return self.belief.sd

    @property
    def correlation(self) -> np.ndarray:
        """(parameters, parameters)."""
        return self.covariance / np.outer(self.sd, self.sd)

    def value(self, index: int) -> float:
        """Value of a parameter in its own unit."""
        return self.parameters[index].value_of(float(self.u[index]))

    def interval(self, index: int) -> tuple[float, float]:
        """Its 95 % interval, low and high."""
        low, high = self.u_interval(index)
        ends = sorted((self.parameters[index].value_of(low), self.parameters[index].value_of(high)))
        return ends[0], ends[1]

    def u_interval(self, index: int) -> tuple[float, float]:
        """The same of u, from the draws."""
        return self.draws.interval(index)

    @property
    def set_aside(self) -> tuple[Residual, ...]:
        """The readings that were not used."""
        return tuple(r for r in self.residuals if r.set_aside)


def reading_sigma(ppfd: np.ndarray, *others: np.ndarray) -> np.ndarray:
    """Relative standard deviation of readings about the model, (n,); others: further relative errors, (n,) each."""
    squares = READING_SD**2 + MODEL_SD**2 + (ROUNDING_PPFD / ppfd) ** 2
    return np.sqrt(squares + sum(other**2 for other in others))


class UnlitError(ValueError):
    """In the model no light gets to a reading's place; the text says to which."""


@dataclass(frozen=True)
class _Read:
    """Readings as numbers, n of them: PPFD (n,), how the model sees each, relative error of the head's place (n,); and what
    is believed without them.
    """

    ppfd: np.ndarray
    shots: Sequence[Shot]
    placing: np.ndarray
    belief: Belief


def estimate(
    model: Model, readings: Sequence[Reading], shots: Sequence[Shot], placing: np.ndarray | None = None,
    *, told: Callable[[str], None] = lambda text: None,
) -> Fitted:  # fmt: skip
    """The fit of a model to readings; traces anew where the recorded paths no longer stand for the tank that was found.

    placing: (n,) relative error of each reading by the place of the head; told: called with a line about what is being
    done. Raises UnlitError.
    """
    placed = np.zeros(len(shots)) if placing is None else placing
    read = _Read(np.array([r.ppfd for r in readings]), shots, placed, belief(model.scene, model.parameters))
    u = read.belief.mean
    before = model.predict(shots, u)[0]
    for index, (reading, value) in enumerate(zip(readings, before, strict=True), 1):
        if not value > 0:
            raise UnlitError(f"reading {index} ({reading.name}): the model has no light there; check the place")
    retraced = 0
    while True:
        u, used = _without_outliers(model, read, u)
        evenness = model.evenness(shots, u)
        if evenness >= EVEN_ENOUGH or retraced == MOST_RETRACES:
            break
        retraced += 1
        told(f"the fitted tank is far from the traced one (evenness of weights {evenness:.2f}): tracing it again")
        model = model.traced_at(u)
    found = _posterior(model, read, u, used, 1.0)
    misfit, stretch = _misfit(found, read, used)
    if stretch > 1.0:
        u = _solve(model, read, u, used, stretch, robust=False)
        found = _posterior(model, read, u, used, stretch)
    density = _density(model, read, used, found.sigma)
    residuals = _residuals(found, before, readings, read, used)
    return Fitted(
        model.parameters,
        found.u,
        found.covariance,
        residuals,
        found.slope,
        stretch,
        misfit,
        model,
        tuple(shots),
        retraced,
        evenness,
        draw(density, found.u, found.covariance),
        density,
        read.belief,
    )


def _without_outliers(model: Model, read: _Read, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Estimate and which readings were used, (n,) bool: the worst outlier goes first, then all are looked at again."""
    used = np.ones(len(read.ppfd), bool)
    most = math.floor(MOST_SET_ASIDE * len(read.ppfd))
    u = _solve(model, read, u, used, robust=True)
    while True:
        found = _posterior(model, read, u, used)
        worst = int(np.argmax(np.where(used, np.abs(_standardised(found, read, used)), 0.0)))
        if (~used).sum() >= most or abs(_standardised(found, read, used)[worst]) < OUTLIER:
            break
        used[worst] = False
        u = _solve(model, read, u, used, robust=True)
    return _solve(model, read, u, used, robust=False), used


def _solve(
    model: Model,
    read: _Read,
    u: np.ndarray,
    used: np.ndarray,
    stretch: float = 1.0,
    *,
    robust: bool,
) -> np.ndarray:
    """u of the least sum of squares; robust: readings count by Huber's loss, beliefs always by their squares."""
    from scipy.optimize import least_squares

    middle, whiten = read.belief.mean, read.belief.whitening
    low, high = np.array([p.u_bounds for p in model.parameters]).T
    sigma = stretch * reading_sigma(read.ppfd, model.predict(read.shots, u)[2], read.placing)[used]

    def residuals(at: np.ndarray) -> np.ndarray:
        value = model.predict(read.shots, at)[0][used]
        return np.concatenate([(np.log(value) - np.log(read.ppfd[used])) / sigma, whiten @ (at - middle)])

    def jacobian(at: np.ndarray) -> np.ndarray:
        slope = model.predict(read.shots, at)[1][used]
        return np.concatenate([slope / sigma[:, None], whiten])

    def loss(squares: np.ndarray) -> np.ndarray:
        rho = np.stack([squares, np.ones_like(squares), np.zeros_like(squares)])
        far = np.flatnonzero(squares[: len(sigma)] > ROBUST_FROM**2)
        root = np.sqrt(squares[far])
        rho[:, far] = (2 * ROBUST_FROM * root - ROBUST_FROM**2, ROBUST_FROM / root, -0.5 * ROBUST_FROM / root**3)
        return rho

    start = np.clip(u, low + 1e-9, high - 1e-9)
    found = least_squares(
        residuals,
        start,
        jacobian,
        bounds=(low, high),
        x_scale=read.belief.sd,
        loss=loss if robust else "linear",
        xtol=1e-8,
        ftol=1e-10,
    )
    return np.asarray(found.x)


def _density(model: Model, read: _Read, used: np.ndarray, sigma: np.ndarray) -> Density:
    """The posterior with the readings' errors at sigma; nothing beyond the parameters' bounds."""
    middle, whiten = read.belief.mean, read.belief.whitening
    low, high = np.array([p.u_bounds for p in model.parameters]).T
    shots = [shot for shot, keep in zip(read.shots, used, strict=True) if keep]

    def logarithm(u: np.ndarray) -> np.ndarray:
        inside = ((u >= low) & (u <= high)).all(axis=1)
        at = np.clip(u, low, high)
        departure = (np.log(model.predict_many(shots, at)) - np.log(read.ppfd[used])) / sigma[used]
        off = (at - middle) @ whiten.T
        return np.where(inside, -0.5 * ((departure**2).sum(axis=1) + (off**2).sum(axis=1)), -np.inf)

    return logarithm


def _posterior(model: Model, read: _Read, u: np.ndarray, used: np.ndarray, stretch: float = 1.0) -> Posterior:
    """Covariance and slopes at u; used: (n,) bool; stretch: factor on the errors of readings."""
    value, slope, noise = model.predict(read.shots, u)
    sigma = stretch * reading_sigma(read.ppfd, noise, read.placing)
    rows = slope[used] / sigma[used, None]
    precision = rows.T @ rows + np.linalg.inv(read.belief.covariance)
    return Posterior(u, np.linalg.inv(precision), value, sigma, slope)


def _standardised(found: Posterior, read: _Read, used: np.ndarray) -> np.ndarray:
    """Departure of each reading from what the others say, in standard deviations, (n,).

    Of one that is used: its residual over sigma sqrt(1 - leverage) (the deleted residual, Cook & Weisberg 1982); of one
    that is not: over the error of reading and prediction together.
    """
    residual = (np.log(read.ppfd) - np.log(found.model)) / found.sigma
    leverage = _leverage(found)
    return np.asarray(residual / np.sqrt(np.where(used, np.maximum(1 - leverage, 1e-9), 1 + leverage)))


def _leverage(found: Posterior) -> np.ndarray:
    rows = found.slope / found.sigma[:, None]
    return np.asarray(np.einsum("nk,kl,nl->n", rows, found.covariance, rows))


def _misfit(found: Posterior, read: _Read, used: np.ndarray) -> tuple[float, float]:
    """Root mean square of the standardised residuals, and the factor on the errors that such a scatter asks for.

    Of n readings and k beliefs less k parameters, n degrees of freedom are left. The factor is 1 unless so much scatter
    comes by chance in less than one set of readings in twenty.
    """
    from scipy.special import chdtri

    plain = ((np.log(read.ppfd) - np.log(found.model)) / found.sigma)[used]
    beliefs = read.belief.whitening @ (found.u - read.belief.mean)
    total, freedom = float((plain**2).sum() + (beliefs**2).sum()), max(len(plain), 1)
    stretch = math.sqrt(total / freedom) if total > chdtri(freedom, 0.05) else 1.0
    return math.sqrt(float((plain**2).mean())) if len(plain) else 0.0, float(stretch)


def _residuals(
    found: Posterior, before: np.ndarray, readings: Sequence[Reading], read: _Read, used: np.ndarray
) -> tuple[Residual, ...]:
    standardised, leverage = _standardised(found, read, used), _leverage(found)
    return tuple(
        Residual(r, float(b), float(m), float(r.ppfd / m - 1), float(s), float(h), not u)
        for r, b, m, s, h, u in zip(readings, before, found.model, standardised, leverage, used, strict=True)
    )
