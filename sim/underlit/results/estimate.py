"""Numbers with their simulation error: means of independent batches, Student's t."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np


@lru_cache(maxsize=4096)
def _student(probability: float, dof: float) -> float:
    # scipy.stats has the same number and takes a second to import
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.5 + probability / 2))


def student_factor(dof: float, probability: float = 0.95) -> float:
    """Two-sided Student's t factor; infinite without a degree of freedom."""
    if not dof > 0:
        return math.inf
    return _student(probability, round(float(dof), 1) if dof < 200 else 1e6)


@dataclass(frozen=True)
class Estimate:
    """A value, its standard error (same unit) and the degrees of freedom of that error."""

    value: float
    standard_error: float
    dof: float

    @property
    def half_width(self) -> float:
        """Half width of the 95 % interval (Student's t)."""
        if self.standard_error == 0.0:
            return 0.0
        return student_factor(self.dof) * self.standard_error

    @property
    def relative(self) -> float:
        """Half width of the 95 % interval over the value; infinite for zero."""
        return self.half_width / self.value if self.value > 0 else math.inf


def mean_of_batches(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean and its variance over independent batches, axis 0. Returns (mean, variance of the mean, dof)."""
    n = len(values)
    if n < 2:
        mean = values.mean(axis=0) if n else np.zeros(values.shape[1:])
        return mean, np.full(mean.shape, np.inf), 0.0
    return values.mean(axis=0), values.var(axis=0, ddof=1) / n, n - 1.0


def mean_of_groups(means: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean and its variance from group means (g, ...) of unequal numbers of batches (g,).

    With batch variance s2 a group of n_g has s2/n_g, so s2 = sum n_g (m_g - m)^2 / (G - 1) over the G groups with any
    batch, and the mean has s2 / n.
    """
    used = weights > 0
    m, w = means[used], weights[used].astype(np.float64)
    total = w.sum()
    shape = (-1,) + (1,) * (means.ndim - 1)
    if len(w) < 2:
        mean = m[0] if len(w) else np.zeros(means.shape[1:])
        return mean, np.full(mean.shape, np.inf), 0.0
    mean = (m * w.reshape(shape)).sum(axis=0) / total
    spread = (w.reshape(shape) * (m - mean) ** 2).sum(axis=0) / (len(w) - 1)
    return mean, spread / total, len(w) - 1.0


def combine(parts: list[tuple[np.ndarray, np.ndarray, float]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sum of independent means: (value, standard error, dof by Welch & Satterthwaite, Biometrika 34:28, 1947)."""
    value = np.sum([p[0] for p in parts], axis=0)
    variance = np.sum([p[1] for p in parts], axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.sum([p[1] ** 2 / p[2] if p[2] > 0 else np.full_like(p[1], np.inf) for p in parts], axis=0)
        dof = np.where(below > 0, variance**2 / below, max((p[2] for p in parts), default=0.0))
    dof = np.where(np.isfinite(dof), dof, 0.0)
    return value, np.sqrt(variance), dof
