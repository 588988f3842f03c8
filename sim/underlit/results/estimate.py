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


FEW = 0.2
"""A mean with a 95 % half width over this share of it rests on few hits (fewer than about a hundred)."""
FEWEST_HITS = 4.0
"""With fewer effective hits than these nothing but an upper bound is told."""
NO_HIT = 3.0
"""Events that may be behind a count of none: exp(-3) = 5 % (rule of three, Hanley & Lippman-Hand, JAMA 249:1743, 1983)."""


def few_hits(value: np.ndarray, error: np.ndarray, factor: float, packet: np.ndarray) -> np.ndarray:
    """Which means rest on few hits: of counts (packet > 0), without any light yet or with a wide error."""
    with np.errstate(invalid="ignore"):
        return np.asarray((packet > 0) & np.isfinite(error) & ((value <= 0) | (factor * error > FEW * value)))


def limits_95(value: np.ndarray, error: np.ndarray, factor: float, packet: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the 95 % interval of means (docs/decisions/few-hits.md).

    value, error: mean and standard error; factor: Student's; packet: what one more packet would add to the mean, 0 for what is
    no mean of counts. Many hits: value -+ factor x error. Few hits: the variance goes as the mean, w per unit of it, and the
    ends are the means from which the value is factor standard errors away: m^2 - (2 value + factor^2 w) m + value^2 = 0 (E. B.
    Wilson, J. Am. Stat. Assoc. 22:209, 1927). w is variance / value below; above it is taken with one whole packet more among
    the hits, for a heavy one may not have come yet (as M. P. Fay & E. J. Feuer do, Stat. Med. 16:791, 1997).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = np.where(error > 0, factor * error, 0.0)
        few = few_hits(value, error, factor, packet)
        variance = error**2
        below = factor**2 / 2 * np.where(value > 0, variance / value, 0.0)
        above = factor**2 / 2 * (variance + packet**2) / (value + packet)
        low = value + below - np.sqrt(below**2 + 2 * below * value)
        low = np.where(value**2 < FEWEST_HITS * variance, 0.0, low)
        high = np.where(value > 0, value + above + np.sqrt(above**2 + 2 * above * value), NO_HIT * packet)
        return np.where(few, low, value - wide), np.where(few, high, value + wide)


@dataclass(frozen=True)
class Estimate:
    """A value, its standard error (same unit) and the degrees of freedom of that error.

    packet: what one more packet of light would have added to the value (same unit); 0 for what is no mean of counts. With it
    the interval of a value that rests on few hits is a Poisson-like one, and one that no packet reached has an upper bound.
    """

    value: float
    standard_error: float
    dof: float
    packet: float = 0.0

    @property
    def few(self) -> bool:
        """Whether the value rests on few hits: its interval is lopsided, and it counts as known only where it is dark."""
        return self.packet > 0 and bool(few_hits(*self._asked))

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return float(limits_95(*self._asked)[0]) if self.few else self.value - self.half_width

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return float(limits_95(*self._asked)[1]) if self.few else self.value + self.half_width

    @property
    def half_width(self) -> float:
        """Half width of the 95 % interval (Student's t); of a lopsided one the wider side."""
        if self.few:
            return max(self.high - self.value, self.value - self.low)
        return self._factor * self.standard_error if self.standard_error != 0.0 else 0.0

    @property
    def sigma(self) -> float:
        """Standard error; of a value that rests on few hits as wide as its interval asks for."""
        return self.half_width / student_factor(math.inf) if self.few else self.standard_error

    @property
    def relative(self) -> float:
        """Half width of the 95 % interval over the value; infinite for zero."""
        return self.half_width / self.value if self.value > 0 else math.inf

    def times(self, factor: float) -> Estimate:
        """The estimate of so many times the value."""
        return Estimate(factor * self.value, factor * self.standard_error, self.dof, factor * self.packet)

    @property
    def _factor(self) -> float:
        return student_factor(self.dof)

    @property
    def _asked(self) -> tuple[np.ndarray, np.ndarray, float, np.ndarray]:
        value, error, packet = np.array([self.value, self.standard_error, self.packet])
        return value, error, self._factor, packet


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


def estimates(
    value: np.ndarray, error: np.ndarray, dof: np.ndarray, packet: np.ndarray | float = 0.0
) -> list[Estimate]:
    """Estimates from arrays of one length; packet: see `Estimate`."""
    columns = np.broadcast_arrays(value, error, dof, packet)
    return [Estimate(*map(float, row)) for row in zip(*columns, strict=True)]
