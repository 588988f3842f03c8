"""Every sampler against its own law: chi-square on independent numbers, and a planted bias that the test must catch."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numba import njit

from checking import chi_square, chi_square_probability, within_probability
from false_alarms import ONE_CHECK
from underlit.lowering.world import World, rectangle
from underlit.optics.frames import direction_about, random_polarisation
from underlit.optics.fresnel import cross_interface
from underlit.optics.lens import cosine_power_cosine, table_angle
from underlit.optics.scattering import henyey_greenstein_cosine, lambertian_cosine
from underlit.optics.vectors import vector
from underlit.transport.emission import lens_table, pick_bin
from underlit.transport.randomness import (
    CHOICE,
    COSINE,
    FREE_PATH,
    NEW_POLARISATION,
    ROULETTE,
    ROUND,
    batch_key,
    event_number,
    photon_key,
)
from underlit.transport.tables import PACKET, FaceShape

N = 200_000
CELLS = 40


@njit
def _cosine_power(exponent, u, out):
    for i in range(len(u)):
        out[i] = cosine_power_cosine(exponent, u[i])


@njit
def _table(rows, first, count, u, out):
    for i in range(len(u)):
        out[i] = table_angle(rows, first, count, u[i])


@njit
def _lambertian(u, out):
    for i in range(len(u)):
        out[i] = lambertian_cosine(u[i])


@njit(error_model="numpy")
def _henyey_greenstein(g, u, out):
    for i in range(len(u)):
        out[i] = henyey_greenstein_cosine(g, u[i])


@njit
def _bins(cumulative, u, out):
    for i in range(len(u)):
        out[i] = pick_bin(cumulative, u[i])


@njit(error_model="numpy")
def _directions(x, y, z, u, v, out):
    for i in range(len(u)):
        out[i, 0], out[i, 1], out[i, 2] = direction_about((x, y, z), lambertian_cosine(u[i]), 2 * math.pi * v[i])


@njit(error_model="numpy")
def _polarisations(x, y, z, u, out):
    for i in range(len(u)):
        out[i, 0], out[i, 1], out[i, 2] = random_polarisation((x, y, z), u[i])


@njit(error_model="numpy")
def _crossings(d, e, n, n1, n2, u, out):
    for i in range(len(u)):
        out[i] = cross_interface(vector(d), vector(e[i]), vector(n), n1, n2, u[i])[0]


@njit
def _event_numbers(seed, events, dimension, out):
    key = batch_key(seed, np.uint64(3), np.uint64(0))
    for i in range(out.shape[0]):
        k = photon_key(key, np.uint64(i))
        for e in range(events):
            out[i, e] = event_number(k, e + 1, dimension)


def uniform(seed):
    return np.random.default_rng(seed).uniform(size=N)


def check(samples, cumulative, edges, what):
    """Chi-square of samples against a cumulative law over cells; one sample in 25 moved to the lower half must show."""
    observed = np.histogram(samples, edges)[0]
    assert observed.sum() == len(samples)
    expected = np.diff(cumulative(edges)) * len(samples)
    chi_square(observed, expected, what)
    low = samples[samples < np.median(samples)]
    biased = np.concatenate([samples[: -N // 25], low[: N // 25]])
    assert chi_square_probability(np.histogram(biased, edges)[0], expected) < ONE_CHECK


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0, 7.3, 90.0])
def test_cosine_power(exponent):
    """Flux within cos >= c of I0 cos^m: 1 - c^(m+1)."""
    out = np.empty(N)
    _cosine_power(exponent, uniform(1), out)
    edges = np.linspace(0, 1, CELLS + 1) ** (1 / (exponent + 1))
    check(out, lambda c: c ** (exponent + 1), edges, f"cos^{exponent}")


def test_lambertian():
    """Flux within cos >= c: 1 - c^2."""
    out = np.empty(N)
    _lambertian(uniform(2), out)
    check(out, lambda c: c**2, np.linspace(0, 1, CELLS + 1), "Lambertian cosine")


@pytest.mark.parametrize("g", [-0.6, 0.0, 1e-3, 0.5, 0.9, 0.98])
def test_henyey_greenstein(g):
    """Henyey & Greenstein's law (Astrophys. J. 93:70, 1941) by cells; mean cosine g."""
    out = np.empty(N)
    _henyey_greenstein(g, uniform(3), out)

    def cumulative(c):
        if g == 0.0:
            return (1 + c) / 2
        return (1 - g * g) / (2 * g) * (1 / np.sqrt(1 + g * g - 2 * g * c) - 1 / (1 + g))

    # cells of equal probability, so that a sharp forward peak is resolved
    fine = np.concatenate([-1 + 2 * np.linspace(0, 1, 4001), 1 - np.geomspace(1e-6, 1e-3, 200)])
    fine = np.unique(np.clip(fine, -1, 1))
    edges = np.interp(np.linspace(0, 1, CELLS + 1), cumulative(fine), fine)
    edges[0], edges[-1] = -1.0, 1.0
    check(out, cumulative, edges, f"Henyey-Greenstein g = {g}")
    z = (out.mean() - g) / (np.std(out) / math.sqrt(N))
    within_probability(math.erfc(abs(z) / math.sqrt(2)), f"Henyey-Greenstein mean, g = {g}")


def test_table_lens():
    """Intensity linear between nodes, one of them zero: flux goes as I sin(theta)."""
    theta, intensity = np.array([0.0, 0.3, 0.5, 1.0, 1.4]), np.array([2.0, 3.0, 0.0, 1.0, 0.2])
    rows = np.concatenate([np.full((3, 3), 7.0), lens_table(theta, intensity)])
    out = np.empty(N)
    _table(rows, 3, 5, uniform(4), out)
    fine = np.linspace(0, 1.4, 280_001)
    density = np.interp(fine, theta, intensity) * np.sin(fine)
    flux = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    check(out, lambda t: np.interp(t, fine, flux / flux[-1]), np.linspace(0, 1.4, CELLS + 1), "table lens")


def test_spectrum_bins():
    """Bins by their share of photons; bins of none are never drawn."""
    photons = np.abs(np.sin(np.arange(60) * 0.7)) * (np.arange(60) % 5 > 0)
    cumulative = np.cumsum(photons) / photons.sum()
    cumulative[-1] = 1.0
    out = np.empty(N)
    _bins(cumulative, uniform(5), out)
    counts = np.bincount(out.astype(int), minlength=60)
    assert (counts[photons == 0] == 0).all()
    expected = photons / photons.sum() * N
    chi_square(counts[photons > 0], expected[photons > 0], "spectrum bins")


@pytest.mark.parametrize(
    "axis", [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, 0.0, -0.8), (0.1, -0.7, 1e-9), (1.0, 2.0, 3.0)]
)
def test_lambertian_directions_round_any_axis(axis):
    """Unit directions; cosine and azimuth independent and after their laws, in whatever frame."""
    a = np.array(axis) / np.linalg.norm(axis)
    out = np.empty((N, 3))
    _directions(*a, uniform(6), uniform(7), out)
    assert np.linalg.norm(out, axis=1) == pytest.approx(1.0, abs=1e-14)
    across = np.cross(a, [0.2, 0.9, -0.4])
    across /= np.linalg.norm(across)
    azimuth = np.arctan2(out @ np.cross(a, across), out @ across)
    cells = np.histogram2d((out @ a) ** 2, azimuth, bins=[np.linspace(0, 1, 9), np.linspace(-np.pi, np.pi, 13)])[0]
    chi_square(cells, np.full(cells.shape, N / cells.size), f"directions round {axis}")


@pytest.mark.parametrize("axis", [(0.0, 0.0, -1.0), (0.48, -0.6, 0.64)])
def test_polarisation_is_random_and_transverse(axis):
    """Unit vectors across the ray, all angles alike."""
    out = np.empty((N, 3))
    _polarisations(*axis, uniform(8), out)
    assert np.abs(out @ np.array(axis)).max() < 1e-14
    a = np.cross(axis, [0.2, 0.9, -0.4])
    a /= np.linalg.norm(a)
    turned = np.arctan2(out @ np.cross(axis, a), out @ a)
    check(turned, lambda t: (t + np.pi) / (2 * np.pi), np.linspace(-np.pi, np.pi, CELLS + 1), "polarisation")


@pytest.mark.parametrize(
    ("degrees", "n1", "n2"), [(0, 1, 1.5), (40, 1, 1.333), (75, 1, 1.52), (30, 1.5, 1.0), (41, 1.52, 1.0)]
)
def test_interface_reflects_as_often_as_fresnel_says(degrees, n1, n2):
    """Unpolarised light on a skew plane: reflected and refracted counts."""
    theta = max(math.radians(degrees), 1e-6)
    refracted = math.asin(n1 / n2 * math.sin(theta))
    r_s = (math.sin(theta - refracted) / math.sin(theta + refracted)) ** 2
    r_p = (math.tan(theta - refracted) / math.tan(theta + refracted)) ** 2
    n = np.array([1.0, -2.0, 2.0]) / 3
    across = np.array([2.0, 2.0, 1.0]) / 3
    d = math.sin(theta) * across - math.cos(theta) * n
    e, out = np.empty((N, 3)), np.empty(N)
    _polarisations(*d, uniform(9), e)
    _crossings(d, e, n, float(n1), float(n2), uniform(10), out)
    share = (r_s + r_p) / 2
    through = int(out.sum())
    chi_square([N - through, through], [share * N, (1 - share) * N], f"interface at {degrees} deg, {n1} to {n2}")


@pytest.mark.parametrize("dimension", [FREE_PATH, CHOICE, COSINE, ROUND, NEW_POLARISATION, ROULETTE])
def test_hashed_numbers_are_uniform_and_pairs_independent(dimension):
    """Of one dimension, one event and the next, by photon."""
    out = np.empty((N, 2))
    _event_numbers(np.uint64(12), 2, dimension, out)
    cells = np.histogram2d(out[:, 0], out[:, 1], bins=16, range=[[0, 1], [0, 1]])[0]
    chi_square(cells, np.full(cells.shape, N / cells.size), f"hashed numbers, dimension {dimension}")
    assert out.min() >= 0.0
    assert out.max() < 1.0


@pytest.mark.parametrize("face", list(FaceShape))
def test_emitting_face(face):
    """A parallel beam prints its face on a sheet: even over rectangle or disc, LEDs alike; emission is evener than chance."""
    from underlit.backends.cpu import Tracer
    from underlit.lowering.compiled import Grid

    world = World()
    world.add_mesh("sheet", *rectangle((-1, -1, 0), (2, 0, 0), (0, 2, 0)), world.opaque("sheet", 0.0))
    nx, ny = 40, 20
    world.add_map("sheet", Grid((-1, -0.5, 0), (0.05, 0.05, 1), (nx, ny, 1), np.full((1, ny, nx), 0.0025)))
    half = (0.3, 0.2) if face == FaceShape.RECTANGLE else (0.35, 0.35)
    centres = [(-0.5, 0.0, 0.2), (0.5, 0.0, 0.2)]
    world.add_source("panel", centres, ppf=1.0, half_size=half, face=face, beam_exponent=1e30)
    tracer = Tracer(world.compile().tables, batch_bits=16)
    tracer.run([8])
    row = tracer.tables.layout[0]
    cells = tracer.counts[0].groups[:, int(row["map"]) : int(row["planes"])].sum(axis=0).reshape(ny, nx) / PACKET
    fine = (np.arange(40 * 50) + 0.5) / 50 * 0.05 - 1
    x, y = np.meshgrid(fine, fine[np.abs(fine) < 0.5])
    expected = np.zeros((ny, nx))
    for cx, cy, _ in centres:
        if face == FaceShape.RECTANGLE:
            inside = (np.abs(x - cx) <= half[0]) & (np.abs(y - cy) <= half[1])
        else:
            inside = (x - cx) ** 2 + (y - cy) ** 2 <= half[0] ** 2
        expected += inside.reshape(ny, 50, nx, 50).sum(axis=(1, 3))
    expected *= cells.sum() / expected.sum()
    assert cells.sum() == 8 * 65536
    chi_square(cells[expected > 0], expected[expected > 0], f"emitting face {face.name}")
    assert (cells[expected == 0] == 0).all()
    # a face half a cell off centre would show
    assert chi_square_probability(np.roll(cells, 1, axis=1)[expected > 0] + 1e-9, expected[expected > 0] * (
        np.roll(cells, 1, axis=1)[expected > 0].sum() / expected[expected > 0].sum())) < ONE_CHECK  # fmt: skip
