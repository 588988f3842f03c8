"""Draws of a posterior against densities whose quantiles are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import gamma, norm

from underlit.planning.fit.sampling import DRAWS, ENOUGH, draw

LOW, HIGH = 0.025, 0.975


def test_a_normal_density_gives_normal_quantiles() -> None:
    covariance = np.array([[0.04, 0.03], [0.03, 0.09]])
    precision = np.linalg.inv(covariance)
    mean = np.array([0.3, -1.0])
    draws = draw(lambda u: -0.5 * np.einsum("nk,kl,nl->n", u - mean, precision, u - mean), mean, covariance)
    assert draws.effective > ENOUGH * DRAWS
    for k, sd in enumerate((0.2, 0.3)):
        found = draws.interval(k)
        wanted = norm.ppf([LOW, HIGH], mean[k], sd)
        np.testing.assert_allclose(found, wanted, atol=0.2 * sd)


def test_a_lopsided_density_is_not_taken_for_a_bell() -> None:
    """u = log of a gamma variable, begun at its mode with its curvature: the long side is to the left."""
    shape = 1.5
    draws = draw(lambda u: (shape * u - np.exp(u))[:, 0], np.array([np.log(shape)]), np.array([[1 / shape]]))
    low, high = draws.interval(0)
    sd = shape**-0.5
    assert low == pytest.approx(np.log(gamma.ppf(LOW, shape)), abs=0.2 * sd)
    assert high == pytest.approx(np.log(gamma.ppf(HIGH, shape)), abs=0.2 * sd)
    assert np.log(shape) - low > 1.3 * (high - np.log(shape))


def test_it_finds_what_it_was_not_begun_at() -> None:
    """Begun two standard errors aside and too narrow."""
    draws = draw(lambda u: -0.5 * (u[:, 0] / 0.5) ** 2, np.array([1.0]), np.array([[0.05]]))
    np.testing.assert_allclose(draws.interval(0), (-0.98, 0.98), atol=0.1)


def test_the_same_draws_every_time() -> None:
    def density(u: np.ndarray) -> np.ndarray:
        return -0.5 * (u**2).sum(axis=1)

    first, second = (draw(density, np.zeros(2), np.eye(2)) for _ in range(2))
    assert np.array_equal(first.u, second.u)
    assert np.array_equal(first.weight, second.weight)
