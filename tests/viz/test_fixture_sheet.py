"""A fixture's sheet: it shows the light that the fixture has, and files are whole."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from underlit.scene import Fixture, scene_from_dict
from underlit.spectra.channels import gaussian, illuminant_photons
from underlit.spectra.colour import colour_matching, seen_colour
from underlit.viz.sheets.fixture_sheet import draw_fixture_sheet, plane_intensity, write_fixture_sheets

MIXED: dict[str, Any] = {
    "name": "mixed board",
    "size": ["40 cm", "8 cm", "2 cm"],
    "leds": {"pattern": ["WRWWBWWRW", "WWBWRWBWW"]},
    "output": {"ppf": "60 umol/s", "watts": "25 W"},
    "optic": [{"rows": [1], "tilt": "20 deg"}],
    "schedule": [["9:00", 0.0], ["10:00", 1.0], ["17:00", 1.0], ["18:00", 0.0]],
    "channel": [
        {"name": "white", "letter": "W", "share": 3.0},
        {"name": "red", "letter": "R", "spectrum": {"peak": "660 nm", "width": "20 nm"}},
        {"name": "blue", "letter": "B", "spectrum": {"peak": "450 nm", "width": "20 nm"}},
    ],
}


def fixture(**keys: Any) -> Fixture:
    return scene_from_dict({"tank": {"inside_size": ["60 cm", "30 cm", "36 cm"]}, "fixture": [keys]}).fixtures[0]


def test_the_polar_diagram_of_a_lambertian_board_is_ppf_over_pi() -> None:
    angles = np.radians(np.linspace(-90, 90, 37))
    plain = fixture(length="40 cm", output={"ppf": "60 umol/s"}, light_loss_factors={"temperature": 0.9}, dimming=0.3)
    np.testing.assert_allclose(plane_intensity(plain, 0.4, angles), 54 / math.pi * np.cos(angles), atol=1e-12)


def test_what_is_tilted_to_the_front_shines_there() -> None:
    angles = np.radians(np.linspace(-90, 90, 361))
    mixed = fixture(**MIXED)
    across = plane_intensity(mixed, math.pi / 2, angles)
    along = plane_intensity(mixed, 0.0, angles)
    # half of the light looks 20 deg to the front, the rest straight down: cos(a + 20) + cos(a) peaks at 10 deg
    assert math.degrees(angles[across.argmax()]) == pytest.approx(-10, abs=0.5)
    np.testing.assert_allclose(along, along[::-1], atol=1e-12)


def test_the_sheet_shows_leds_spectrum_and_day() -> None:
    figure = draw_fixture_sheet(fixture(**MIXED))
    below, polar, spectrum, day = figure.axes
    assert sum(len(dots.get_offsets()) for dots in below.collections) == 18
    assert polar.name == "polar"
    tops = [patch for patch in spectrum.patches if hasattr(patch, "get_data")]
    # stacked: the last outline less the ground is all light, per nm
    assert tops[-1].get_data().values.sum() * 5 == pytest.approx(60.0)
    assert "8 h at full" in day.get_title(loc="left")
    words = " ".join(text.get_text() for text in figure.texts)
    assert all(part in words for part in ("mixed board", "PPF 60", "25 W", "18 LEDs"))


def test_the_front_row_is_drawn_at_the_top_and_left_stays_left() -> None:
    below = draw_fixture_sheet(fixture(**MIXED)).axes[0]
    red = below.collections[1].get_offsets()
    # in the front row red stands second and eighth, in the back row fifth
    assert red[0][0] < red[1][0]
    assert red[0][1] == red[1][1] > red[2][1]


@pytest.mark.parametrize(
    "keys",
    [
        {"form": "spot"},
        {"form": "puck", "reflector": {"depth": "3 cm", "flare": "20 deg"}},
        {"reflector": {"depth": "2 cm", "flare": "-20 deg"}},
        {},
    ],
)
def test_every_form_can_be_drawn(keys: dict[str, Any], tmp_path: Path) -> None:
    paths = write_fixture_sheets([fixture(output={"watts": "12 W"}, **keys)] * 2, tmp_path)
    assert [path.name for path in paths] == ["fixture-1.png", "fixture-2.png"]
    assert all(path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n") for path in paths)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fixture-1.png", "fixture-2.png"]


def test_colours_are_about_what_they_look_like() -> None:
    assert seen_colour(illuminant_photons("LED-B4")) == pytest.approx((1.0, 1.0, 1.0))
    red = seen_colour(gaussian(peak_nm=660, fwhm_nm=20).photons)
    blue = seen_colour(gaussian(peak_nm=450, fwhm_nm=20).photons)
    assert red[0] > 3 * max(red[1:])
    assert blue[2] > 2 * blue[0]
    warm = seen_colour(illuminant_photons("LED-B1"))
    assert warm[0] > warm[1] > warm[2]


def test_colour_matching_has_its_peaks_where_the_standard_has_them() -> None:
    # CIE 015:2018, 2 deg observer: y peaks at 555 nm with 1, z at 445 nm with 1.77, x at 600 nm with 1.06.
    wave = np.arange(400.0, 700.0)
    x, y, z = colour_matching(wave)
    assert wave[y.argmax()] == pytest.approx(555, abs=3)
    assert wave[x.argmax()] == pytest.approx(600, abs=6)
    assert wave[z.argmax()] == pytest.approx(446, abs=6)
    assert (x.max(), y.max(), z.max()) == pytest.approx((1.06, 1.0, 1.78), rel=0.04)
