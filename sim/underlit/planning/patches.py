"""Dimmest tenth, evenness and share inside a band, on patches the size of a meter head.

Order statistics of noisy cells are biased: with 1 % errors of the mean and 800 small cells a perfectly even floor reads
.54 to 1.46. So they are taken on patches of 3 cm or more, corrected by the jackknife over the groups of batches
(Quenouille, Biometrika 43:353, 1956), and refused while the patches themselves are noisier than 3 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from underlit.lowering.aims import ZonePlace
from underlit.lowering.world import Grid
from underlit.results.estimate import Estimate
from underlit.results.result import Result
from underlit.transport.tally import in_outline

PATCH = 0.03
"""Side of a patch [m]: a meter head."""
NOISIEST = 0.03
"""Largest typical relative standard error of a patch for which order statistics are given."""
_LEAST_OPEN = 0.5
_FEWEST = 4


@dataclass(frozen=True)
class Patches:
    """PPFD on the patches of a zone, for all groups and with each group left out: (n,), (groups, n); weights (n,)."""

    values: np.ndarray
    without: np.ndarray
    weights: np.ndarray

    @property
    def noise(self) -> float:
        """Typical (median) relative standard error of a patch."""
        n = len(self.without)
        if n < 2 or len(self.values) == 0:
            return float("inf")
        spread = np.sqrt((n - 1) / n * ((self.without - self.without.mean(axis=0)) ** 2).sum(axis=0))
        with np.errstate(divide="ignore", invalid="ignore"):
            relative = np.where(self.values > 0, spread / self.values, np.inf)
        return float(np.median(relative))


@dataclass(frozen=True)
class Spread:
    """How light is spread over a zone; every entry None while patches are too noisy or too few."""

    patch_noise: float
    dimmest_tenth: Estimate | None = None
    evenness: Estimate | None = None
    share_in_band: Estimate | None = None


def zone_patches(result: Result, place: ZonePlace) -> Patches | None:
    """Patches of a zone on the bed or at a height; None for zones on faces."""
    if place.outline is None:
        return None
    if place.z is None:
        return _patches(result, "map", result.plan.bed_map, 0, place.outline)
    grid = result.plan.planes
    if grid is None:
        return None
    level = int(np.clip(round((place.z - grid.origin[2]) / grid.spacing[2]), 0, grid.shape[2] - 1))
    return _patches(result, "planes", grid, level, place.outline)


def _patches(result: Result, name: str, grid: Grid | None, level: int, outline: np.ndarray) -> Patches | None:
    if grid is None:
        return None
    nx, ny, _ = grid.shape
    start = result.cells(name).start + level * nx * ny
    cells = slice(start, start + nx * ny)
    mx = max(1, int(np.ceil(PATCH / grid.spacing[0] - 1e-6)))
    my = max(1, int(np.ceil(PATCH / grid.spacing[1] - 1e-6)))
    # patches are laid from the zone's own corner, so that small zones hold as many as fit
    x0 = int(np.clip((outline[:, 0].min() - grid.origin[0]) / grid.spacing[0] + 0.5, 0, nx - 1))
    y0 = int(np.clip((outline[:, 1].min() - grid.origin[1]) / grid.spacing[1] + 0.5, 0, ny - 1))

    def pool(values: np.ndarray) -> np.ndarray:
        block = values.reshape(ny, nx)[y0:, x0:]
        py, px = block.shape[0] // my, block.shape[1] // mx
        return block[: py * my, : px * mx].reshape(py, my, px, mx).sum(axis=(1, 3))

    area = pool(grid.open_area[level])
    if area.size == 0:
        return None
    py, px = area.shape
    cx = grid.origin[0] + (x0 + (np.arange(px) + 0.5) * mx) * grid.spacing[0]
    cy = grid.origin[1] + (y0 + (np.arange(py) + 0.5) * my) * grid.spacing[1]
    test = in_outline.py_func
    inside = np.array([[test(x, y, outline, 0, len(outline)) for x in cx] for y in cy])
    keep = inside & (area > _LEAST_OPEN * mx * my * grid.spacing[0] * grid.spacing[1])
    if keep.sum() < _FEWEST:
        return None
    used = [g for g in range(32) if all(c.group_batches[g] > 0 for c in result.counts)]
    without = [pool(result.without_group(cells, g))[keep] / area[keep] for g in used]
    values = pool(result.without_group(cells, None))[keep] / area[keep]
    return Patches(values, np.array(without).reshape(len(used), -1), area[keep])


def lowest_share_mean(values: np.ndarray, weights: np.ndarray, share: float = 0.1) -> float:
    """Mean of the dimmest share of the area: values (n,), weights (n,) areas."""
    order = np.argsort(values)
    w = weights[order] / weights.sum()
    below = np.minimum(np.cumsum(w), share)
    part = np.diff(np.concatenate([[0.0], below]))
    return float((values[order] * part).sum() / part.sum())


def _jackknife(full: float, without: np.ndarray, low: float, high: float, correct: bool = True) -> Estimate:
    n = len(without)
    corrected = n * full - (n - 1) * without.mean() if correct else full
    error = np.sqrt((n - 1) / n * ((without - without.mean()) ** 2).sum())
    return Estimate(float(np.clip(corrected, low, high)), float(error), n - 1.0)


def spread(patches: Patches | None, band: tuple[float, float] | None) -> Spread:
    """Order statistics of a zone."""
    if patches is None:
        return Spread(float("nan"))
    noise = patches.noise
    if not noise <= NOISIEST:
        return Spread(noise)
    w = patches.weights

    def dimmest(values: np.ndarray) -> float:
        return lowest_share_mean(values, w)

    def evenness(values: np.ndarray) -> float:
        mean = float((values * w).sum() / w.sum())
        return float(values.min()) / mean if mean > 0 else 0.0

    def inside(values: np.ndarray) -> float:
        assert band is not None
        return float(w[(values >= band[0]) & (values <= band[1])].sum() / w.sum())

    def estimate(statistic, low: float, high: float, correct: bool = True) -> Estimate:  # type: ignore[no-untyped-def]
        without = np.array([statistic(v) for v in patches.without])
        return _jackknife(statistic(patches.values), without, low, high, correct)

    return Spread(
        noise,
        estimate(dimmest, 0.0, np.inf),
        estimate(evenness, 0.0, 1.0),
        # A count of patches moves in steps: the jackknife's correction would throw it about (Efron 1982, ch. 3).
        None if band is None else estimate(inside, 0.0, 1.0, correct=False),
    )
