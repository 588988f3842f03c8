"""The oracle against closed forms and published values. Seeds are fixed; z limits of 4.5 are 7e-6 by chance each."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_sketch import AIR, EXIT, Sketch, ledger_gap, lens_rows, section

from underlit.backends import reference
from underlit.backends import reference_formulas as own
from underlit.backends.visits import ESCAPED, SCATTERED
from underlit.transport.tables import BINS, PACKET, Bucket, Counter


def test_mix_gives_the_published_splitmix64_sequence():
    # first outputs of SplitMix64 from seed 1234567 (the check values commonly published for the generator)
    expected = [6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431]
    assert [own.mix((1234567 + (k + 1) * own.GOLDEN) & own.MASK) for k in range(4)] == expected


def test_sobol_numbers_against_an_independent_library():
    """Joe & Kuo's direction numbers as scipy.stats.qmc carries them (its points run in Gray code, as ours)."""
    from scipy.stats import qmc

    from underlit.transport.randomness import SOBOL_DIRECTIONS

    assert SOBOL_DIRECTIONS.tolist() == own.SOBOL
    theirs = qmc.Sobol(9, scramble=False, bits=32).random(256)
    for i, point in enumerate(theirs):
        for d in range(9):
            mine = 0
            for k in range(32):
                mine ^= own.SOBOL[d][k] * ((i ^ i >> 1) >> k & 1)
            assert mine * 2.0**-32 == point[d]


def test_a_batch_is_a_net_and_batches_differ():
    """Any 2^k points of a batch that start at a multiple of 2^k fall one each into 2^k equal cells of every axis."""
    points = np.array([own.low_discrepancy(12345, i) for i in range(512)])
    for k in (4, 6, 9):
        for start in range(0, 512, 2**k):
            cells = np.sort((points[start : start + 2**k] * 2**k).astype(int), axis=0)
            assert (cells == np.arange(2**k)[:, None]).all()
    assert not np.array_equal(points, np.array([own.low_discrepancy(12346, i) for i in range(512)]))


def test_lens_angle_inverts_the_flux():
    nodes = np.array([[0.0, 3.0], [0.4, 2.0], [0.8, 2.5], [1.5, 0.0]])
    rows = np.array(lens_rows(nodes))
    theta = np.linspace(0.0, 1.5, 200_001)
    density = np.interp(theta, nodes[:, 0], nodes[:, 1]) * np.sin(theta)
    flux = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    for u in (0.0, 1e-9, 0.1, 0.37, 0.5, 0.93, 1.0 - 2.0**-53):
        assert np.interp(own.lens_angle(rows, u), theta, flux) / flux[-1] == pytest.approx(u, abs=1e-9)


@pytest.mark.parametrize("g", [-0.7, 0.0, 1e-5, 0.3, 0.95])
def test_scattering_cosine_follows_henyey_greenstein(g):
    """The share below a cosine is the closed-form distribution of the law; its mean is g."""
    u = (np.arange(4000) + 0.5) / 4000
    cosine = np.array([own.scattering_cosine(g, float(x)) for x in u])
    assert cosine.mean() == pytest.approx(g, abs=1e-5)
    if abs(g) > 1e-3:
        share = (1 - g * g) / (2 * g) * (1 / np.sqrt(1 + g * g - 2 * g * cosine) - 1 / (1 + g))
        assert share == pytest.approx(u, abs=1e-11)


def solid_angle(x0, x1, y0, y1, h):
    """Of a rectangle in a plane at distance h, coordinates from the foot of the perpendicular."""

    def corner(x, y):
        return math.atan(x * y / (h * math.sqrt(x * x + y * y + h * h)))

    return corner(x1, y1) - corner(x0, y1) - corner(x1, y0) + corner(x0, y0)


def test_inverse_square_under_a_point_source():
    """Even intensity over the lower hemisphere: a map cell receives its solid angle over 2 pi."""
    sketch, n = Sketch(), 20_000
    sketch.level(-1, 1, -1, 1, 0, sketch.opaque(0.0), part=3)
    sketch.source([(0.1, 0.05, 0.8)], exponent=0.0)
    sketch.map(3, (5, 4), (-1, -1), (0.4, 0.5))
    tables = sketch.build()
    row, visits = reference.trace(tables, 0, seed=1, batch=0, first=0, count=n)
    cells = section(tables, row, "map").reshape(4, 5) / (n * PACKET)
    for j in range(4):
        for i in range(5):
            x, y = -1 + 0.4 * i - 0.1, -1 + 0.5 * j - 0.05
            share = solid_angle(x, x + 0.4, y, y + 0.5, 0.8) / (2 * math.pi)
            assert abs(cells[j, i] - share) < 4.5 * math.sqrt(share * (1 - share) / n)
    assert ledger_gap(tables, row) == 0
    assert sum(v == [ESCAPED] for v in visits) * PACKET == section(tables, row, "ledger")[EXIT]


def launch(sketch: Sketch, directions, polarisations, height=0.5):
    """Photons of given direction and polarisation from (0, 0, height); (tables, row)."""
    sketch.source([(0.0, 0.0, height)])
    tables = sketch.build()
    tracer = reference.Oracle(tables)
    photons = [tracer.emit(0, own.batch_key(7, 0, 0), i) for i in range(len(directions))]
    for photon, d, e in zip(photons, directions, polarisations, strict=True):
        photon.direction, photon.polarisation = d, e
    tracer.walk(photons)
    return tables, np.array(tracer.row)


@pytest.mark.parametrize("polarisation", ["s", "p"])
@pytest.mark.parametrize("degrees", [0.0, 30.0, 56.30993247402021, 75.0])
def test_slab_transmittance(degrees, polarisation):
    """Plane slab with all inner reflections (Born & Wolf 1.5.2 for R): T = (1 - R)^2 k / (1 - R^2 k^2)."""
    n, index, thickness, absorption = 4000, 1.5, 0.01, 30.0
    sketch = Sketch()
    glass = sketch.medium(index, absorption)
    surface = sketch.interface(AIR, glass)
    sketch.box((-9, -9, -thickness), (9, 9, 0), surface)
    sketch.level(-99, 99, -99, 99, -0.2, sketch.opaque(0.0))
    i = math.radians(degrees)
    refracted = math.asin(math.sin(i) / index)
    if degrees == 0.0:
        r = ((index - 1) / (index + 1)) ** 2
    elif polarisation == "s":
        r = (math.sin(i - refracted) / math.sin(i + refracted)) ** 2
    else:
        r = (math.tan(i - refracted) / math.tan(i + refracted)) ** 2
    k = math.exp(-absorption * thickness / math.cos(refracted))
    expected = (1 - r) ** 2 * k / (1 - (r * k) ** 2)
    e = (0.0, 1.0, 0.0) if polarisation == "s" else (math.cos(i), 0.0, math.sin(i))
    tables, row = launch(sketch, [(math.sin(i), 0.0, -math.cos(i))] * n, [e] * n)
    ledger = section(tables, row, "ledger")
    measured = ledger[tables.surfaces[1]["bucket_front"]] / (n * PACKET)
    assert abs(measured - expected) < 4.5 * math.sqrt(expected * max(2 * r, 1e-9) / n)
    assert ledger_gap(tables, row) == 0
    assert ledger[Bucket.LOST] == 0


def water_over_black_floor(exponent: float, n: int, index=1.333, height=0.3, depth=0.4, radius=0.35):
    """Share of a point source's light (at height above water) that reaches the floor, and within a radius there."""
    sketch = Sketch()
    water = sketch.medium(index)
    sketch.level(-500, 500, -500, 500, depth, sketch.interface(AIR, water))
    sketch.level(-500, 500, -500, 500, 0.0, sketch.opaque(0.0), part=1)
    sketch.source([(0.0, 0.0, depth + height)], exponent)
    turn = 2 * np.pi * np.arange(720) / 720
    sketch.zone(np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1).tolist(), part=1)
    sketch.zone(part=1)
    tables = sketch.build()
    row, _ = reference.trace(tables, 0, seed=3, batch=2, first=0, count=n)
    assert ledger_gap(tables, row) == 0
    assert section(tables, row, "counters")[Counter.PASSED_OVER] == 0
    within, all_of_it = section(tables, row, "zones") / (n * PACKET)
    return within, all_of_it


def test_floor_under_flat_water():
    """Every angle lands at h tan + D tan' with Fresnel's mean transmittance (integrated by the midpoint rule)."""
    n, index, height, depth, radius = 20_000, 1.333, 0.3, 0.4, 0.35
    within, all_of_it = water_over_black_floor(0.0, n, index, height, depth, radius)
    i = (np.arange(200_000) + 0.5) / 200_000 * np.pi / 2
    refracted = np.arcsin(np.sin(i) / index)
    r_s = (np.sin(i - refracted) / np.sin(i + refracted)) ** 2
    r_p = (np.tan(i - refracted) / np.tan(i + refracted)) ** 2
    share = (1 - 0.5 * (r_s + r_p)) * np.sin(i) * (i[1] - i[0])
    landing = height * np.tan(i) + depth * np.tan(refracted)
    for measured, expected in ((within, share[landing < radius].sum()), (all_of_it, share.sum())):
        assert abs(measured - expected) < 4.5 * math.sqrt(expected * (1 - expected) / n)


def test_diffuse_light_enters_water_as_walsh_found():
    """Diffuse reflectance of a smooth surface in closed form (Walsh 1926; Judd, J. Res. NBS 29:329, 1942)."""
    n, m = 20_000, 1.333
    walsh = (
        0.5
        + (m - 1) * (3 * m + 1) / (6 * (m + 1) ** 2)
        + m**2 * (m**2 - 1) ** 2 / (m**2 + 1) ** 3 * math.log((m - 1) / (m + 1))
        - 2 * m**3 * (m**2 + 2 * m - 1) / ((m**2 + 1) * (m**4 - 1))
        + 8 * m**4 * (m**4 + 1) / ((m**2 + 1) * (m**4 - 1) ** 2) * math.log(m)
    )
    assert walsh == pytest.approx(0.066, abs=0.001)
    _, entered = water_over_black_floor(1.0, n, m)
    assert abs(1 - entered - walsh) < 4.5 * math.sqrt(walsh * (1 - walsh) / n)


def test_closed_grey_box():
    """All walls reflect the share rho: light arrives 1 / (1 - rho) times; all that is emitted is absorbed."""
    n, rho = 3000, 0.8
    sketch = Sketch()
    sketch.box((0, 0, 0), (1, 1, 1), sketch.opaque(0.0, rho))
    sketch.source([(0.5, 0.5, 0.5)])
    tables = sketch.build()
    row, _ = reference.trace(tables, 0, seed=5, batch=1, first=100, count=n)
    ledger = section(tables, row, "ledger")
    assert ledger_gap(tables, row) == 0
    assert ledger[EXIT] == 0
    assert ledger[Bucket.LOST] == 0
    arrived = section(tables, row, "faces").sum() / (n * PACKET)
    # Without roulette every packet brings 1/(1 - rho) = 5. Roulette after 7 bounces (w = 0.8^7 = 0.21, survival 0.42 to
    # w = 0.5, worth 2.5) and after every 4 more (0.5 * 0.8^4 = 0.2, survival 0.41) gives a variance
    # V = 0.41 V + 0.41 * 0.59 * 2.5^2 = 2.6 for w = 0.5 and 0.42 V + 0.42 * 0.58 * 2.5^2 = 2.6 for a packet.
    deviation = math.sqrt(2.6 / n)
    assert abs(arrived - 1 / (1 - rho)) < 4.5 * deviation
    absorbed = ledger[tables.surfaces[0]["bucket_back"]] / (n * PACKET)
    assert abs(absorbed - 1.0) < 4.5 * (1 - rho) * deviation


def test_absorbing_water_follows_beer():
    """Straight down through d metres: exp(-a d), to the rounding of the quanta; planes see it on the way."""
    sketch = Sketch()
    water = sketch.medium(1.0, absorption=2.0)
    sketch.level(-9, 9, -9, 9, 0.5, sketch.interface(AIR, water))
    sketch.level(-9, 9, -9, 9, 0.0, sketch.opaque(0.0))
    sketch.stack((1, 1, 3), (-1, -1, 0.1), (2.0, 2.0, 0.1))
    sketch.head((0, 0, 0.25), (0, 0, 1), 0.01)
    sketch.head((0.02, 0, 0.25), (0, 0, 1), 0.01)
    tables, row = launch(sketch, [(0.0, 0.0, -1.0)], [(1.0, 0.0, 0.0)], height=0.75)
    planes = section(tables, row, "planes")
    assert planes == pytest.approx([PACKET * math.exp(-2 * d) for d in (0.4, 0.3, 0.2)], abs=1)
    assert section(tables, row, "heads") == pytest.approx([PACKET * math.exp(-0.5), 0], abs=1)
    assert section(tables, row, "faces")[4] == pytest.approx(PACKET * math.exp(-1.0), abs=1)


def test_scattering_water_thins_the_straight_light():
    """The share that reaches the floor unscattered is exp(-b d)."""
    n, b, depth = 10_000, 3.0, 0.5
    sketch = Sketch()
    water = sketch.medium(1.0, scattering=b, g=0.9)
    sketch.level(-9, 9, -9, 9, depth, sketch.interface(AIR, water))
    sketch.level(-9, 9, -9, 9, 0.0, sketch.opaque(0.0))
    sketch.source([(0.0, 0.0, 0.75)], exponent=1e9)
    tables = sketch.build()
    row, visits = reference.trace(tables, 0, seed=11, batch=0, first=0, count=n)
    straight = sum(SCATTERED not in v for v in visits) / n
    share = math.exp(-b * depth)
    assert abs(straight - share) < 4.5 * math.sqrt(share * (1 - share) / n)
    scatterings = sum(v.count(SCATTERED) for v in visits)
    assert section(tables, row, "counters")[Counter.SCATTERINGS] == scatterings
    assert ledger_gap(tables, row) == 0


def test_numbers_depend_on_the_key_alone():
    """Photons one by one are the photons together."""
    sketch = Sketch()
    water = sketch.medium(np.linspace(1.34, 1.33, BINS), 0.5, 2.0, 0.8)
    sketch.box((0, 0, 0), (1, 1, 0.5), sketch.interface(AIR, water))
    sketch.level(0.1, 0.9, 0.1, 0.9, 0.1, sketch.opaque(0.6))
    sketch.source([(0.4, 0.5, 0.8), (0.6, 0.5, 0.8)], half=(0.01, 0.02))
    tables = sketch.build()
    together, visits = reference.trace(tables, 0, seed=2, batch=3, first=10, count=40)
    parts = [reference.trace(tables, 0, seed=2, batch=3, first=10 + i, count=1) for i in range(40)]
    assert (sum(row for row, _ in parts) == together).all()
    assert [v for _, (v,) in parts] == visits
