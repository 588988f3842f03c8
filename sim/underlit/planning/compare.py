"""Compare answered scenes: zone by zone, on the bed, in watts and cost.

    one, two = (underlit.load_scene(f"scenes/wide-tank-{n}.toml") for n in ("one", "two"))
    first, second = (candidate(t.lowered.scene.title, t) for t in trace_paired([lower(one), lower(two)]))
    for row in compare([first, second]).rows:
        print(row.name, row.values, row.changes)

Light of the same source is traced with the same random numbers in each scene, so simulation errors largely cancel in the
differences (see `planning.differences`). What is not known about a tank moves both sides alike where it is the same tank: it
scales a difference rather than adding to it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from underlit.lowering.scene import Lowered
from underlit.planning.candidates import Candidate, Place, answered_from, same_paths
from underlit.planning.compared_settings import BestSide, EqualWatts, best_side, equal_watts
from underlit.planning.differences import point_difference, shares_any
from underlit.results.estimate import Estimate
from underlit.run import Traced, trace

SAME_AREA = 0.01
"""Zones of one name are the same place when their areas differ by no more than this share."""


@dataclass(frozen=True)
class Change:
    """How a place's light differs from the first candidate's. ppfd: difference with its simulation error [umol/m2/s];
    tank_error: 95 % half width of it from what is not known about the tank, both tanks alike [umol/m2/s].
    """

    ppfd: Estimate
    relative: float
    tank_error: float
    same_place: bool

    @property
    def beyond_error(self) -> bool:
        """Whether it lies beyond its simulation error (95 %)."""
        return abs(self.ppfd.value) > self.ppfd.half_width


@dataclass(frozen=True)
class Row:
    """A place in all candidates, matched by its name; None where a candidate has no such place.

    values: PPFD with simulation error [umol/m2/s]; changes: against the first candidate, None where either lacks the place.
    """

    name: str
    is_spot: bool
    places: tuple[Place | None, ...]
    values: tuple[Estimate | None, ...]
    changes: tuple[Change | None, ...]


@dataclass(frozen=True)
class Running:
    """What a candidate draws and costs: watts, kWh a year, cost a year in the currency of the price; None: not known."""

    watts: float | None
    kwh_a_year: float | None
    cost_a_year: float | None


@dataclass(frozen=True)
class Comparison:
    """Candidates side by side, the first being what the others are compared with.

    paired: whether each further candidate shares random numbers with the first. price: of a kWh, in any currency. best: each at
    the setting at which most of its zones are right; equal: all at equal watts, None where watts are not known.
    """

    candidates: tuple[Candidate, ...]
    rows: tuple[Row, ...]
    running: tuple[Running, ...]
    paired: tuple[bool, ...]
    price: float | None
    best: tuple[BestSide, ...]
    equal: EqualWatts | None


def trace_paired(
    scenes: Sequence[Lowered],
    *,
    precision: float | None = None,
    photons: int | None = None,
    seed: int = 1,
    threads: int | None = None,
    tracer: Callable[..., Traced] | None = None,
) -> list[Traced]:
    """Trace scenes with common random numbers, so that their noise largely cancels in the difference.

    A scene in which light walks as in an earlier one is answered without a trace: it differs in dimming or output
    alone. The answers are in the order of the scenes; there are fewer where a trace was interrupted.

    Parameters
    ----------
    scenes : sequence of Lowered
        The scenes to compare.
    precision : float, optional
        Trace each until every zone mean is known to this fraction (95 %).
    photons : int, optional
        Photons for each scene instead, the same for all, in batches of the same size.
    seed, threads : int
        Of the random numbers, the same for all; worker threads, by default all processors.
    tracer : callable, optional
        Called in place of `underlit.trace`, with the same arguments.

    References
    ----------
    Common random numbers: A. M. Law, Simulation Modeling and Analysis, ch. 11 (from memory).
    """
    run = tracer or trace
    most = max(len(s.compiled.sources) for s in scenes)
    done: list[Traced] = []
    for lowered in scenes:
        known = next((t for t in done if same_paths(t.lowered.compiled, lowered.compiled)), None)
        if known is not None:
            done.append(answered_from(known, lowered))
            continue
        traced = run(lowered, precision=precision, photons=photons, seed=seed, threads=threads, least_sources=most)
        assert isinstance(traced, Traced)
        done.append(traced)
        if not traced.result.complete:
            break
    return done


def compare(candidates: Sequence[Candidate], *, price: float | None = None) -> Comparison:
    """Compare candidates with the first of them, zone by zone, in watts and in cost at the price of a kWh.

    Rows of zones and reading spots have differences and their errors [umol/m2/s]. ValueError for fewer than two
    candidates.
    """
    if len(candidates) < 2:
        raise ValueError("a comparison needs two scenes or more")
    first, *others = candidates
    names = list(dict.fromkeys((place.name, _is_spot(c, i)) for c in candidates for i, place in enumerate(c.places)))
    at = [{(p.name, _is_spot(c, i)): i for i, p in enumerate(c.places)} for c in candidates]
    values = [[*c.result.zone_estimates(), *c.result.head_estimates()] for c in candidates]
    changes: list[dict[tuple[str, bool], Change]] = [{}]
    for k, other in enumerate(others, start=1):
        common = [name for name in names if name in at[0] and name in at[k]]
        found = point_difference(other.result, first.result, [at[k][n] for n in common], [at[0][n] for n in common])
        changes.append(
            {
                name: _change(first, other, at[0][name], at[k][name], before.value, widened(estimate, before, after))
                for name, estimate in zip(common, found, strict=True)
                for before, after in [(values[0][at[0][name]], values[k][at[k][name]])]
            }
        )
    rows = [
        Row(
            name[0], name[1],
            tuple(c.places[at[k][name]] if name in at[k] else None for k, c in enumerate(candidates)),
            tuple(values[k][at[k][name]] if name in at[k] else None for k in range(len(candidates))),
            tuple(found.get(name) for found in changes),
        )
        for name in names
    ]  # fmt: skip
    paired = (True, *(shares_any(other.result, first.result) for other in others))
    return Comparison(
        tuple(candidates), tuple(rows), tuple(running(c, price) for c in candidates), paired, price,
        tuple(best_side(c) for c in candidates), equal_watts(candidates),
    )  # fmt: skip


def widened(difference: Estimate, before: Estimate, after: Estimate) -> Estimate:
    """A difference whose sides may rest on few hits: then its spread over the batches says less than the two intervals."""
    if not (before.few or after.few):
        return difference
    error = max(difference.standard_error, math.hypot(before.sigma, after.sigma))
    return Estimate(difference.value, error, difference.dof)


def _is_spot(c: Candidate, index: int) -> bool:
    return index >= len(c.result.compiled.zones)


def _change(first: Candidate, other: Candidate, i: int, j: int, before: float, ppfd: Estimate) -> Change:
    one, two = first.places[i], other.places[j]
    same = one.where == two.where and abs(one.area_m2 - two.area_m2) <= SAME_AREA * max(one.area_m2, two.area_m2)
    tank_error = 1.96 * max(first.tank_uncertainty, other.tank_uncertainty) * abs(ppfd.value)
    return Change(ppfd, ppfd.value / before if before > 0 else float("inf"), tank_error, same)


def running(c: Candidate, price: float | None) -> Running:
    """Watts, energy and cost of a candidate at its scene's hours and dimming."""
    energy = c.kwh_a_year
    return Running(c.watts, energy, None if energy is None or price is None else energy * price)
