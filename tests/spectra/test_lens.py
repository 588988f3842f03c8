"""Lenses: closed forms, tables against standard examples, and light in plain air."""

import math

import numpy as np
import pytest

from underlit.photometry.lens import (
    beam_angle,
    flux_within,
    from_beam_angle,
    from_table,
    intensity_per_flux,
    lambertian,
    relative_intensity,
    total_flux,
    uniform_cone,
)
from underlit.photometry.point import Head, irradiance_at, led_grid

LENSES = {
    "bare": lambertian(),
    "60 deg": from_beam_angle(math.radians(60)),
    "cone": uniform_cone(math.radians(80)),
    "table": from_table(np.radians([0, 20, 40, 90]), np.array([0.5, 1.0, 0.4, 0.0])),
}


@pytest.mark.parametrize("name", LENSES)
def test_flux_agrees_with_quadrature(name: str) -> None:
    lens = LENSES[name]
    for top in (0.2, 0.9, math.pi / 2):
        theta = np.linspace(0, top, 200_001)
        summed = np.trapezoid(2 * math.pi * relative_intensity(lens, theta) * np.sin(theta), theta)
        assert float(flux_within(lens, top)) == pytest.approx(summed, rel=2e-5)
    assert float(flux_within(lens, math.pi / 2)) == pytest.approx(total_flux(lens))


def test_a_bare_led_is_lambertian() -> None:
    assert total_flux(lambertian()) == pytest.approx(math.pi)
    assert math.degrees(beam_angle(lambertian())) == pytest.approx(120, abs=0.05)
    assert from_beam_angle(math.radians(120)).exponent == pytest.approx(1)
    assert float(flux_within(lambertian(), math.pi / 4)) == pytest.approx(math.pi / 2)


@pytest.mark.parametrize("degrees", [15, 60, 90, 150, 179])
def test_beam_angle_is_the_width_at_half_maximum(degrees: float) -> None:
    lens = from_beam_angle(math.radians(degrees))
    assert float(relative_intensity(lens, math.radians(degrees / 2))) == pytest.approx(0.5)


def test_five_degree_tables_hold_the_known_flux() -> None:
    # Piecewise linear over 5 deg steps: 1000 cos holds 3139.60 lm (exact 3141.59), 1000 cos^2 holds 2097.05 (2094.40).
    theta = np.radians(np.arange(0, 91, 5))
    for power, known in ((1, 3139.60), (2, 2097.05)):
        lens = from_table(theta, 1000 * np.maximum(np.cos(theta), 0) ** power)
        assert total_flux(lens) == pytest.approx(known, abs=0.005)


@pytest.mark.parametrize(
    "make",
    [
        lambda: from_beam_angle(math.pi),
        lambda: from_beam_angle(0.0),
        lambda: uniform_cone(3.2),
        lambda: from_table(np.radians([0, 120]), np.array([1.0, 1.0])),
        lambda: from_table(np.radians([10, 20]), np.array([1.0, 1.0])),
        lambda: from_table(np.radians([0, 20]), np.array([0.0, 0.0])),
        lambda: from_table(np.radians([0, 20]), np.array([1.0, -1.0])),
    ],
)
def test_impossible_lenses_are_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError):
        make()


def test_inverse_square_under_one_led() -> None:
    one = np.zeros((1, 2))
    assert irradiance_at(lambertian(), one, Head(0.5)) == pytest.approx(1 / math.pi / 0.25)
    assert irradiance_at(uniform_cone(math.radians(60)), one, Head(1.0)) == pytest.approx(
        1 / (2 * math.pi * (1 - math.cos(math.radians(30))))
    )


def test_a_dense_board_tends_to_the_lambertian_rectangle() -> None:
    # Lambertian rectangle a x b over a parallel dA under its corner at c; catalogue value (.6, .3, .4) .1358652, so
    # a board of twice both sides has four of them, per flux M A: E = 4 F / A.
    board = led_grid(rows=150, columns=300, row_pitch_m=0.6 / 150, column_pitch_m=1.2 / 300)
    assert irradiance_at(lambertian(), board, Head(0.4)) == pytest.approx(4 * 0.1358652 / (1.2 * 0.6), rel=1e-4)


def test_light_off_to_the_side_falls_with_cosine_to_the_fourth() -> None:
    offset, height = 0.3, 0.4
    side = irradiance_at(lambertian(), np.array([[offset, 0.0]]), Head(height))
    cosine = height / math.hypot(offset, height)
    assert side == pytest.approx(cosine**4 / (math.pi * height**2))
    assert float(intensity_per_flux(lambertian(), 0.0)) == pytest.approx(1 / math.pi)
