"""Light on a meter head in air and through flat water, and what readings tell of a fixture."""

from __future__ import annotations

import math

import numpy as np
import pytest
from written import cosine, lm63, lopsided, to_one_side

from underlit.photometry import files
from underlit.photometry.far import Beams, far_intensity, full_width, plane_directions
from underlit.photometry.files import parse_photometry
from underlit.photometry.lens import from_beam_angle, lambertian, uniform_cone
from underlit.photometry.point import Head, WaterOver, arrival, irradiance_at, led_grid
from underlit.photometry.readings import fit_beam, fit_flux
from underlit.scene import scene_from_dict
from underlit.viz.sheets.fixture_sheet import draw_fixture_sheet, plane_intensity

ONE = np.zeros((1, 2))
INDEX = 1.333


def lets_through(cosine, index=INDEX):
    """Unpolarised Fresnel transmittance from air into water (Hecht, Optics, 4.6)."""
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    s = (cosine - index * inside) / (cosine + index * inside)
    p = (index * cosine - inside) / (index * cosine + inside)
    return 1 - (s**2 + p**2) / 2


@pytest.mark.parametrize("along", [0.0, 0.2, -0.5])
@pytest.mark.parametrize("across", [0.0, 0.3])
def test_in_air_it_is_inverse_square_and_cosine(along, across):
    """Lambertian: E = cos^4 / (pi h^2); an even cone of half angle a: I = 1 / (2 pi (1 - cos a)), E = I cos^3 / h^2."""
    head = Head(0.4, along, across)
    cosine = 0.4 / math.sqrt(0.4**2 + along**2 + across**2)
    assert irradiance_at(lambertian(), ONE, head) == pytest.approx(cosine**4 / (math.pi * 0.16), rel=1e-12)
    wide = uniform_cone(math.radians(170))
    even = 1 / (2 * math.pi * (1 - math.cos(math.radians(85))))
    assert irradiance_at(wide, ONE, head) == pytest.approx(even * cosine**3 / 0.16, rel=1e-12)


def test_an_led_that_looks_at_the_head_gives_it_most():
    """Tilted by the angle of sight its own cosine is 1 and the head's stays: E = cos^3 / (pi h^2)."""
    angle = math.atan2(0.3, 0.4)
    axis = np.array([math.sin(angle), 0.0, -math.cos(angle)])
    found = irradiance_at(lambertian(), ONE, Head(0.4, along_m=0.3), axes=axis)
    assert found == pytest.approx(math.cos(angle) ** 3 / (math.pi * 0.16), rel=1e-12)


def test_under_water_on_the_axis():
    """E = I T(0) / (h + d/n)^2, T(0) = 4 n / (n + 1)^2."""
    found = arrival(ONE, Head(0.5, under_water_m=0.3), water_index=INDEX)
    through = 4 * INDEX / (INDEX + 1) ** 2
    assert found.per_intensity[0] == pytest.approx(through / (0.2 + 0.3 / INDEX) ** 2, rel=1e-12)
    assert found.in_water_m[0] == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("aside", "angle_deg", "even", "cosine"),
    [(0.1, 13.3207, 512.48, 498.692), (0.2, 25.7629, 437.371, 393.897), (0.4, 46.0507, 258.089, 179.119),
     (0.6, 59.8479, 129.252, 64.9228)],
)  # fmt: skip
def test_under_water_aside(aside, angle_deg, even, cosine):
    """A point of 100 umol/s/sr .2 m over water, .3 m deep: E = I T sin(a) da / (r dr), integrated apart from this code."""
    found = arrival(ONE, Head(0.5, along_m=-aside, under_water_m=0.3), water_index=INDEX)
    assert math.degrees(math.acos(-found.directions[0, 2])) == pytest.approx(angle_deg, abs=1e-3)
    assert found.directions[0, 0] < 0
    assert 100 * found.per_intensity[0] == pytest.approx(even, rel=1e-4)
    assert 100 * found.per_intensity[0] * math.cos(math.radians(angle_deg)) == pytest.approx(cosine, rel=1e-4)


def test_all_that_enters_the_water_comes_down_somewhere():
    """Over a wide plane the irradiance of a Lambertian point adds up to the integral of 2 T(c) c over its cosine c."""
    radius = np.linspace(0, 60, 240_001)
    # as seen from the head, the points lie aside by the radius
    reach = arrival(np.stack([radius, 0 * radius], axis=1), Head(0.5, under_water_m=0.3), water_index=INDEX)
    irradiance = reach.per_intensity * -reach.directions[:, 2] / math.pi
    cosine = np.linspace(0, 1, 200_001)
    entered = np.trapezoid(2 * lets_through(cosine) * cosine, cosine)
    assert np.trapezoid(irradiance * 2 * math.pi * radius, radius) == pytest.approx(entered, rel=1e-4)


def test_water_takes_its_share_along_the_way():
    """Beer-Lambert by bin along the slanted way."""
    photons, absorption = np.full(60, 1 / 60), np.linspace(0.1, 3.0, 60)
    water = WaterOver(INDEX, photons, absorption)
    head = Head(0.5, along_m=0.2, under_water_m=0.3)
    clear = irradiance_at(lambertian(), ONE, head, water=WaterOver(INDEX, photons, 0 * absorption))
    way = arrival(ONE, head, water_index=INDEX).in_water_m[0]
    assert way > 0.3
    expected = clear * np.mean(np.exp(-absorption * way))
    assert irradiance_at(lambertian(), ONE, head, water=water) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("head", [Head(0.0), Head(-0.1), Head(0.3, under_water_m=0.3)])
def test_a_head_at_or_over_the_leds_is_refused(head):
    with pytest.raises(ValueError, match="more than 0"):
        arrival(ONE, head)


BOARD = led_grid(rows=2, columns=24, row_pitch_m=0.03, column_pitch_m=0.025)


def read(beam_deg, heads, ppf=50.0):
    return np.array([ppf * irradiance_at(from_beam_angle(math.radians(beam_deg)), BOARD, head) for head in heads])


def of_beam(heads):
    return lambda beam: np.array([irradiance_at(from_beam_angle(beam), BOARD, head) for head in heads])


ASIDE = (Head(0.3), Head(0.3, across_m=0.2), Head(0.3, across_m=-0.35), Head(0.5, along_m=0.5))


@pytest.mark.parametrize("beam_deg", [35, 60, 90, 120, 138])
def test_readings_aside_tell_output_and_beam(beam_deg):
    fit = fit_beam(read(beam_deg, ASIDE), of_beam(ASIDE))
    assert fit is not None
    assert math.degrees(fit.beam_rad) == pytest.approx(beam_deg, abs=0.05)
    assert fit.flux == pytest.approx(50.0, rel=1e-3)
    assert fit.departure < 1e-3
    assert fit.low_rad <= fit.beam_rad <= fit.high_rad


def test_a_meter_that_errs_leaves_the_beam_inside_what_is_said():
    errs = np.array([1.05, 0.95, 1.05, 0.95])
    fit = fit_beam(read(90, ASIDE) * errs, of_beam(ASIDE))
    assert fit is not None
    assert math.degrees(fit.low_rad) < 90 < math.degrees(fit.high_rad)
    assert 0.02 < fit.departure < 0.05
    assert fit.flux == pytest.approx(50.0, rel=0.15)


def test_readings_of_one_place_cannot_tell_the_beam():
    same = (Head(0.3), Head(0.3))
    assert fit_beam(read(90, same), of_beam(same)) is None


def test_readings_straight_below_a_spot_tell_its_output_only():
    """Every beam fits them alike, for all of them look along its axis."""
    below = (Head(0.15), Head(0.3), Head(1.0))

    def per_flux(beam):
        return np.array([irradiance_at(from_beam_angle(beam), ONE, head) for head in below])

    assert fit_beam(50 * per_flux(math.radians(80)), per_flux) is None


def test_the_flux_is_the_geometric_mean_of_what_each_reading_says():
    fit = fit_flux(np.array([10.0, 40.0]), np.array([1.0, 1.0]))
    assert fit.flux == pytest.approx(20.0)
    assert fit.departure == pytest.approx(math.log(2))
    assert fit_flux(np.array([10.0]), np.array([0.0])).flux == math.inf


# -- from far away ------------------------------------------------------------------------------------------------------
def test_a_polar_diagram_holds_the_flux():
    """The intensity integrated over all directions is the flux: Gauss-Legendre over the height, even azimuths."""
    lean = math.radians(25)
    axes = np.array([[0.0, 0.0, -1.0], [math.sin(lean), 0.0, -math.cos(lean)], [0.0, -math.sin(lean), -math.cos(lean)]])
    fixture = [Beams(lambertian(), axes, 30.0), Beams(from_beam_angle(math.radians(60)), axes[:1], 12.0)]
    up, weight = np.polynomial.legendre.leggauss(400)
    azimuth = 2 * math.pi * np.arange(400) / 400
    z, a = (grid.ravel() for grid in np.meshgrid(up, azimuth))
    side = np.sqrt(1 - z**2)
    intensity = far_intensity(fixture, np.stack([side * np.cos(a), side * np.sin(a), z], axis=1))
    total = (intensity * np.tile(weight, 400)).sum() * 2 * math.pi / 400
    assert total == pytest.approx(42.0, rel=1e-4)


def test_the_width_of_a_beam_is_read_off_its_curve():
    angles = np.radians(np.linspace(-90, 90, 361))
    straight = [Beams(from_beam_angle(math.radians(70)), np.array([[0.0, 0.0, -1.0]]), 1.0)]
    curve = far_intensity(straight, plane_directions(0.3, angles))
    assert math.degrees(full_width(angles, curve)) == pytest.approx(70, abs=0.02)


# -- a photometric file -------------------------------------------------------------------------------------------------
def test_a_file_is_scaled_by_readings_straight_below_and_aside(tmp_path):
    """Even intensity from a point: E = I cos^3 / h^2 in air, whatever the azimuth."""
    even = lm63(cosine(500.0, power=0.0), planes=[0], opening="0 0 0")
    (tmp_path / "even.ies").write_text(even, encoding="latin-1")
    for aside, turn in ((0.0, "0 deg"), (0.3, "0 deg"), (0.3, "70 deg")):
        value = 20 * (0.4 / math.hypot(0.4, aside)) ** 3 / 0.16
        reading = {"reads": f"{value} umol/m2/s", "below": "40 cm", "along": f"{aside} m"}
        fixture = {"photometric_file": "even.ies", "size": ["10 cm", "10 cm", "2 cm"], "photometric_turn": turn}
        scene = scene_from_dict(
            {
                "tank": {"inside_size": ["60 cm", "30 cm", "36 cm"]},
                "fixture": [fixture | {"output": {"reading": [reading]}}],
            },
            folder=tmp_path,
        )
        # 20 umol/s/sr over the lower hemisphere
        assert scene.fixtures[0].claimed_ppf == pytest.approx(20 * 2 * math.pi, rel=1e-6)


def test_a_turned_file_is_read_where_it_shines():
    """A file that shines to +x, turned by a quarter, gives a head behind it what it gave one at its right."""
    found = parse_photometry(lm63(to_one_side(0), planes=range(0, 361, 15), opening="0 0 0").encode("latin-1"))
    right = files.irradiance_at(found, Head(0.3, along_m=0.3))
    behind = files.irradiance_at(found, Head(0.3, across_m=0.3), turn_rad=math.pi / 2)
    assert right > 1.2 * files.irradiance_at(found, Head(0.3, across_m=0.3))
    assert behind == pytest.approx(right, rel=1e-9)


def test_a_file_s_polar_diagram_holds_its_light_up_and_down(tmp_path):
    """Intensities of the sheet over all directions add up to the PPF; a file that shines up is drawn all round."""
    text = lm63(lopsided, planes=range(0, 361, 10), angles=range(0, 181, 5), opening="0.1 0.5 0")
    (tmp_path / "own.ies").write_text(text, encoding="latin-1")
    fixture = {"photometric_file": "own.ies", "size": ["60 cm", "30 cm", "2 cm"], "photometric_turn": "15 deg"}
    tank = {"inside_size": ["60 cm", "30 cm", "36 cm"]}
    (found,) = scene_from_dict({"tank": tank, "fixture": [fixture]}, folder=tmp_path).fixtures
    azimuths, angles = np.radians(np.arange(0, 360, 2)), np.radians(np.linspace(0, 180, 721))
    planes = np.array([plane_intensity(found, azimuth, angles) for azimuth in azimuths])
    total = np.trapezoid(planes.mean(axis=0) * np.sin(angles), angles) * 2 * math.pi
    assert total == pytest.approx(found.claimed_ppf, rel=2e-3)
    assert draw_fixture_sheet(found).axes[1].name == "polar"
