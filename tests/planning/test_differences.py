"""Differences of results: exact where they must be, and with errors that hold."""

from __future__ import annotations

import numpy as np
import pytest
from boxes import box, light, lowered_box

from checking import within_probability
from underlit.lowering.scene import lower
from underlit.planning.cleaning_states import cleaning_pair
from underlit.planning.compare import trace_paired
from underlit.planning.differences import (
    Units,
    bed_difference,
    mean_of_units,
    point_difference,
    shared_difference,
    shares_any,
)
from underlit.results.estimate import student_factor
from underlit.viz.maps.difference_map import smoothed

PHOTONS = 1 << 16
SEEDS = 28


def coverage_probability(inside: int, of: int, expected: float = 0.95) -> float:
    """Two-sided probability of so many of `of` intervals holding the truth, each holding it with probability `expected`."""
    from scipy.stats import binomtest

    return float(binomtest(inside, of, expected).pvalue)


def test_equal_weights_give_the_paired_t_test():
    """The textbook: mean of n differences, its variance s^2 / n, n - 1 degrees of freedom."""
    rng = np.random.default_rng(1)
    first, second = rng.normal(5, 1, (20, 3)), rng.normal(6, 1, (20, 3))
    even = np.full(20, 1 / 20)
    value, variance, dof = shared_difference(Units(second, even), Units(first, even))
    d = second - first
    np.testing.assert_allclose(value, d.mean(axis=0), rtol=1e-12)
    np.testing.assert_allclose(variance, d.var(axis=0, ddof=1) / 20, rtol=1e-12)
    assert dof == pytest.approx(19)


def test_one_result_alone_is_its_own_mean():
    """Units that nothing is taken from have the variance of their mean."""
    x = np.random.default_rng(2).normal(size=(12, 4))
    value, variance, dof = mean_of_units(Units(x, np.full(12, 1 / 12)), -1.0)
    np.testing.assert_allclose(value, -x.mean(axis=0))
    np.testing.assert_allclose(variance, x.var(axis=0, ddof=1) / 12)
    assert dof == pytest.approx(11)


@pytest.mark.parametrize("numbers", [(16, 16), (24, 16), (16, 48)], ids=str)
@pytest.mark.parametrize("shared", [0.0, 0.9, 0.99], ids="correlation {}".format)
def test_intervals_hold_for_unlike_numbers_of_batches(numbers, shared):
    """Drawn normal batches of a known correlation: 95 % intervals hold the truth as often as they say."""
    rng = np.random.default_rng([*numbers, round(100 * shared)])
    draws, longest = 4000, max(numbers)
    common = rng.normal(size=(longest, draws))
    own = rng.normal(size=(2, longest, draws))
    batches = np.sqrt(shared) * common + np.sqrt(1 - shared) * own
    first, second = (Units(b[:n], np.full(n, 1 / n)) for b, n in zip(batches, numbers, strict=True))
    value, variance, dof = shared_difference(second, first)
    width = student_factor(dof) * np.sqrt(variance)
    inside = int((np.abs(value) <= width).sum())
    # Unlike numbers of batches make intervals a little wide, at worst where the batches are nearly the same.
    assert 0.94 <= inside / draws <= (0.96 if numbers[0] == numbers[1] else 0.985), inside / draws


def test_same_scene_differs_by_exactly_nothing():
    """Two traces of one scene and seed are the same bits."""
    first, second = (trace_paired([lowered_box(title=t)], photons=PHOTONS)[0].result for t in "ab")
    assert first is not second
    for estimate in point_difference(second, first, [0, 1, 2, 3], [0, 1, 2, 3]):
        assert (estimate.value, estimate.standard_error) == (0.0, 0.0)
    found = bed_difference(second, first)
    assert np.all(found.value == 0.0)
    assert np.all(found.standard_error == 0.0)


def test_other_seeds_are_not_paired():
    """Where the random numbers differ, the two variances add."""
    first, second = (trace_paired([lowered_box()], photons=PHOTONS, seed=s)[0].result for s in (1, 2))
    assert not shares_any(second, first)
    (found,) = point_difference(second, first, [1], [1])
    errors = [r.zones()["whole bed"].standard_error for r in (first, second)]
    assert found.standard_error == pytest.approx(np.hypot(*errors), rel=1e-9)


@pytest.fixture(scope="module")
def seeded():
    """Differences of the bare box before cleaning and after, over seeds: points and smoothed map, each with its error."""
    clean, before, _ = cleaning_pair(box())
    plans = [lower(clean), lower(before)]
    points, maps = [], []
    for seed in range(SEEDS):
        first, second = (t.result for t in trace_paired(plans, photons=PHOTONS, seed=1000 + seed))
        assert shares_any(second, first)
        points.append(point_difference(second, first, range(4), range(4)))
        spacing = first.compiled.bed_map.spacing
        maps.append(bed_difference(second, first, lambda m, s=spacing: smoothed(m, s)))
    return points, maps


def intervals_inside(values, widths, shrink: float = 1.0) -> tuple[int, int]:
    """How many of the intervals (seeds, ...) hold the mean over the seeds, which is known sqrt(seeds) times better."""
    values, widths = np.asarray(values), np.asarray(widths) * shrink
    # The mean over the seeds moves with each of them: the spread about it is that much narrower than about the truth.
    apart = np.abs(values - values.mean(axis=0)) / np.sqrt(1 - 1 / len(values))
    return int((apart <= widths).sum()), values.size


def test_stated_errors_hold_over_seeds(seeded):
    """Zones: 95 % intervals of the difference hold in 95 % of the seeds; half the error would be noticed."""
    points, _ = seeded
    halved = [0, 0]
    for index, name in ((1, "whole bed"), (2, "half way up"), (3, "centre")):
        values, widths = [p[index].value for p in points], [p[index].half_width for p in points]
        within_probability(coverage_probability(*intervals_inside(values, widths)), f"coverage of a difference: {name}")
        halved = [a + b for a, b in zip(halved, intervals_inside(values, widths, 0.5), strict=True)]
    assert coverage_probability(*halved) < 1e-6


def test_map_errors_hold_over_seeds(seeded):
    """Cells of the smoothed difference map far enough apart to be independent: the same."""
    _, maps = seeded
    cells = (slice(3, None, 6), slice(3, None, 6))
    values = [m.value[cells] for m in maps]
    widths = [student_factor(m.dof) * m.standard_error[cells] for m in maps]
    within_probability(coverage_probability(*intervals_inside(values, widths)), "coverage of the difference map")
    assert coverage_probability(*intervals_inside(values, widths, 0.5)) < 1e-6


def test_common_random_numbers_pay(seeded):
    """The error of a difference is well under that of two unrelated traces."""
    points, _ = seeded
    paired = np.mean([p[1].standard_error for p in points])
    clean, before, _ = cleaning_pair(box())
    apart = [trace_paired([lower(s)], photons=PHOTONS)[0].result.zones()["whole bed"] for s in (clean, before)]
    assert paired < 0.7 * np.hypot(*(e.standard_error for e in apart))


def test_a_light_more_is_paired_with_the_light_that_stays():
    """A second light takes little from the pairing of the first, whose random numbers go by fixture and channel."""
    one = lowered_box()
    two = lowered_box(fixture=[light(), light(name="second", position=["15 cm", "4 cm"])])
    first, second = (t.result for t in trace_paired([one, two], photons=2 * PHOTONS))
    (found,) = point_difference(second, first, [1], [1])
    added = second.dimmed({"clip light: white": 0.0}).zones()["whole bed"]
    # The body of the second light throws some of the first one's light back down.
    assert found.value == pytest.approx(added.value, rel=0.02)
    # The light that stays has twice the batches where it is alone: half of them have no partner.
    alone = first.zones()["whole bed"].standard_error
    assert found.standard_error < 1.3 * np.hypot(added.standard_error, alone)
    assert 1.3 * np.hypot(added.standard_error, alone) < np.hypot(alone, second.zones()["whole bed"].standard_error)
