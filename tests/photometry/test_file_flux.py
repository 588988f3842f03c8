"""Lumens of the interpolated distribution: closed forms, quadrature, and an independent reader of both formats."""

from __future__ import annotations

import importlib.util
import math
import os
import sys
from pathlib import Path

import numpy as np
import pytest
import written
from written import eulumdat, lengthways, lm63, lopsided, to_one_side

from underlit.photometry.files import (
    downward_share,
    intensity_at,
    irradiance_at,
    lower_half,
    parse_photometry,
    total_flux,
    upper_half,
)
from underlit.photometry.point import Head
from underlit.transport.emission import web_block


def parse(text):
    return parse_photometry(text.encode(), name="own")


@pytest.mark.parametrize(("power", "interpolated", "smooth"), [(1, 3139.60, 3141.59), (2, 2097.05, 2094.40)])
def test_cosines_over_five_degree_steps(power, interpolated, smooth):
    """1000 cos^m at 5 deg steps, piecewise linear: 2 pi times the sum of the closed integrals; smooth 2000 pi/(m + 1)."""
    flux = total_flux(parse(lm63(written.cosine(power=power), planes=[0])))
    assert flux == pytest.approx(interpolated, abs=0.005)
    assert flux != pytest.approx(smooth, abs=1.0)
    by_pieces = 0.0
    for low in np.radians(np.arange(0, 90, 5)):
        high = low + math.radians(5)
        i0, i1 = 1000 * math.cos(low) ** power, 1000 * max(math.cos(high), 0.0) ** power
        slope = (i1 - i0) / (high - low)
        # integral of (i0 + slope (t - low)) sin t
        by_pieces += i0 * math.cos(low) - i1 * math.cos(high) + slope * (math.sin(high) - math.sin(low))
    assert flux == pytest.approx(2 * math.pi * by_pieces, rel=1e-9)
    assert total_flux(parse(eulumdat(written.cosine(power=power), symmetry=1))) == pytest.approx(flux, rel=1e-9)


@pytest.mark.parametrize("intensity", [lopsided, lengthways, to_one_side(70)])
def test_flux_against_quadrature(intensity):
    """Midpoints of a fine grid over the sphere, through `intensity_at`."""
    found = parse(lm63(intensity, planes=range(0, 361, 15), angles=[0, 7, 20, 45, 60, 80, 95, 130, 170]))
    azimuth, angle = (np.arange(720) + 0.5) * math.pi / 360, (np.arange(3600) + 0.5) * math.pi / 3600
    values = intensity_at(found, *np.meshgrid(azimuth, angle, indexing="ij"))
    flux = (values * np.sin(angle)).sum() * (math.pi / 360) * (math.pi / 3600)
    assert total_flux(found) == pytest.approx(flux, rel=2e-5)


@pytest.mark.parametrize("angles", [range(0, 181, 5), [0, 30, 70, 100, 180], range(0, 91, 5), range(90, 181, 5)])
def test_halves_make_the_whole(angles):
    """Cut at the horizontal, also between two angles of the file, nothing is lost; the sampler's table holds as much."""
    found = parse(lm63(lopsided, planes=range(0, 361, 30), angles=angles))
    halves = [half for half in (lower_half(found), upper_half(found)) if half is not None]
    assert len(halves) == 1 + (min(angles) < 90 < max(angles))
    total = 0.0
    for azimuth, theta, intensity in halves:
        assert 0 <= theta[0] < theta[-1] <= math.pi / 2 + 1e-12
        planes = web_block(azimuth, theta, intensity)[len(azimuth) + len(theta) + intensity.size :]
        flux = planes[: intensity.size].reshape(intensity.shape)[:, -1]
        total += float((0.5 * (flux[:-1] + flux[1:]) * np.diff(azimuth)).sum())
    assert total == pytest.approx(total_flux(found), rel=1e-9)
    assert downward_share(found) == pytest.approx(1.0 if max(angles) == 90 else downward_share(found))


def test_irradiance_of_a_point_and_of_a_disc():
    """Point: I/d^2. Lambertian disc of radius r, on its axis: E/flux = sin^2(theta) / (pi r^2)."""
    point = parse(lm63(written.cosine(800.0), planes=[0], opening="0 0 0"))
    assert irradiance_at(point, Head(0.5)) * total_flux(point) == pytest.approx(800.0 / 0.25, rel=1e-9)
    fine = [k / 2 for k in range(181)]
    disc = parse(lm63(written.cosine(), planes=[0], angles=fine, opening="-0.4 -0.4 0"))
    exact = 0.2**2 / (0.2**2 + 0.3**2) / (math.pi * 0.2**2)
    assert irradiance_at(disc, Head(0.3)) == pytest.approx(exact, rel=2e-3)
    with pytest.raises(ValueError, match="more than 0"):
        irradiance_at(disc, Head(0.0))


def test_irradiance_of_a_sided_light_under_its_middle():
    """What shines towards -x reaches the middle from the half at +x: sum over the points of the opening."""
    found = parse(lm63(to_one_side(180), planes=range(0, 361, 15), opening="0.1 0.8 0"))
    x = (np.arange(400) + 0.5) / 400 * 0.8 - 0.4
    y = (np.arange(40) + 0.5) / 40 * 0.1 - 0.05
    total = 0.0
    for px in x:
        towards = np.stack([np.full(40, -px), -y, np.full(40, -0.3)])
        range2 = (towards**2).sum(axis=0)
        azimuth, angle = np.arctan2(towards[1], towards[0]), np.arccos(0.3 / np.sqrt(range2))
        total += float((intensity_at(found, azimuth, angle) * 0.3 / range2**1.5).sum())
    assert irradiance_at(found, Head(0.3)) == pytest.approx(total / 16000 / total_flux(found), rel=2e-3)


# -- an independent reader ------------------------------------------------------------------------------------------
IN_CI = "CI" in os.environ or Path(sys.prefix).parent.name == ".ci"
OTHERS = all(importlib.util.find_spec(name) for name in ("pyldt", "eulumdat_ies", "ldt_analysis"))
needs_other = pytest.mark.skipif(
    not OTHERS and not IN_CI, reason="needs eulumdat-ies and eulumdat-analysis (test extra)"
)
FINE = list(range(0, 181))


def other_flux(ldt, lumens: float) -> float:
    """Lumens by the other reader: mean over its planes, zonal sums over 1 deg (CIE 190's way)."""
    from ldt_analysis.flux import luminous_flux

    return luminous_flux(ldt) * lumens / 1000.0


@needs_other
@pytest.mark.parametrize(
    ("symmetry", "intensity"),
    [(0, lopsided), (1, written.cosine(power=3)), (2, to_one_side(-90)), (3, to_one_side(0)), (4, lengthways)],
)
def test_eulumdat_as_another_reader_has_it(symmetry, intensity, tmp_path):
    """Package eulumdat-py 1.0 (MIT): the same intensity in every direction of its own grid, the same lumens."""
    from pyldt import LdtReader

    file = tmp_path / "own.ldt"
    file.write_text(eulumdat(intensity, symmetry=symmetry, planes=24, angles=FINE, lumens=2345.0), encoding="latin-1")
    ldt, found = LdtReader.read(file), parse_photometry(file.read_bytes())
    assert total_flux(found) == pytest.approx(other_flux(ldt, 2345.0), rel=1e-3)
    theirs = np.array(ldt.intensities) * 2.345
    c_planes = np.arange(24) * 15.0 if len(theirs) == 24 else np.zeros(1)
    grid = np.meshgrid(np.radians(c_planes - 90.0), np.radians(FINE), indexing="ij")
    np.testing.assert_allclose(intensity_at(found, *grid), theirs, rtol=1e-6, atol=1e-6)


@needs_other
@pytest.mark.parametrize("intensity", [lopsided, to_one_side(0), lengthways])
def test_lm63_as_another_reader_has_it(intensity, tmp_path):
    """Package eulumdat-ies 1.1 (MIT), which wants whole turns; our reading of the same light's half or quarter agrees."""
    from eulumdat_ies import ies_to_ldt

    text = lm63(intensity, planes=range(0, 361, 15), angles=FINE, lamps="2 1500", multiplier=0.25)
    (tmp_path / "own.ies").write_text(text)
    ldt, found = ies_to_ldt(tmp_path / "own.ies"), parse(text)
    assert total_flux(found) == pytest.approx(other_flux(ldt, 3000.0), rel=1e-3)
    grid = np.meshgrid(np.radians(ldt.header.c_angles), np.radians(FINE), indexing="ij")
    np.testing.assert_allclose(intensity_at(found, *grid), np.array(ldt.intensities) * 3.0, rtol=1e-6, atol=1e-6)
    spans = {lengthways: (91, 181, 361)}.get(intensity, (181, 361) if intensity is not lopsided else (361,))
    for span in spans:
        part = parse(lm63(intensity, planes=range(0, span, 15), angles=FINE))
        assert total_flux(part) == pytest.approx(total_flux(found), rel=1e-9)
