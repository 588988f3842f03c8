"""From the file to the photons: scenes with a photometric file, where their light goes, and that it is the file's."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import written
from numba import njit
from written import eulumdat, lengthways, lm63, lopsided, to_one_side

from checking import chi_square, chi_square_probability
from false_alarms import ONE_CHECK
from underlit.lowering.fixtures import dimming, emitting_face
from underlit.lowering.records import Source
from underlit.lowering.scene import lower
from underlit.photometry.files import Opening, OpeningShape, intensity_at, parse_photometry, total_flux
from underlit.scene import SceneError, scene_from_dict
from underlit.scene.assumptions.scene import assumptions
from underlit.spectra import channels
from underlit.transport.emission import emit
from underlit.transport.randomness import DIMENSIONS
from underlit.transport.tables import FaceShape

N = 200_000
COMPASS = {0: "right", 90: "back", 180: "left", 270: "front"}


def scene_of(folder, text, **keys):
    """A small tank under one level fixture that a file describes."""
    (folder / "own.ies").write_text(text, encoding="latin-1")
    fixture = {
        "name": "bar", "size": ["60 cm", "20 cm", "2 cm"], "photometric_file": "own.ies", "above_rim": "20 cm", **keys,
    }  # fmt: skip
    return scene_from_dict(
        {
            "tank": {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "6 mm"},
            "fixture": [{key: value for key, value in fixture.items() if value is not None}],
        },
        folder=folder,
    )


@njit
def _draw(source, spectrum, tables, u, starts, directions):
    for i in range(len(u)):
        _, p, d, _, _, _ = emit(source, spectrum, tables, u[i])
        starts[i, 0], starts[i, 1], starts[i, 2] = p
        directions[i, 0], directions[i, 1], directions[i, 2] = d


def drawn(compiled, index, seed=1, n=N):
    """Starts and directions of n photons of a source, on independent numbers, (n, 3) each."""
    tables, u = compiled.tables, np.random.default_rng(seed).uniform(size=(n, DIMENSIONS))
    starts, directions = np.empty((n, 3)), np.empty((n, 3))
    _draw(tables.sources[index], tables.spectra[index], tables, u, starts, directions)
    return starts, directions


def cells_of(directions, azimuths, angles):
    """Counts by azimuth (counter-clockwise seen from above) and by angle from straight down, both in degrees."""
    turn = np.degrees(np.arctan2(directions[:, 1], directions[:, 0])) % 360
    down = np.degrees(np.arccos(np.clip(-directions[:, 2], -1, 1)))
    return np.histogram2d(turn, down, [azimuths, angles])[0]


def expected_cells(measured, azimuths, angles, fine=40):
    """Lumens of the interpolated distribution in the same cells, by midpoints through `intensity_at`."""
    turn = np.concatenate([a + (np.arange(fine) + 0.5) / fine * (b - a) for a, b in itertools.pairwise(azimuths)])
    down = np.concatenate([a + (np.arange(fine) + 0.5) / fine * (b - a) for a, b in itertools.pairwise(angles)])
    values = intensity_at(measured, *np.meshgrid(np.radians(turn), np.radians(down), indexing="ij"))
    steps = np.outer(np.repeat(np.diff(azimuths), fine), np.repeat(np.diff(angles), fine)) * math.radians(1 / fine) ** 2
    flux = values * np.sin(np.radians(down)) * steps
    return flux.reshape(len(azimuths) - 1, fine, len(angles) - 1, fine).sum(axis=(1, 3))


AZIMUTHS = np.array([0, 17, 44, 90, 133, 180, 222, 270, 311, 342, 360.0])
BELOW = np.array([0, 6, 14, 23, 31, 42, 51, 63, 77, 90.0])


@pytest.mark.parametrize("half", ["down", "up"])
@pytest.mark.parametrize("kind", ["LM-63", "EULUMDAT"])
def test_photons_follow_the_interpolated_distribution(kind, half, tmp_path):
    """Chi-square over azimuth and angle in the world, from the lowered scene; cells cut across the file's own steps.

    The same draw shifted by a twelfth of a turn must fail, so must light thrown to the other side.
    """
    angles = [0, 5, 12, 20, 30, 40, 50, 65, 80, 95, 110, 125]
    make = {
        "LM-63": lambda: lm63(lopsided, planes=range(0, 361, 30), angles=angles),
        "EULUMDAT": lambda: eulumdat(lopsided, symmetry=0, planes=12, angles=angles),
    }
    scene = scene_of(tmp_path, make[kind]())
    compiled, measured = lower(scene).compiled, scene.fixtures[0].photometry
    index = {"down": 0, "up": 1}[half]
    assert [source.name for source in compiled.sources] == ["bar: white", "bar: white, upward"]
    starts, directions = drawn(compiled, index, seed=3 + index)
    cuts = BELOW if half == "down" else np.array([90, 96, 101, 108, 113, 119, 125.0])
    expected = expected_cells(measured, AZIMUTHS, cuts)
    wanted = expected / expected.sum() * N
    observed = cells_of(directions, AZIMUTHS, cuts)
    assert observed.sum() == N
    chi_square(observed, wanted, f"{kind} {half}")
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    turned = directions @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
    for wrong in (turned, directions * (1, -1, 1), directions * (-1, 1, 1)):
        assert chi_square_probability(cells_of(wrong, AZIMUTHS, cuts), wanted) < ONE_CHECK
    share = compiled.ppf[index] / sum(compiled.ppf)
    assert share == pytest.approx(expected.sum() / total_flux(measured), rel=1e-4)
    height = scene.fixture_centre_m(scene.fixtures[0])[2] + (0.02 if half == "up" else 0.0)
    np.testing.assert_allclose(starts[:, 2], height, atol=1e-9)


def throws(folder, text, **keys):
    """Azimuth towards which a scene's light goes on the whole, seen from above, to the nearest 10 deg."""
    compiled = lower(scene_of(folder, text, **keys)).compiled
    mean = drawn(compiled, 0, n=N // 4)[1].mean(axis=0)
    assert np.hypot(mean[0], mean[1]) > 0.05
    return 10 * round(math.degrees(math.atan2(mean[1], mean[0])) / 10) % 360


@pytest.mark.parametrize("plane", [0, 90, 180, 270])
def test_lm63_throws_its_light_to_the_documented_side(plane, tmp_path):
    """0 along the length of the fixture (ies2rad's manual page), to the right; counter-clockwise (LM-63-02 section 3)."""
    text = lm63(to_one_side(plane), planes=range(0, 361, 15), opening="0.1 0.18 0")
    assert throws(tmp_path, text) == plane
    assert throws(tmp_path, text, turn="30 deg") == (plane + 30) % 360
    assert throws(tmp_path, text, photometric_turn="90 deg") == (plane + 90) % 360


@pytest.mark.parametrize(("c_plane", "azimuth"), [(0, 270), (90, 0), (180, 90), (270, 180)])
def test_eulumdat_throws_its_light_to_the_documented_side(c_plane, azimuth, tmp_path):
    """C0 across a long lamp, to the front, C90 along it: a quarter turn from LM-63 (CIE 121, EN 13032-1).

    Written by C-plane here, without the writer's own turn.
    """

    def towards_c(turned, angle):
        return to_one_side(c_plane)(turned + 90.0, angle)

    assert throws(tmp_path, eulumdat(towards_c, symmetry=0)) == azimuth, COMPASS[azimuth]


def test_mirrored_files_throw_to_their_side(tmp_path):
    """Half-told files lean within their plane: LM-63 from 90 to 270 to the back, Isym 3 along the fixture, 2 across it."""
    assert throws(tmp_path, lm63(to_one_side(90), planes=range(90, 271, 15))) == 90
    assert throws(tmp_path, eulumdat(to_one_side(0), symmetry=3)) == 0
    assert throws(tmp_path, eulumdat(to_one_side(-90), symmetry=2)) == 270


def test_more_light_along_than_across(tmp_path):
    for text in (lm63(lengthways), eulumdat(lengthways, symmetry=4)):
        spread = drawn(lower(scene_of(tmp_path, text)).compiled, 0)[1].std(axis=0)
        assert spread[0] > 1.15 * spread[1]


def test_tilt_throws_to_the_front(tmp_path):
    assert throws(tmp_path, lm63(written.cosine(), planes=[0]), tilt="30 deg") == 270


@pytest.mark.parametrize(
    ("opening", "turn", "reach"),
    [
        ("0.1 0.5 0", "0 deg", (0.25, 0.05)),
        ("0.1 0.16 0", "90 deg", (0.05, 0.08)),
        ("-0.16 -0.16 0", "0 deg", (0.08, 0.08)),
        ("0 0 0", "0 deg", (0.0, 0.0)),
    ],
)
def test_light_starts_all_over_the_opening(opening, turn, reach, tmp_path):
    scene = scene_of(tmp_path, lm63(opening=opening), photometric_turn=turn)
    starts = drawn(lower(scene).compiled, 0)[0] - np.array(scene.fixture_centre_m(scene.fixtures[0]))
    np.testing.assert_allclose(np.abs(starts[:, :2]).max(axis=0), reach, atol=1e-3)
    np.testing.assert_allclose(starts[:, :2].mean(axis=0), 0.0, atol=2e-3)
    if opening.startswith("-"):
        assert np.hypot(starts[:, 0], starts[:, 1]).max() < 0.0801


def test_faces_of_openings():
    """An oval opening becomes a rectangle of the same area and proportions."""
    shape, (length, width) = emitting_face(Opening(OpeningShape.ROUND, 0.4, 0.2, 0.0))
    assert shape == FaceShape.RECTANGLE
    assert 4 * length * width == pytest.approx(math.pi * 0.2 * 0.1)
    assert length / width == pytest.approx(2.0)


# -- amounts --------------------------------------------------------------------------------------------------------
def test_lumens_become_ppf_through_the_spectrum(tmp_path):
    """3139.60 lm over the channel's lumens per umol/s; two channels by their shares."""
    text = lm63(written.cosine(), planes=[0])
    fixture = scene_of(tmp_path, text).fixtures[0]
    assert fixture.claimed_ppf == pytest.approx(3139.597 / channels.illuminant("LED-B4").lumens_per_umol, rel=1e-6)
    assert fixture.running_watts == 24.0
    warm, cold = channels.illuminant("LED-B1"), channels.illuminant("LED-B5")
    mixed = scene_of(
        tmp_path, text,
        channel=[{"name": "warm", "spectrum": "LED-B1", "share": 3.0}, {"name": "cold", "spectrum": "LED-B5"}],
    ).fixtures[0]  # fmt: skip
    assert mixed.claimed_ppf == pytest.approx(
        3139.597 / (0.75 * warm.lumens_per_umol + 0.25 * cold.lumens_per_umol), rel=1e-6
    )


def test_a_stated_output_goes_before_the_file(tmp_path):
    text = lm63(written.cosine(), planes=[0], opening="0 0 0")
    assert scene_of(tmp_path, text, output={"ppf": "30 umol/s"}).fixtures[0].claimed_ppf == pytest.approx(30.0)
    read = scene_of(tmp_path, text, output={"reads": "100 umol/m2/s", "below": "40 cm"}).fixtures[0]
    assert read.claimed_ppf == pytest.approx(100.0 * 0.4**2 * 3139.597 / 1000.0, rel=1e-6)


def test_uplight_is_kept(tmp_path):
    """Half up, half down: both sources count, and dimming knows both."""
    both = lm63(lambda c, g: 100.0 * np.abs(np.cos(np.radians(g))) + 0 * c, planes=[0], angles=range(0, 181, 5))
    scene = scene_of(tmp_path, both, dimming=0.5)
    compiled = lower(scene).compiled
    assert list(compiled.ppf) == pytest.approx([scene.fixtures[0].claimed_ppf / 2] * 2)
    assert {source.name: level for source, level in dimming(scene).items()} == {
        "bar: white": 0.5,
        "bar: white, upward": 0.5,
    }
    only_up = scene_of(tmp_path, lm63(lambda c, g: 0 * c + 0 * g + 100.0, planes=[0], angles=range(90, 181, 5)))
    assert tuple(dimming(only_up)) == (Source("bar", "white", upward=True),) == lower(only_up).compiled.sources
    assert drawn(lower(only_up).compiled, 0)[1][:, 2].min() >= 0


def test_notes_of_the_file_are_passed_on(tmp_path):
    compiled = lower(scene_of(tmp_path, eulumdat(written.cosine(), symmetry=1, lumens=4000, ratio=75))).compiled
    assert "bar: its intensities add up to 3140 lm, but it states 3000 lm (+4.7 %)" in compiled.notes


def test_a_measured_lens_is_not_assumed(tmp_path):
    assert "fixture.lens" not in {row.key for row in assumptions(scene_of(tmp_path, lm63()))}


# -- what the scene says that does not go together ----------------------------------------------------------------------
REFUSED = {
    "leds": ({"leds": {"rows": 1, "columns": 4}}, "fixture[0].leds: the photometric file already says how"),
    "lens": ({"lens": "lambertian"}, "fixture[0].lens: the photometric file already says how"),
    "a channel's lens": ({"channel": [{"name": "red", "lens": "lambertian"}]}, "'red': the photometric file already says how"),
    "a channel's rows": ({"channel": [{"rows": [1]}]}, "the photometric file already says how the light spreads: remove rows"),
    "no such file": ({"photometric_file": "none.ies"}, "fixture[0].photometric_file: none.ies: cannot be read"),
    "too small a body": ({"size": ["20 cm", "20 cm", "2 cm"]}, "fixture[0].size: must hold the luminous opening"),
    "a body across": ({"size": ["12 cm", "60 cm", "2 cm"]}, 'it would fit with photometric_turn = "90 deg"'),
    "nothing to turn": ({"photometric_file": None, "leds": {"rows": 1, "columns": 4}, "output": {"ppf": "9 umol/s"},
                         "photometric_turn": "5 deg"}, "needs a photometric_file to turn"),
    "nothing at all": ({"photometric_file": None, "size": None}, "fixture[0]: the light is missing: give the output"),
    "no size": ({"size": None}, "fixture[0].size: is missing"),
}  # fmt: skip


@pytest.mark.parametrize("kind", REFUSED)
def test_clashes_are_refused(kind, tmp_path):
    keys, words = REFUSED[kind]
    with pytest.raises(SceneError) as caught:
        scene_of(tmp_path, lm63(), **keys)
    assert words in str(caught.value)
    assert len(caught.value.problems) == 1


def test_a_broken_file_has_its_line(tmp_path):
    with pytest.raises(
        SceneError, match=r"photometric_file: own\.ies, line 5: the candela multiplier must be a number"
    ):
        scene_of(tmp_path, lm63().replace("1 -1 1 19", "1 -1 one 19"))
    assert parse_photometry(lm63().encode()).notes == ()
