"""Quantities: exact factors, and what is refused."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlit.units import (
    US_GALLON_M3,
    Length,
    QuantityError,
    format_length,
    format_volume,
    parse_angle,
    parse_duration_hours,
    parse_flux,
    parse_length,
)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("36 in", 0.9144),
        ('36"', 0.9144),
        ("91.4 cm", 0.914),
        ("12mm", 0.012),
        ("1 m", 1.0),
        ("2 ft", 0.6096),
        ("-1.5 cm", -0.015),
        ("660 nm", 660e-9),
        (" .5 m ", 0.5),
        ("1e2 mm", 0.1),
    ],
)
def test_lengths_are_read_in_metres(text: str, metres: float) -> None:
    # International yard and pound agreement of 1959: 1 in = 25.4 mm, 1 ft = 304.8 mm.
    assert parse_length(text) == pytest.approx(metres, rel=1e-14)


@pytest.mark.parametrize(
    "value", [36, 36.0, True, "36", "in", "36 lightyears", "36 in in", "", None, [1], "inf m", "1e400 m", "nan cm"]
)
def test_lengths_without_a_good_unit_are_refused(value: object) -> None:
    with pytest.raises(QuantityError):
        parse_length(value)


def test_a_length_made_in_code_is_metres_and_must_be_finite() -> None:
    assert parse_length(Length(0.5)) == 0.5
    with pytest.raises(QuantityError):
        parse_length(Length(math.inf))


def test_angles_volumes_times_and_fluxes() -> None:
    assert parse_angle("180 deg") == pytest.approx(math.pi)
    assert pytest.approx(3.785411784e-3, rel=1e-12) == US_GALLON_M3  # NIST SP 811: US gallon
    assert parse_duration_hours("90 min") == pytest.approx(1.5)
    assert parse_flux("4.2 klm", "lumens") == pytest.approx(4200)
    assert parse_flux("2.4 umol/J", "efficacy") == pytest.approx(2.4)
    with pytest.raises(QuantityError):
        parse_flux("100 lm", "ppf")


def test_people_are_shown_both_systems() -> None:
    assert format_length(0.9144) == "91.4 cm (36 in)"
    assert format_length(0.012) == "12 mm (0.47 in)"
    assert format_volume(75 * 3.785411784e-3) == "284 l (75 gal)"


@pytest.mark.parametrize(
    ("gallons", "inches"),
    [
        (10, (20, 10, 12)),
        (29, (30, 12, 18)),
        (55, (48, 13, 21)),
        (75, (48, 18, 21)),
        (120, (48, 24, 24)),
        (180, (72, 24, 24)),
    ],
)
def test_trade_sizes_hold_about_their_trade_volume(gallons: float, inches: tuple[float, float, float]) -> None:
    # Nominal outside sizes from memory; the trade's volumes are round numbers (common practice, no source).
    volume = math.prod(parse_length(f"{side} in") for side in inches)
    assert volume / US_GALLON_M3 == pytest.approx(gallons, rel=0.06)


@given(st.floats(min_value=-1e6, max_value=1e6), st.sampled_from(["mm", "cm", "m", "in", "ft"]))
def test_any_finite_number_with_a_unit_is_read(number: float, unit: str) -> None:
    scale = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "ft": 0.3048}[unit]
    assert parse_length(f"{number!r} {unit}") == pytest.approx(number * scale, rel=1e-12)


@given(st.text(max_size=20))
def test_no_text_makes_the_parser_stumble(text: str) -> None:
    try:
        metres = parse_length(text)
    except QuantityError:
        return
    assert math.isfinite(metres)
