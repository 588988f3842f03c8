"""Trace a scene to a precision or a budget: the one module that knows all worlds.

scene = load_scene("tank.toml")
traced = trace(scene, precision=0.01)
traced.result.zones()["carpet"].value
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.records import Source
from underlit.lowering.scene import Lowered, lower
from underlit.lowering.world import World
from underlit.results.result import Result
from underlit.scene.model import Scene

ZONE_PRECISION = 0.01
SPOT_PRECISION = 0.03
"""Default aims: 95 % half width over the value, of zone means and of reading spots."""
DARK = 0.05
"""A half width of this much PPFD [umol/m2/s] is always good enough: nobody reads a meter finer."""
FIRST_CHECK = 16
MOST_PHOTONS = 1 << 28
"""Budget when none is given; where an aim cannot be met by then, the output says so."""
BATCH_BITS = 15
LARGEST_BATCH_BITS = 18
"""Of a run by a budget: the larger the batch, the better its numbers are spread (docs/decisions/sobol-first-nine.md)."""


@dataclass(frozen=True)
class StoppingRule:
    """When a trace may stop.

    Attributes
    ----------
    zones, spots
        Largest 95 % half width of zone means and of spots, relative to the value.
    photons
        Budget: most photons over all sources.
    only_budget
        Whether the budget alone decides.
    """

    zones: float = ZONE_PRECISION
    spots: float = SPOT_PRECISION
    photons: int = MOST_PHOTONS
    only_budget: bool = False


@dataclass(frozen=True)
class Progress:
    """How a trace is going. worst: error over its aim (1 is reached) of the zone or spot named; None before the first check."""

    photons: int
    seconds: float
    worst: float | None
    worst_name: str
    worst_relative: float | None
    seconds_left: float | None


@dataclass(frozen=True)
class Traced:
    """A traced scene.

    Attributes
    ----------
    lowered
        The scene as lowered.
    result
        What was counted.
    reached
        Whether the stopping rule's precision was reached.
    worst_name
        Zone or spot with the largest error against what was asked.
    worst_relative
        Its 95 % half width, relative to its value.
    """

    lowered: Lowered
    result: Result
    reached: bool
    worst_name: str
    worst_relative: float

    @cached_property
    def tanks(self) -> dict[str, Traced]:
        """Each tank of a rack as if it stood alone, by its name; the scene's own, which has none, first."""
        pairs = zip(self.lowered.compiled.frames, self.lowered.tanks, strict=True)
        return {frame.name: replace(self, lowered=view, result=self.result.of_tank(view.tank)) for frame, view in pairs}


def checkpoints() -> list[int]:
    """Numbers of batches at which the errors are looked at: 16, 24, 32, 48, 64, 96 ..."""
    steps, n = [], FIRST_CHECK
    while n < 1 << 40:
        steps += [n, n + n // 2]
        n *= 2
    return steps


def shares(compiled: CompiledScene, dimming: dict[Source, float]) -> np.ndarray:
    """Weight of each source in the error: its PPF as dimmed, over the largest."""
    ppf = np.array([ppf * dimming.get(source, 1.0) for source, ppf in zip(compiled.sources, compiled.ppf, strict=True)])
    return ppf / ppf.max() if ppf.max() > 0 else np.ones(len(ppf))


def worst_error(result: Result, aim: StoppingRule) -> tuple[float, str, float]:
    """(error over its aim, name, relative half width) of the zone or spot farthest from its aim."""
    worst, name, relative = 0.0, "", 0.0
    points = [(z.name, e, aim.zones) for z, e in zip(result.compiled.zones, result.zone_estimates(), strict=True)]
    points += [(h.name, e, aim.spots) for h, e in zip(result.compiled.heads, result.head_estimates(), strict=True)]
    for key, estimate, wanted in points:
        allowed = max(wanted * estimate.value, DARK)
        ratio = estimate.half_width / allowed if math.isfinite(estimate.half_width) else math.inf
        if ratio > worst or not name:
            worst, name, relative = ratio, key, estimate.relative
    return worst, name, relative


def trace_compiled(
    compiled: CompiledScene,
    *,
    aim: StoppingRule | None = None,
    seed: int = 1,
    threads: int | None = None,
    dimming: dict[Source, float] | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> tuple[Result, float, str, float]:
    """Trace a compiled scene until its errors are small enough or the budget is spent.

    Ctrl-C keeps what was counted: the result then says `complete=False`. The numbers depend on the seed alone, not on
    threads or timing.

    Parameters
    ----------
    compiled
        What to trace.
    aim
        When to stop.
    seed
        Seed of the random numbers.
    threads
        Worker threads (default: all processors).
    dimming
        Fraction of full power by source; it weighs their errors.
    progress
        Called now and then with how far it is.

    Returns
    -------
    The result; then the largest error relative to what was asked, the zone or spot that has it, and its relative 95 %
    half width.
    """
    aim, dimming = aim or StoppingRule(), dimming or {}
    n_sources = len(compiled.sources)
    bits = BATCH_BITS
    if aim.only_budget:
        bits = int(
            np.clip(math.floor(math.log2(max(aim.photons, 1) / (FIRST_CHECK * n_sources))), 12, LARGEST_BATCH_BITS)
        )
    tracer = Tracer(compiled.tables, seed=seed, batch_bits=bits, threads=threads)
    weight = shares(compiled, dimming)
    started = time.perf_counter()
    state: tuple[float | None, str, float | None] = (None, "", None)
    left: float | None = None

    def poll() -> None:
        if progress is not None:
            seconds = time.perf_counter() - started
            progress(Progress(tracer.photons_walked, seconds, *state, left))

    def result(complete: bool = True) -> Result:
        seconds = time.perf_counter() - started
        return Result(compiled, tuple(tracer.counts), tracer.seed, seconds, dimming, complete)

    try:
        tracer.prepare()
        # the start-up of the kernels is no part of a trace's speed
        started = time.perf_counter()
        for step in checkpoints():
            targets = [max(FIRST_CHECK, math.ceil(step * w)) for w in weight]
            per_batch = tracer.photons_per_batch
            if step > FIRST_CHECK and sum(targets) * per_batch > aim.photons:
                if not aim.only_budget:
                    break
                scale = aim.photons / per_batch / weight.sum()
                targets = [max(c.batches, round(scale * w)) for c, w in zip(tracer.counts, weight, strict=True)]
            tracer.run(targets, poll)
            worst, name, relative = worst_error(result(), aim)
            state = (worst, name, relative)
            done = sum(c.photons for c in tracer.counts)
            seconds = time.perf_counter() - started
            if aim.only_budget:
                left = seconds * max(0.0, aim.photons / done - 1)
                if done + per_batch > aim.photons:
                    break
            else:
                left = seconds * max(0.0, worst**2 - 1) if math.isfinite(worst) else None
                if worst <= 1.0:
                    break
            poll()
    except KeyboardInterrupt:
        found = result(complete=False)
        return (found, *(worst_error(found, aim) if found.photons else (math.inf, "", math.inf)))
    found = result()
    return (found, *worst_error(found, aim))


def trace(
    scene: Scene | Lowered | World,
    *,
    precision: float | None = None,
    photons: int | None = None,
    seed: int = 1,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Traced | Result:
    """Trace a scene, or a world built in code.

    Parameters
    ----------
    scene
        A scene, a scene as lowered, or a world.
    precision
        Relative 95 % half width asked of every zone mean, and three times that of spots (default: 0.01).
    photons
        A budget instead of a precision: number of photons over all sources.
    seed
        Seed of the random numbers: the same seed gives the same bits.
    threads
        Worker threads (default: all processors).
    progress
        Called now and then with how far it is.

    Returns
    -------
    A `Traced` for a scene, a `Result` for a world.

    Raises
    ------
    ValueError
        For a precision or a budget that makes no sense, or both.
    LoweringError
        Where a part of the scene cannot be built.
    """
    aim = stopping_rule(precision, photons)
    if isinstance(scene, World):
        return trace_compiled(scene.compile(), aim=aim, seed=seed, threads=threads, progress=progress)[0]
    lowered = scene if isinstance(scene, Lowered) else lower(scene)
    result, worst, name, relative = trace_compiled(
        lowered.compiled, aim=aim, seed=seed, threads=threads, dimming=lowered.dimming, progress=progress
    )
    return Traced(lowered, result, worst <= 1.0, name, relative)


def stopping_rule(precision: float | None, photons: int | None) -> StoppingRule:
    """Aim from the command's options; ValueError for values that make no sense."""
    if precision is not None and photons is not None:
        raise ValueError("say a precision or a number of photons, not both")
    if photons is not None:
        if photons < 1:
            raise ValueError(f"the number of photons must be positive (got {photons})")
        return StoppingRule(photons=photons, only_budget=True)
    if precision is not None:
        if not 0 < precision < 1:
            raise ValueError(f"the precision is a fraction between 0 and 1, such as 0.01 (got {precision})")
        return StoppingRule(zones=precision, spots=3 * precision)
    return StoppingRule()


COARSE_BITS = (12, 13)
"""Batch sizes of the first answers of a refinement."""
REFINED_AT_ONCE = 8
"""Batches of the brightest source in one step of a refinement: half a second or so."""


class Refinement:
    """A trace that answers at once and then better and better, a short step at a time, until it is cancelled.

    The first answers are small traces of their own; from the third step on one trace grows. The numbers of a step depend on the
    seed alone.
    """

    def __init__(
        self,
        compiled: CompiledScene,
        *,
        seed: int = 1,
        threads: int | None = None,
        dimming: dict[Source, float] | None = None,
    ) -> None:
        self.compiled, self.dimming = compiled, dimming or {}
        self._weight = shares(compiled, self.dimming)
        self._tracers = [
            Tracer(compiled.tables, seed=seed, batch_bits=bits, threads=threads) for bits in (*COARSE_BITS, BATCH_BITS)
        ]
        self._steps = 0
        self._started = time.perf_counter()
        self.cancelled = False

    def cancel(self) -> None:
        """Stop a step that is under way and all to come; from any thread."""
        self.cancelled = True
        for tracer in self._tracers:
            tracer.cancelled.set()

    def step(self) -> Result | None:
        """Trace on for a moment; the result so far, good until the next step, or None once cancelled."""
        tracer = self._tracers[min(self._steps, len(COARSE_BITS))]
        batches = FIRST_CHECK + REFINED_AT_ONCE * max(0, self._steps - len(COARSE_BITS))
        tracer.run([max(FIRST_CHECK, math.ceil(batches * w)) for w in self._weight])
        self._steps += 1
        if self.cancelled:
            return None
        return Result(
            self.compiled, tuple(tracer.counts), tracer.seed, time.perf_counter() - self._started, self.dimming
        )
