"""Values that rest on few hits: intervals that hold the truth as often as they say, and a stop that waits for them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, poisson
from shaded_tank import Many, lowered, many, traced

from checking import within_probability
from underlit.planning.compare import widened
from underlit.results.estimate import FEW, NO_HIT, Estimate, student_factor
from underlit.results.store import to_dataset
from underlit.run import DARK, StoppingRule, checkpoints, over_asked, trace_compiled, worst_error

CLASSES = ((0.0, 0.1), (0.1, 0.4), (0.4, 1.0), (1.0, 2.0))
"""Relative 95 % half widths of the cells that are looked at together."""
DIM = ("among the stems", "low in the stems", "deep in the stems", "behind in the stems")
DARKEST = "deep in the stems"


# -- the interval itself -----------------------------------------------------------------------------------------------
def counted(hits: float, packet: float = 1.0) -> Estimate:
    """So many hits of a whole packet each, with the error of a Poisson count."""
    return Estimate(hits * packet, math.sqrt(hits) * packet, math.inf, packet)


def poisson_coverage(mean: float, interval: Callable[[Estimate], tuple[float, float]]) -> float:
    """How often an interval holds the mean of a Poisson count, exactly."""
    counts = range(int(mean + 12 * math.sqrt(mean)) + 12)
    ends = [interval(counted(k)) for k in counts]
    return math.fsum(poisson.pmf(k, mean) for k, (low, high) in zip(counts, ends, strict=True) if low <= mean <= high)


@pytest.mark.parametrize("mean", [0.3, 0.7, 1.5, 2.5, 4.0, 6.0, 9.0, 14.0, 22.0, 40.0, 90.0, 200.0, 1000.0])
def test_a_poisson_count_is_held_as_often_as_said(mean: float) -> None:
    held = poisson_coverage(mean, lambda e: (e.low, e.high))
    assert held >= 0.92
    assert held <= 0.98 or mean < 4
    symmetric = poisson_coverage(mean, lambda e: (e.value - 1.96 * e.standard_error, e.value + 1.96 * e.standard_error))
    assert symmetric < 0.92 or mean > 5


def test_what_no_packet_reached_has_an_upper_bound() -> None:
    nothing = counted(0.0, packet=0.2)
    assert (nothing.value, nothing.low, nothing.high) == (0.0, 0.0, NO_HIT * 0.2)
    assert nothing.few
    assert nothing.half_width == nothing.high
    assert nothing.relative == math.inf
    assert nothing.sigma > 0
    assert poisson.pmf(0, NO_HIT) == pytest.approx(0.05, abs=0.0003)


def test_bounds_rise_with_every_hit_and_hold_the_value() -> None:
    found = [counted(k, packet=0.5) for k in range(90)]
    for one, more in itertools.pairwise(found):
        assert one.low <= one.value < one.high < more.high
        assert one.low <= more.low
    assert all(e.low == 0 for e in found[:4])
    assert found[5].low > 0


def test_many_hits_have_student_s_interval_to_the_bit() -> None:
    known = Estimate(40.0, 1.0, 15.0, 0.3)
    assert not known.few
    assert known.half_width == replace(known, packet=0.0).half_width == student_factor(15.0)
    assert (known.low, known.high) == (40.0 - known.half_width, 40.0 + known.half_width)
    assert known.sigma == 1.0


def test_what_is_no_mean_of_counts_keeps_its_symmetric_interval() -> None:
    difference = Estimate(-0.1, 0.2, 31.0)
    assert not difference.few
    assert difference.low == -0.1 - difference.half_width
    assert Estimate(0.0, 0.0, 31.0).half_width == 0.0


def test_a_dimmed_estimate_has_dimmed_ends() -> None:
    full = Estimate(1.0, 0.3, 15.0, 0.2)
    half = full.times(0.5)
    assert (half.low, half.high, half.half_width) == pytest.approx((full.low / 2, full.high / 2, full.half_width / 2))


# -- coverage over seeds -----------------------------------------------------------------------------------------------
def shares_held(
    traces: Many, low: np.ndarray, high: np.ndarray, classes: tuple[tuple[float, float], ...]
) -> list[float]:
    """How often intervals (seeds, cells) hold the truth, by the error that the cells really have."""
    truth, values, _ = traces.cells()
    relative = 1.96 * values.std(axis=0, ddof=1) / truth
    held = (low <= truth) & (truth <= high)
    return [float(held[:, (relative > least) & (relative <= most)].mean()) for least, most in classes]


def test_intervals_of_cells_hold_the_truth_in_every_class_of_error() -> None:
    traces = many()
    *shares, of_fewest = shares_held(traces, *traces.ends(), CLASSES)
    assert all(0.92 <= share <= 0.98 for share in shares)
    assert of_fewest >= 0.92


def test_symmetric_intervals_do_not() -> None:
    traces = many()
    _, values, errors = traces.cells()
    width = student_factor(15.0) * errors
    assert shares_held(traces, values - width, values + width, CLASSES)[-1] < 0.85


def test_intervals_of_spots_hold_the_truth() -> None:
    held = of = reached = 0
    for truth, estimates in many().spots().values():
        held += sum(e.low <= truth <= e.high for e in estimates)
        reached += sum(abs(e.value - truth) <= student_factor(e.dof) * e.standard_error for e in estimates)
        of += len(estimates)
    within_probability(float(binom.cdf(held, of, 0.95)), "coverage of spots in the shade")
    assert held > reached


# -- the stop ----------------------------------------------------------------------------------------------------------
def stopped(batches: np.ndarray, packet: float, wanted: float, random: np.random.Generator) -> Estimate:
    """What a trace of one spot tells that goes on until its error is small enough; its batches are drawn from these."""
    drawn = np.zeros(0)
    for step in checkpoints():
        drawn = np.append(drawn, random.choice(batches, step - len(drawn)))
        found = Estimate(drawn.mean(), drawn.std(ddof=1) / math.sqrt(step), step - 1.0, packet / step)
        if over_asked(found, wanted) <= 1.0:
            return found
    raise AssertionError("no trace goes on for ever")


@pytest.mark.parametrize("spot", DIM)
def test_stopping_neither_moves_the_value_nor_stops_where_no_photon_came(spot: str) -> None:
    batches, packet = many().batches(spot)
    truth, random = batches.mean(), np.random.default_rng(5)
    found = [stopped(batches, packet, 0.3, random) for _ in range(200)]
    assert min(e.value for e in found) > 0
    assert np.mean([e.value for e in found]) == pytest.approx(truth, abs=max(0.06 * truth, 0.1 * DARK))
    held = sum(e.low <= truth <= e.high for e in found)
    within_probability(float(binom.cdf(held, len(found), 0.95)), f"coverage where a trace stops: {spot}")


def test_a_stop_that_takes_no_photon_for_no_light_is_biased() -> None:
    batches, _ = many().batches(DARKEST)
    random = np.random.default_rng(5)
    values = [stopped(batches, 0.0, 0.3, random).value for _ in range(200)]
    assert np.mean(values) < 0.9 * batches.mean()
    assert min(values) == 0.0


def test_few_hits_count_as_known_only_where_they_prove_the_dark() -> None:
    assert over_asked(Estimate(0.0, 0.0, 15.0, 0.4), 0.9) > 1
    assert over_asked(Estimate(0.0, 0.0, 15.0, DARK / NO_HIT), 0.9) == pytest.approx(1)
    assert over_asked(Estimate(2.0, 0.5, 15.0, 0.2), 0.9) > 1
    assert over_asked(Estimate(2.0, FEW * 2.0 / 2.2, 15.0, 0.2), 0.3) < 1
    assert over_asked(Estimate(2.0, math.inf, 0.0, 0.2), 0.3) == math.inf


def test_a_trace_with_a_spot_that_no_photon_reached_is_not_done() -> None:
    result = next(one for one in many().small if one.heads()[DARKEST].value == 0)
    over, name, _ = worst_error(result, StoppingRule(zones=0.9, spots=0.9))
    assert over > 1
    assert name in DIM


def test_two_places_without_light_do_not_count_as_equally_dark() -> None:
    dark, lit = Estimate(0.0, 0.0, 15.0, 0.2), Estimate(40.0, 0.2, 15.0, 0.2)
    same = Estimate(0.0, 0.0, 15.0)
    assert widened(same, dark, dark).half_width >= dark.high
    assert widened(same, lit, lit) is same


# -- files -------------------------------------------------------------------------------------------------------------
def test_the_file_holds_both_ends() -> None:
    result = many().small[0]
    stored = to_dataset(result)
    for kind, found in (("zone", result.zone_estimates()), ("head", result.head_estimates())):
        np.testing.assert_allclose(stored[f"{kind}_ppfd_low_95"], [e.low for e in found], rtol=1e-6)
        np.testing.assert_allclose(stored[f"{kind}_ppfd_high_95"], [e.high for e in found], rtol=1e-6)
    bed = result.bed()
    for end, values in zip(("low", "high"), bed.limits, strict=True):
        np.testing.assert_allclose(stored[f"bed_ppfd_{end}_95"], values, rtol=1e-6)
    unlit = np.flatnonzero(bed.value.ravel() == 0)
    assert unlit.size > 0
    assert np.all(stored["bed_ppfd_high_95"].values.ravel()[unlit] > 0)
    assert {"faces_ppfd_low_95", "planes_ppfd_high_95"} <= set(stored)


# -- the same, larger --------------------------------------------------------------------------------------------------
@pytest.mark.long
def test_intervals_hold_the_truth_in_longer_traces_too() -> None:
    small = tuple(traced(seed, batch_bits=15) for seed in range(1, 61))
    traces = Many(small, traced(1001, batch_bits=18, batches=128))
    for share in shares_held(traces, *traces.ends(), CLASSES[:3]):
        assert 0.92 <= share <= 0.98


@pytest.mark.long
def test_whole_traces_that_stop_by_themselves_are_right_on_average() -> None:
    truth = many().long.heads()
    rule = StoppingRule(zones=0.2, spots=0.3)
    found = [trace_compiled(lowered().compiled, rule=rule, seed=seed)[0].heads() for seed in range(2001, 2061)]
    for name, of_long in truth.items():
        values = [one[name].value for one in found]
        spread = float(np.std(values, ddof=1)) / math.sqrt(len(values))
        assert min(values) > 0
        assert np.mean(values) == pytest.approx(of_long.value, abs=4 * math.hypot(spread, of_long.standard_error))
