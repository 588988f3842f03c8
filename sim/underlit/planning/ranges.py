"""How far the light of a real tank may differ from that computed: the tank error, place by place.

A scene leaves values open; each may be anywhere in its range (`scene.assumptions`). A trace says how the light on every zone,
spot, planting and patch of the bed answers to each of them (`results.responses`). Here `DRAWS` tanks are drawn from the
ranges, and the light of each is reckoned from those answers: no trace. Their spread is the range (JCGM 101:2008,
propagation of distributions), lopsided where the answer is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from underlit.lowering.compiled import Grid
from underlit.lowering.records import Part
from underlit.lowering.responses import patch_numbers
from underlit.lowering.scene import Lowered
from underlit.results.responses import Responses
from underlit.results.result import Result
from underlit.scene import Band
from underlit.scene.assumptions.lever import Lever, Moves
from underlit.scene.assumptions.measured import measured_correlation
from underlit.scene.assumptions.scene import levers_of
from underlit.scene.standing import exponent_of

DRAWS = 2000
PATCH_DRAWS = 8
"""Of the drawn tanks one in so many is enough for a patch of the bed."""
COVERED = 0.95
"""Share of the drawn tanks that lie in a range."""
NAMED = 3
"""So many assumptions are named, those that move a place most."""
FAINTEST = 1e-12
HALF_WIDTH = 1.96
"""Of 95 % of a normal, in standard deviations."""


@dataclass(frozen=True)
class Effect:
    """What one assumption does to a place at the two ends of its range, the others as assumed: factors on its light.

    key: of the assumption; tag: of its lever.
    """

    name: str
    low: float
    high: float
    key: str = ""
    tag: str = ""

    @property
    def size(self) -> float:
        """How far it moves the light, the larger of both ways."""
        return max(abs(self.low - 1), abs(self.high - 1))


@dataclass(frozen=True)
class TankRange:
    """The light of drawn tanks over that computed: ratios (DRAWS,), sorted; and what moves it, the strongest first."""

    ratios: np.ndarray
    effects: tuple[Effect, ...] = ()

    @property
    def low(self) -> float:
        """Factor at the low end of the 95 % range."""
        return float(np.quantile(self.ratios, (1 - COVERED) / 2))

    @property
    def high(self) -> float:
        """Factor at its high end."""
        return float(np.quantile(self.ratios, (1 + COVERED) / 2))

    @property
    def standard(self) -> float:
        """Relative standard uncertainty: root mean square departure from the light computed."""
        return float(np.sqrt(((self.ratios - 1) ** 2).mean()))

    @property
    def named(self) -> tuple[Effect, ...]:
        """The assumptions that move it most."""
        return self.effects[:NAMED]

    def chances(self, value: float, standard_error: float, low: float, high: float) -> tuple[float, float, float]:
        """Probabilities that the true light lies below, inside and above low to high; value with its simulation error."""
        light = value * self.ratios
        if standard_error > 0:
            from scipy.special import ndtr

            below = float(ndtr((low - light) / standard_error).mean())
            above = float(ndtr((light - high) / standard_error).mean())
        else:
            below, above = float((light < low).mean()), float((light > high).mean())
        return below, max(0.0, 1.0 - below - above), above


def alike_everywhere(uncertainty: float) -> TankRange:
    """The range where nothing is known of a place: normal with a relative standard uncertainty."""
    from scipy.special import ndtri

    return TankRange(np.maximum(1 + uncertainty * ndtri((np.arange(DRAWS) + 0.5) / DRAWS), 0.0))


def between(low: float, high: float) -> TankRange:
    """The range with these ends, factors on the light computed, log-normal between: where no more is known of it."""
    from scipy.special import ndtri

    middle, spread = math.log(low * high) / 2, math.log(high / low) / (2 * HALF_WIDTH)
    return TankRange(np.exp(middle + spread * ndtri((np.arange(DRAWS) + 0.5) / DRAWS)))


def chances_inside(
    value: np.ndarray, error: np.ndarray, factors: tuple[np.ndarray, np.ndarray], band: Band
) -> np.ndarray:
    """Probability that the true light lies in a band, for many places at once (n,): log-normal over each range.

    value, error: PPFD and its standard simulation error [umol/m2/s]; factors: low and high end of each range.
    """
    from scipy.special import ndtr

    low, high = (np.log(np.maximum(f, FAINTEST)) for f in factors)
    safe = np.maximum(value, FAINTEST)
    spread = np.hypot((high - low) / (2 * HALF_WIDTH), error / safe)
    middle, spread = np.log(safe) + (low + high) / 2, np.maximum(spread, FAINTEST)
    ends = [np.log(max(end, FAINTEST)) for end in (band.low, band.high)]
    return np.asarray(ndtr((ends[1] - middle) / spread) - ndtr((ends[0] - middle) / spread))


def both_errors(value: float, half_width: float, tank: tuple[float, float]) -> tuple[float, float]:
    """Between which values a careful reading should lie (95 %): both errors, each way added in squares [umol/m2/s].

    value, half_width: PPFD with its simulation error; tank: low and high factor of the range.
    """
    low, high = (math.hypot(half_width, value * (factor - 1)) for factor in tank)
    return max(value - low, 0.0), value + high


class TankRanges:
    """Ranges of everything in the tank that a result is seen from, at the result's dimming."""

    def __init__(self, lowered: Lowered, result: Result) -> None:
        self._lowered, self._result = lowered, result

    def zone(self, index: int) -> TankRange:
        """Of a zone, by its number among those of the result."""
        return self._point(index)

    def spot(self, index: int) -> TankRange:
        """Of a meter head, by its number among those of the result."""
        return self._point(len(self._result.compiled.zones) + index)

    def planting(self, part: Part) -> TankRange:
        """Of the light on the leaves of a planting."""
        if self._answers is None or part.whole not in self._answers.responses.plantings:
            return self.anywhere
        return self._answers.ranges([self._answers.responses.of_planting(part)])[0]

    def bed(self, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
        """Low and high factor of each cell of the map of the bed, both (ny, nx)."""
        number = patch_numbers(grid)
        if self._answers is None:
            flat = self.anywhere
            return np.full(number.shape, flat.low), np.full(number.shape, flat.high)
        low, high = self._answers.of_patches(grid)
        return low[number], high[number]

    def at(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Low and high factor on the bed at points of the plan [m], both like x."""
        grid = self._result.compiled.bed_map
        if grid is None:
            return np.full(np.shape(x), self.anywhere.low), np.full(np.shape(x), self.anywhere.high)
        low, high = self.bed(grid)
        (nx, ny, _), (dx, dy, _) = grid.shape, grid.spacing
        i = np.clip(np.floor((np.asarray(y) - grid.origin[1]) / dy).astype(int), 0, ny - 1)
        j = np.clip(np.floor((np.asarray(x) - grid.origin[0]) / dx).astype(int), 0, nx - 1)
        return low[i, j], high[i, j]

    def over(self, outline: np.ndarray) -> TankRange:
        """Of the mean over the bed inside an outline of the plan, (k, 2) [m]."""
        grid = self._result.compiled.bed_map
        if self._answers is None or grid is None:
            return self.anywhere
        import shapely

        (nx, ny, _), (dx, dy, _), (x0, y0, _) = grid.shape, grid.spacing, grid.origin
        x, y = np.meshgrid(x0 + (np.arange(nx) + 0.5) * dx, y0 + (np.arange(ny) + 0.5) * dy)
        inside = shapely.contains_xy(shapely.make_valid(shapely.Polygon(outline)).buffer(max(dx, dy)), x, y)
        patches = np.unique(patch_numbers(grid)[inside])
        if len(patches) == 0:
            return self.anywhere
        return self._answers.together(self._answers.responses.first_patch[grid.tank] + patches)

    @cached_property
    def anywhere(self) -> TankRange:
        """Where the trace did not ask how the light answers."""
        return alike_everywhere(self._lowered.tank_uncertainty)

    def _point(self, index: int) -> TankRange:
        if self._answers is None:
            return self.anywhere
        return self._answers.ranges([int(self._answers.responses.points[index])])[0]

    @cached_property
    def _answers(self) -> _Answers | None:
        responses = self._result.responses
        if responses is None:
            return None
        ppf = np.array([self._result.source_ppf(i) for i in range(len(self._result.counts))])
        # the ranges of one light do not depend on how it is dimmed
        levels = tuple(ppf / ppf.max()) if ppf.max(initial=0.0) > 0 else tuple(ppf)
        scene = self._lowered.rack[0].scene
        known = responses.remembered.get("levers")
        if known is None or known[0] is not scene:
            known = responses.remembered["levers"] = scene, tuple(levers_of(scene))
        levers = known[1]
        key = (self._lowered.tank, levels, levers)
        if key not in responses.remembered:
            scene = self._lowered.rack[0].scene
            responses.remembered[key] = _Answers(
                responses, self._lowered, levers, np.array(levels), measured_correlation(scene)
            )
        found: _Answers = responses.remembered[key]
        return found


class _Answers:
    """The light of drawn tanks on every target, reckoned from the answers of a trace."""

    def __init__(
        self, responses: Responses, lowered: Lowered, levers: tuple[Lever, ...], ppf: np.ndarray, measured: np.ndarray
    ) -> None:
        self._measured = measured
        self.responses, self._lowered, self.levers, self._ppf = responses, lowered, levers, ppf
        self._number = {lever.tag: k for k, lever in enumerate(levers)}
        self._known: dict[int, TankRange] = {}
        self._patches: dict[int, tuple[np.ndarray, np.ndarray]] = {}

    @cached_property
    def _draws(self) -> np.ndarray:
        """Values of every lever in every drawn tank, (DRAWS, levers): multiples of the roots of primes, which fill the ranges
        more evenly than random draws do (Richtmyer 1951); what was measured goes together as the readings tell.
        """
        position = np.outer(np.arange(1, DRAWS + 1), np.sqrt(_primes(len(self.levers)))) % 1.0
        measured = np.flatnonzero([lever.is_measured for lever in self.levers])
        if len(measured):
            from scipy.special import ndtr, ndtri

            position[:, measured] = ndtr(ndtri(position[:, measured]) @ np.linalg.cholesky(self._measured).T)
        return np.stack([lever.at(position[:, k]) for k, lever in enumerate(self.levers)], axis=1)

    @cached_property
    def _ends(self) -> np.ndarray:
        """As `_draws`: each lever alone at its low end, then each alone at its high end, (2 levers, levers)."""
        assumed = np.array([lever.value for lever in self.levers])
        rows = np.tile(assumed, (2 * len(assumed), 1))
        for k, lever in enumerate(self.levers):
            rows[k, k], rows[len(assumed) + k, k] = lever.low, lever.high
        return rows

    def ranges(self, targets: Sequence[int]) -> list[TankRange]:
        """The range of each target."""
        for target in targets:
            if target not in self._known:
                self._known[target] = self._range(*self._of(np.array([target])))
        return [self._known[t] for t in targets]

    def together(self, targets: np.ndarray) -> TankRange:
        """The range of the light on several targets together."""
        sums, logs = self._of(targets)
        light = (sums[..., 0].sum(axis=2) * self._ppf[:, None]).sum(axis=0)
        mean = logs @ (light / light.sum()) if light.sum() > 0 else logs.mean(axis=1)
        return self._range(sums.sum(axis=1, keepdims=True), mean[:, None])

    def of_patches(self, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
        """Low and high factor of each patch of a bed, both (n,)."""
        if grid.tank not in self._patches:
            first = self.responses.first_patch[grid.tank]
            targets = np.arange(first, first + int(patch_numbers(grid).max()) + 1)
            drawn = self.ratios(*self._of(targets), self._draws[::PATCH_DRAWS])
            low, high = np.quantile(drawn, ((1 - COVERED) / 2, (1 + COVERED) / 2), axis=1)
            self._patches[grid.tank] = low, high
        return self._patches[grid.tank]

    def _of(self, targets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return self.responses.sums[:, targets], self._steadied[:, targets]

    def _range(self, sums: np.ndarray, logs: np.ndarray) -> TankRange:
        drawn, alone = self.ratios(sums, logs, self._draws)[0], self.ratios(sums, logs, self._ends)[0]
        low, high = np.split(alone, 2)
        effects = [
            Effect(v.name, float(a), float(b), v.key, v.tag) for v, a, b in zip(self.levers, low, high, strict=True)
        ]
        return TankRange(np.sort(drawn), tuple(sorted(effects, key=lambda effect: -effect.size)))

    def ratios(self, sums: np.ndarray, logs: np.ndarray, values: np.ndarray) -> np.ndarray:
        """Light with the levers at values (n, levers), over that as assumed: (T, n) float64.

        sums, logs: of T targets, as in `Responses`.
        """
        k = len(self.responses.levers)
        weight = sums[..., 0]
        safe = np.maximum(weight, FAINTEST)[..., None]
        mean = sums[..., 1 : 1 + k] / safe
        step = np.divide(
            sums[..., 1 + k :] / safe - mean**2, mean, out=np.zeros_like(mean), where=np.abs(mean) > FAINTEST
        )
        light, base = np.zeros((weight.shape[1], len(values))), np.zeros(weight.shape[1])
        change, flux = self._changes(values)
        for source, ppf in enumerate(self._ppf):
            gain = self._gain(source, values) * np.exp(flux @ self.responses.lens[source])
            answers = np.zeros((*weight[source].shape, len(values)))
            for c in range(k):
                answers += _of_counts(mean[source][..., c], step[source][..., c], change[:, c])
            light += ppf * gain * np.einsum("tc,tcn->tn", weight[source], np.exp(answers))
            base += ppf * weight[source].sum(axis=1)
        found = np.divide(light, base[:, None], out=np.ones_like(light), where=base[:, None] > 0)
        return np.asarray(found * self._everywhere(values) * np.exp(self._retraced(logs, values)))

    def _changes(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What the features are multiplied by, (n, K); and the logarithm by which each beam must weigh less to keep its
        flux, (n, K).
        """
        change = np.zeros((len(values), len(self.responses.levers)))
        flux = np.zeros_like(change)
        for column, tag in enumerate(self.responses.levers):
            if tag not in self._number:
                continue
            number = self._number[tag]
            lever, own = self.levers[number], values[:, number]
            if lever.moves is Moves.BEAM:
                m = np.array([exponent_of(v) for v in own])
                assumed = exponent_of(lever.value)
                change[:, column], flux[:, column] = m - assumed, np.log((m + 1) / (assumed + 1))
            elif lever.moves is Moves.TINT:
                change[:, column] = own - lever.value
            else:
                change[:, column] = np.log(np.maximum(own, FAINTEST) / max(lever.value, FAINTEST))
        return change, flux

    def _gain(self, source: int, values: np.ndarray) -> np.ndarray:
        """What the levers of output and beam do to the light of a source, (n,)."""
        which = self._lowered.compiled.sources[source]
        gain = np.ones(len(values))
        for k, lever in enumerate(self.levers):
            if lever.tank != which.tank or which.fixture not in lever.of:
                continue
            if lever.moves is Moves.LIGHT:
                gain *= values[:, k]
            elif lever.moves is Moves.BEAM:
                gain *= lever.light_at(which.fixture, values[:, k])
        return gain

    def _everywhere(self, values: np.ndarray) -> np.ndarray:
        """What acts on all the light of this tank, (n,)."""
        own = [
            k for k, v in enumerate(self.levers) if v.moves is Moves.LIGHT and not v.of and v.tank == self._lowered.tank
        ]
        return np.asarray(values[:, own].prod(axis=1))

    def _retraced(self, logs: np.ndarray, values: np.ndarray) -> np.ndarray:
        """Logarithm of what the levers do that move the paths of light, (T, n): through the ends that were traced."""
        total = np.zeros((logs.shape[1], len(values)))
        for number, lever in enumerate(self.levers):
            rows = [e for e, (tag, _) in enumerate(self.responses.ends) if tag == lever.tag]
            if rows:
                off = lever.from_value(values[:, number])
                ends = [(lever.low, lever.high)[self.responses.ends[e][1]] for e in rows]
                at = [float(lever.from_value(np.array(end))) for end in ends]
                total += _through(at, [logs[e] for e in rows], off)
        return total

    @cached_property
    def _steadied(self) -> np.ndarray:
        """Logarithms at the ends, (E, T), each drawn to the mean of all as its noise asks, by no more than its error.

        Limited translation: Efron and Morris, J. Amer. Statist. Assoc. 67:130 (1972).
        """
        logs, errors = self.responses.logs, self.responses.errors
        found = logs.copy()
        for e in range(len(logs)):
            known = np.isfinite(errors[e]) & (self.responses.sums[:, :, :, 0].sum(axis=(0, 2)) > 0)
            if known.sum() < 2:
                continue
            weight = 1 / (errors[e, known] ** 2 + 1e-6)
            mean = float((weight * logs[e, known]).sum() / weight.sum())
            own = float((weight * ((logs[e, known] - mean) ** 2 - errors[e, known] ** 2)).sum() / weight.sum())
            own = max(own, 0.0)
            share = np.where(known, own / (own + errors[e] ** 2 + FAINTEST), 0.0)
            drawn = mean + share * (logs[e] - mean)
            off = np.where(known, errors[e], np.inf)
            found[e] = np.clip(drawn, logs[e] - off, logs[e] + off)
        return found


def _of_counts(mean: np.ndarray, step: np.ndarray, change: np.ndarray) -> np.ndarray:
    """Logarithm of the mean of exp(feature x change): (targets, classes, n), for change (n,).

    The feature is taken as steps, whose number is Poisson's, with the mean and the variance (mean x step) that were found:
    right for rare reflections and for lengths alike.
    """
    by = step[..., None] * change
    growth = np.where(np.abs(by) > 1e-6, np.expm1(by) / np.where(by == 0, 1.0, by), 1.0)
    return np.asarray(mean[..., None] * change * growth)


def _primes(count: int) -> np.ndarray:
    """The first primes, (count,) float64."""
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % prime for prime in found):
            found.append(number)
        number += 1
    return np.array(found, np.float64)


def _through(at: Sequence[float], logs: Sequence[np.ndarray], off: np.ndarray) -> np.ndarray:
    """Curve through 0 at 0 and through logs (targets,) at one or two places, read at off (n,): (targets, n)."""
    if len(at) == 1:
        return np.asarray(logs[0][:, None] * (off / at[0]))
    (a, b), (p, q) = at, logs
    bend = (p / a - q / b) / (a - b)
    slope = p / a - bend * a
    return np.asarray(slope[:, None] * off + bend[:, None] * off**2)
