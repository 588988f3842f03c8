"""The counts are the same bits whatever the threads, their timing and the process; other seeds agree within their errors."""

from __future__ import annotations

import math
import os
import random
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from tanks import digest, full_tank

import underlit
from checking import flux_in_zone, trace, within_probability
from underlit.backends.cpu import Tracer
from underlit.lowering.world import World, box, rectangle
from underlit.results.estimate import mean_of_batches, mean_of_groups, student_factor


def fingerprint(threads: int, seed: int = 5, hook=None, steps=(5,)) -> str:
    tracer = Tracer(full_tank().compile().tables, seed=seed, batch_bits=14, threads=threads, slice_hook=hook)
    for target in steps:
        tracer.run([target])
    return digest(tracer)


def test_same_bits_on_any_number_of_threads_with_random_delays():
    """1, 2 and 7 threads, each slice held up at random; also in several runs one after the other."""
    rng = random.Random(11)
    first = fingerprint(1)
    for threads in (2, 7):
        assert fingerprint(threads, hook=lambda: time.sleep(rng.choice((0.0, 0.0, rng.uniform(0, 0.03))))) == first
    assert fingerprint(2, steps=(1, 2, 5)) == first
    assert fingerprint(2, seed=6) != first


def test_same_bits_from_process_to_process():
    """A fresh interpreter, another hash seed, another number of threads."""
    here = Path(__file__).parent
    package = Path(underlit.__file__).parents[1]
    environment = {**os.environ, "PYTHONHASHSEED": "77", "PYTHONPATH": f"{package}{os.pathsep}{here}"}
    command = [sys.executable, str(here / "tanks.py"), "5", "3"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=300, check=True)
    assert done.stdout.strip() == fingerprint(1)


def grey_box() -> tuple[World, float]:
    """Roulette decides: E = 1 / (1 - rho)."""
    world = World()
    world.add_mesh("box", *box((0, 0, 0), (1, 0.7, 0.4), inward=True), world.opaque("box", 0.7))
    world.add_surface_zone("zone", "box", area=1.0, min_up=-2.0)
    world.add_source("lamp", [(0.5, 0.3, 0.2)], ppf=1.0)
    return world, 1 / 0.3


def rectangle_over_element() -> tuple[World, float]:
    """The emission's low-discrepancy numbers decide (configuration factor, Howell B-3)."""
    world = World()
    world.add_mesh("panel", *rectangle((0, 0, 0.4), (0, 0.3, 0), (0.6, 0, 0)), world.opaque("panel", 0.0))
    world.add_surface_zone("zone", "panel", area=1.0, min_up=-2.0)
    world.add_source("element", [(0, 0, 0)], ppf=1.0, axis=(0, 0, 1))
    x, y = 1.5, 0.75
    p, q = math.hypot(1, x), math.hypot(1, y)
    return world, (x / p * math.atan(y / p) + y / q * math.atan(x / q)) / (2 * math.pi)


def pane() -> tuple[World, float]:
    """Fresnel's choices decide: a pane at normal incidence, T = (1 - R) / (1 + R)."""
    world = World()
    glass = world.medium("glass", 1.52)
    world.add_mesh("pane", *box((-9, -9, 0.1), (9, 9, 0.11)), world.interface("pane", 0, glass))
    world.add_mesh("floor", *rectangle((-9, -9, 0), (18, 0, 0), (0, 18, 0)), world.opaque("floor", 0.0))
    world.add_surface_zone("zone", "floor", area=1.0)
    world.add_source("beam", [(0, 0, 0.2)], ppf=1.0, beam_exponent=1e12)
    r = (0.52 / 2.52) ** 2
    return world, (1 - r) / (1 + r)


SEEDS = 64


@pytest.mark.parametrize("room", [grey_box, rectangle_over_element, pane])
def test_pulls_follow_student_and_intervals_cover(room):
    """Over 64 seeds of 16 batches: z follows Student's t (Kolmogorov & Smirnov); 95 % and 50 % intervals cover as often."""
    from scipy.stats import binomtest, kstest, t

    world, exact = room()
    estimates = [flux_in_zone(trace(world, photons_log2=16, batches=16, seed=1000 + s), "zone") for s in range(SEEDS)]
    assert {e.dof for e in estimates} == {15.0}
    pulls = np.array([(e.value - exact) / e.standard_error for e in estimates])
    within_probability(kstest(pulls, t(15).cdf).pvalue, f"pulls of {room.__name__}")
    # errors too small or too large by a factor of two would show
    for wrong in (2.0, 0.5):
        assert kstest(pulls * wrong, t(15).cdf).pvalue < 0.05
    for coverage in (0.95, 0.5):
        inside = sum(abs(e.value - exact) <= student_factor(15, coverage) * e.standard_error for e in estimates)
        within_probability(binomtest(inside, SEEDS, coverage).pvalue, f"{coverage} intervals of {room.__name__}")
    assert sum(abs(e.value - exact) <= e.half_width for e in estimates) == sum(
        abs(p) <= t(15).ppf(0.975) for p in pulls
    )


@pytest.mark.parametrize("batches", [16, 32, 48, 80])
def test_group_means_give_the_same_error_law(batches):
    """Cells keep 32 groups of batches, not every batch: their error follows Student's t too, full groups or not."""
    from scipy.stats import kstest, t

    rng = np.random.default_rng(batches)
    rows = rng.normal(3.0, 0.2, (batches, 2000))
    group = np.arange(batches) % 32
    counts = np.bincount(group, minlength=32)
    means = np.array([rows[group == g].sum(axis=0) / max(1, counts[g]) for g in range(32)])
    value, variance, dof = mean_of_groups(means, counts)
    plain_value, plain_variance, plain_dof = mean_of_batches(rows)
    assert value == pytest.approx(plain_value, rel=1e-12)
    assert dof == min(batches, 32) - 1
    within_probability(kstest((value - 3.0) / np.sqrt(variance), t(dof).cdf).pvalue, f"groups of {batches} batches")
    if batches <= 32:
        assert variance == pytest.approx(plain_variance, rel=1e-9)
        assert dof == plain_dof
