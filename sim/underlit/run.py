"""Trace a scene to a precision or a budget: the one module that knows all worlds.

scene = load_scene("tank.toml")
traced = trace(scene, precision=0.01)
traced.result.zones()["carpet"].value
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from underlit.backends.cpu import Tracer
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.records import Source
from underlit.lowering.scene import Lowered, lower
from underlit.lowering.world import World
from underlit.results.estimate import FEW, Estimate
from underlit.results.result import Result
from underlit.retrace import Asked
from underlit.scene.model import Scene

ZONE_PRECISION = 0.01
SPOT_PRECISION = 0.03
"""Default precision: 95 % half width over the value, of zone means and of reading spots."""
DARK = 0.05
"""A half width of this much PPFD [umol/m2/s] is always good enough: nobody reads a meter finer."""
FIRST_CHECK = 16
MOST_PHOTONS = 1 << 28
"""Budget when none is given; where the precision cannot be reached by then, the output says so."""
BATCH_BITS = 15
LARGEST_BATCH_BITS = 18
"""Of a run by a budget: the larger the batch, the better its numbers are spread (docs/decisions/sobol-first-nine.md)."""


@dataclass(frozen=True)
class StoppingRule:
    """When a trace may stop.

    Attributes
    ----------
    zones, spots : float
        Largest 95 % half width, relative to the value [1].
    photons : int
        The budget, most photons over all sources.
    only_budget : bool
        Whether it alone decides.
    least_sources : int
        A budget is cut into batches as for so many sources at the least: scenes that are compared have batches alike.
    """

    zones: float = ZONE_PRECISION
    spots: float = SPOT_PRECISION
    photons: int = MOST_PHOTONS
    only_budget: bool = False
    least_sources: int = 1

    def batch_bits_for(self, sources: int) -> int:
        """Bits of a batch, which holds 2 to that power photons, for a number of sources.

        A budget is cut into as few batches as errors can be taken from.
        """
        if not self.only_budget:
            return BATCH_BITS
        per_batch = max(self.photons, 1) / (FIRST_CHECK * max(sources, self.least_sources))
        return int(np.clip(math.floor(math.log2(per_batch)), 12, LARGEST_BATCH_BITS))


@dataclass(frozen=True)
class Progress:
    """How a trace is going. worst: error over the one asked for (1 is reached) of the zone or spot named; None before the
    first check.
    """

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


def shares(compiled: CompiledScene, dimming: Mapping[Source, float]) -> np.ndarray:
    """Weight of each source in the error: its PPF as dimmed, over the largest."""
    ppf = np.array([ppf * dimming.get(source, 1.0) for source, ppf in zip(compiled.sources, compiled.ppf, strict=True)])
    return ppf / ppf.max() if ppf.max() > 0 else np.ones(len(ppf))


def over_asked(found: Estimate, wanted: float) -> float:
    """Error over the one asked for, relative: 1 is reached, and its square goes as one over the photons.

    What rests on few hits is never reached, whatever is asked, unless it is known to be dark.
    """
    if not math.isfinite(found.half_width):
        return math.inf
    if found.value <= 0:
        # the bound goes as one over the photons, an error as one over their root
        return math.sqrt(found.high / DARK)
    return found.half_width / max(min(wanted, FEW) * found.value, DARK)


def worst_error(result: Result, rule: StoppingRule) -> tuple[float, str, float]:
    """(error over the one asked for, name, relative half width) of the zone or spot that is farthest from it."""
    worst, name, relative = 0.0, "", 0.0
    points = [(z.name, e, rule.zones) for z, e in zip(result.compiled.zones, result.zone_estimates(), strict=True)]
    points += [(h.name, e, rule.spots) for h, e in zip(result.compiled.heads, result.head_estimates(), strict=True)]
    for key, estimate, wanted in points:
        ratio = over_asked(estimate, wanted)
        if ratio > worst or not name:
            worst, name, relative = ratio, key, estimate.relative
    return worst, name, relative


class _Run:
    """One trace: how far it is, and when it is done."""

    def __init__(
        self,
        compiled: CompiledScene,
        rule: StoppingRule,
        dimming: Mapping[Source, float],
        tracer: Tracer,
        progress: Callable[[Progress], None] | None,
    ) -> None:
        self._compiled, self._rule, self._dimming, self._tracer = compiled, rule, dict(dimming), tracer
        self._weight, self._progress = shares(compiled, dimming), progress
        self._started = time.perf_counter()
        self._state: tuple[float | None, str, float | None] = (None, "", None)
        self._left: float | None = None

    def poll(self) -> None:
        """Tell how it is going."""
        if self._progress is not None:
            seconds = time.perf_counter() - self._started
            self._progress(Progress(self._tracer.photons_walked, seconds, *self._state, self._left))

    def result(self, complete: bool = True) -> Result:
        """What was counted so far."""
        seconds = time.perf_counter() - self._started
        counts, seed = tuple(self._tracer.counts), self._tracer.seed
        return Result(self._compiled, counts, seed, seconds, self._dimming, complete)

    def to_the_end(self) -> None:
        """Trace until the rule says stop."""
        self._tracer.prepare()
        # the start-up of the kernels is no part of a trace's speed
        self._started = time.perf_counter()
        for step in checkpoints():
            targets = self._targets(step)
            if targets is None:
                break
            self._tracer.run(targets, self.poll)
            if self._is_done():
                break
            self.poll()

    def _targets(self, step: int) -> list[int] | None:
        """Batches of each source at a step; None where a step beyond the first one would cost more than the budget."""
        rule, per_batch = self._rule, self._tracer.photons_per_batch
        targets = [max(FIRST_CHECK, math.ceil(step * w)) for w in self._weight]
        if step == FIRST_CHECK or sum(targets) * per_batch <= rule.photons:
            return targets
        if not rule.only_budget:
            return None
        scale = rule.photons / per_batch / self._weight.sum()
        pairs = zip(self._tracer.counts, self._weight, strict=True)
        return [max(counts.batches, round(scale * w)) for counts, w in pairs]

    def _is_done(self) -> bool:
        """Look at the errors, reckon the time left, and say whether it is enough."""
        rule = self._rule
        worst, name, relative = worst_error(self.result(), rule)
        self._state = (worst, name, relative)
        done = sum(counts.photons for counts in self._tracer.counts)
        seconds = time.perf_counter() - self._started
        if rule.only_budget:
            self._left = seconds * max(0.0, rule.photons / done - 1)
            return done + self._tracer.photons_per_batch > rule.photons
        self._left = seconds * max(0.0, worst**2 - 1) if math.isfinite(worst) else None
        return worst <= 1.0


def trace_compiled(
    compiled: CompiledScene,
    *,
    rule: StoppingRule | None = None,
    seed: int = 1,
    threads: int | None = None,
    dimming: Mapping[Source, float] | None = None,
    progress: Callable[[Progress], None] | None = None,
    asked: Asked | None = None,
) -> tuple[Result, float, str, float]:
    """Trace a compiled scene until its errors are small enough or the budget is spent.

    Ctrl-C keeps what was counted: the result then says `complete=False`. The numbers depend on the seed alone, not on
    threads or timing. After the result come the largest error relative to what was asked, the zone or spot that has it,
    and its relative 95 % half width.

    Parameters
    ----------
    compiled, rule
        What to trace, and when to stop.
    seed, threads
        Seed of the random numbers; worker threads (default: all processors).
    dimming
        Fraction of full power by source; it weighs their errors.
    progress
        Called now and then with how far it is.
    asked
        How the light answers to the assumptions of a scene, recorded beside it; nothing without.
    """
    rule, dimming = rule or StoppingRule(), dimming or {}
    bits = rule.batch_bits_for(len(compiled.sources))
    recorder = None if asked is None else asked.recorder
    tracer = Tracer(compiled.tables, seed=seed, batch_bits=bits, threads=threads, recorder=recorder)
    run = _Run(compiled, rule, dimming, tracer, progress)
    complete = True
    try:
        run.to_the_end()
    except KeyboardInterrupt:
        complete = False
    found = run.result(complete)
    if asked is not None and complete:
        found = replace(found, responses=asked.responses(tracer, threads))
    return (found, *(worst_error(found, rule) if found.photons else (math.inf, "", math.inf)))


def trace(
    scene: Scene | Lowered | World,
    *,
    precision: float | None = None,
    photons: int | None = None,
    seed: int = 1,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
    least_sources: int = 1,
    with_ranges: bool = True,
) -> Traced | Result:
    """Trace a scene, or a world built in code: a `Traced` for a scene, a `Result` for a world.

    ValueError for a precision or a budget that makes no sense, or both; LoweringError where a part of the scene cannot
    be built.

    Parameters
    ----------
    scene
        A scene, a scene as lowered, or a world.
    precision
        Relative 95 % half width asked of every zone mean, and three times that of spots (default: 0.01).
    photons
        A budget instead of a precision: number of photons over all sources.
    seed, threads
        Of the random numbers: the same seed gives the same bits; worker threads (default: all processors).
    progress
        Called now and then with how far it is.
    least_sources
        A budget is cut into batches as for so many sources at the least: scenes with batches alike can be compared.
    with_ranges
        Whether the trace also records how the light answers to what the scene leaves open (`planning.ranges`).
    """
    rule = replace(stopping_rule(precision, photons), least_sources=least_sources)
    if isinstance(scene, World):
        return trace_compiled(scene.compile(), rule=rule, seed=seed, threads=threads, progress=progress)[0]
    lowered = scene if isinstance(scene, Lowered) else lower(scene)
    result, worst, name, relative = trace_compiled(
        lowered.compiled, rule=rule, seed=seed, threads=threads, dimming=lowered.dimming, progress=progress,
        asked=Asked(lowered) if with_ranges else None,
    )  # fmt: skip
    return Traced(lowered, result, worst <= 1.0, name, relative)


def trace_whole(
    lowered: Lowered,
    *,
    photons: int,
    seed: int = 1,
    threads: int | None = None,
    with_ranges: bool = True,
) -> Traced:
    """Trace to a budget and to its end, as `trace` does; KeyboardInterrupt where it was stopped before."""
    traced = trace(lowered, photons=photons, seed=seed, threads=threads, with_ranges=with_ranges)
    assert isinstance(traced, Traced)
    if not traced.result.complete:
        raise KeyboardInterrupt
    return traced


def stopping_rule(precision: float | None, photons: int | None) -> StoppingRule:
    """Rule from the command's options; ValueError for values that make no sense."""
    if precision is not None and photons is not None:
        raise ValueError("give a precision or a number of photons, not both")
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
    seed alone. asked: tells from the fourth step on how the light answers to what is not known about the tank.
    """

    def __init__(
        self,
        compiled: CompiledScene,
        *,
        seed: int = 1,
        threads: int | None = None,
        dimming: dict[Source, float] | None = None,
        asked: Asked | None = None,
    ) -> None:
        self._asked, self._threads = asked, threads
        self.compiled, self.dimming = compiled, dimming or {}
        self._weight = shares(compiled, self.dimming)
        recorders = [*(None for _ in COARSE_BITS), None if asked is None else asked.recorder]
        self._tracers = [
            Tracer(compiled.tables, seed=seed, batch_bits=bits, threads=threads, recorder=recorder)
            for bits, recorder in zip((*COARSE_BITS, BATCH_BITS), recorders, strict=True)
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
        found = Result(
            self.compiled, tuple(tracer.counts), tracer.seed, time.perf_counter() - self._started, self.dimming
        )
        if self._asked is None or self._steps <= len(COARSE_BITS) + 1:
            return found
        # the small traces at the ends of ranges wait until the light has been seen
        return replace(found, responses=self._asked.responses(tracer, self._threads))
