"""The jackknife: the error, and the bias, of any statistic of a trace, from leaving out each group of batches once.

With theta(g) the statistic without group g, theta. their mean, and n groups,

    variance = (n - 1) / n * sum over g of (theta(g) - theta.)^2,    corrected = n * theta - (n - 1) * theta.

Variance: J. W. Tukey, Ann. Math. Stat. 29:614, 1958; on average it is a little too large, never too small (B. Efron &
C. Stein, Ann. Stat. 9:586, 1981). Bias: M. H. Quenouille, Biometrika 43:353, 1956. The groups hold nearly equal numbers of
batches, and batches are independent. For statistics that move in steps, such as counts, the correction is left away
(B. Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982, ch. 3).
"""

from __future__ import annotations

import math

import numpy as np

from underlit.results.estimate import Estimate
from underlit.results.result import Result


def used_groups(result: Result) -> list[int]:
    """Groups that hold a batch of every source: those that can be left out."""
    fewest = min((len(counts.group_batches) for counts in result.counts), default=0)
    return [g for g in range(fewest) if all(counts.group_batches[g] > 0 for counts in result.counts)]


def jackknife_error(without: np.ndarray) -> np.ndarray:
    """Standard error (...) from the statistic without each group, (groups, ...)."""
    n = len(without)
    return np.asarray(np.sqrt((n - 1) / n * ((without - without.mean(axis=0)) ** 2).sum(axis=0)))


def jackknife(
    full: float, without: np.ndarray, *, corrected: bool = True, low: float = -math.inf, high: float = math.inf
) -> Estimate:  # fmt: skip
    """A statistic with its error; low, high: limits of what it can be.

    full: of all groups; without: of all but each one, (groups,); corrected: with its bias taken off. Infinite error with
    fewer than two groups or where the statistic cannot be told without one of them.
    """
    n = len(without)
    if n < 2 or not np.all(np.isfinite(without)):
        return Estimate(full, math.inf, 0.0)
    value = n * full - (n - 1) * without.mean() if corrected else full
    return Estimate(float(np.clip(value, low, high)), float(jackknife_error(without)), n - 1.0)
