"""What readings leave possible, by draws: intervals that hold where the curvature at the estimate does not tell the
whole.

A lid that may as well be clean leaves the logarithm of its optical depth open on one side; a bell curve about the
estimate would shut it. So the posterior is drawn from: importance sampling from a t distribution, which is moved to
what the draws show, round by round (Cappe, Guillin, Marin & Robert, J. Comput. Graph. Stat. 13:907, 2004).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

TRIAL, DRAWS = 800, 4000
"""Draws of a round that only shows where to draw from, and of the last one."""
MOST_ROUNDS = 6
ENOUGH = 0.2
"""Effective share of a round's draws at which the rounds end: the 2.5 % points of the last one are then known to about
a fifth of a standard error, on the long side of a lopsided density too."""
TAIL_DOF = 6.0
WIDER = 1.3
"""Factor on the variance drawn from: too wide costs draws, too narrow hides what is possible."""
SEED = 20
"""Of the draws: the same readings give the same intervals."""

Density = Callable[[np.ndarray], np.ndarray]
"""Logarithm of the posterior, up to a constant, of parameters (draws, parameters) -> (draws,)."""


@dataclass(frozen=True)
class Draws:
    """Draws of the parameters u, (n, parameters), and what each stands for, (n,), adding to 1."""

    u: np.ndarray
    weight: np.ndarray

    @property
    def effective(self) -> float:
        """Number of equal draws that would tell as much."""
        return float(1.0 / (self.weight**2).sum())

    def interval(self, index: int, probability: float = 0.95) -> tuple[float, float]:
        """Between which values of u a parameter lies with a probability, as much being left out on either side."""
        order = np.argsort(self.u[:, index])
        reached = np.cumsum(self.weight[order]) - self.weight[order] / 2
        ends = np.interp([(1 - probability) / 2, (1 + probability) / 2], reached, self.u[order, index])
        return float(ends[0]), float(ends[1])


def draw(density: Density, mean: np.ndarray, covariance: np.ndarray) -> Draws:
    """Draws from a density, begun at a mean and a covariance of u."""
    rng = np.random.default_rng(SEED)
    for _ in range(MOST_ROUNDS):
        draws = _weighted(density, rng, mean, WIDER * covariance, TRIAL)
        if draws.effective >= ENOUGH * TRIAL:
            break
        mean = draws.weight @ draws.u
        off = draws.u - mean
        # a few heavy draws must not shrink what is drawn from to a point
        covariance = 0.7 * (off * draws.weight[:, None]).T @ off + 0.3 * covariance
    return _weighted(density, rng, mean, WIDER * covariance, DRAWS)


def _weighted(
    density: Density, rng: np.random.Generator, mean: np.ndarray, covariance: np.ndarray, count: int
) -> Draws:
    """Draws from a t distribution, each weighed by how much likelier it is than it was drawn."""
    k = len(mean)
    root = np.linalg.cholesky(covariance)
    normal = rng.standard_normal((count, k))
    stretched = normal / np.sqrt(rng.chisquare(TAIL_DOF, count) / TAIL_DOF)[:, None]
    drawn_from = -0.5 * (TAIL_DOF + k) * np.log1p((stretched**2).sum(axis=1) / TAIL_DOF)
    u = mean + stretched @ root.T
    likelier = density(u) - drawn_from
    weight = np.exp(likelier - likelier.max())
    return Draws(u, weight / weight.sum())
