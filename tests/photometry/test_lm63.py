"""LM-63 files: every symmetry, factor, version and opening, and what cannot be used said in one line."""

from __future__ import annotations

import numpy as np
import pytest
import written
from written import lengthways, lm63, lopsided, to_one_side

from underlit.photometry.files import (
    FileFormat,
    OpeningShape,
    PhotometryFileError,
    intensity_at,
    parse_photometry,
    total_flux,
)

TURN = np.arange(0.0, 360.0, 30.0)
DOWN = np.arange(0.0, 91.0, 5.0)


def parse(text, name="own.ies"):
    return parse_photometry(text.encode("utf-8"), name=name)


def refusal(text):
    with pytest.raises(PhotometryFileError) as caught:
        parse(text)
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith("own.ies")
    return said


def follows(found, intensity, angles=DOWN):
    """The file's web is the intensity it was written from, at its own directions around the whole turn."""
    azimuth, angle = np.meshgrid(TURN, angles, indexing="ij")
    got = intensity_at(found, np.radians(azimuth), np.radians(angle))
    np.testing.assert_allclose(got, intensity(azimuth, angle), rtol=1e-8, atol=1e-6)


@pytest.mark.parametrize(
    ("planes", "intensity"),
    [
        ([0], written.cosine()),
        ([45], written.cosine()),
        (range(0, 91, 30), lengthways),
        (range(90, 181, 30), lengthways),
        (range(0, 181, 30), to_one_side(0)),
        (range(180, 361, 30), to_one_side(0)),
        (range(90, 271, 30), to_one_side(90)),
        (range(-90, 91, 30), to_one_side(90)),
        (range(0, 361, 30), lopsided),
        (range(-180, 181, 30), lopsided),
        (range(0, 360, 30), lopsided),
    ],
    ids=lambda value: getattr(value, "__name__", str(value)),
)
def test_every_symmetry(planes, intensity):
    """Last horizontal angle 0 axial, 90 quarter, 180 half, 360 none; halves of 1995 from 90 to 270, turned ones of 1986."""
    found = parse(lm63(intensity, planes=list(planes), angles=list(range(0, 181, 5))))
    follows(found, intensity, np.arange(0.0, 181.0, 5.0))
    assert found.format is FileFormat.LM63
    assert found.azimuth_rad[-1] - found.azimuth_rad[0] == pytest.approx(2 * np.pi, abs=1e-12)


def test_missing_last_plane_is_said():
    assert any("repeated to close the turn" in note for note in parse(lm63(lopsided, planes=range(0, 360, 30))).notes)


@pytest.mark.parametrize("planes", [[0, 40, 80], [0, 30, 60, 120], [0, 90, 180, 200]])
def test_half_told_turns_are_refused(planes):
    said = refusal(lm63(lengthways, planes=planes))
    assert "0 (one plane), 90, 180 or 360 deg" in said
    assert "line" in said


@pytest.mark.parametrize(("version", "second"), [("", 0.5), ("IESNA91", 0.5), ("IESNA:LM-63-1995", 1.0),
                                                 ("IESNA:LM-63-2002", 1.0), ("IES:LM-63-2019", 1.0)])  # fmt: skip
def test_factors(version, second):
    """Multiplier and ballast factor scale always, the second factor until 1991: 1995 keeps it for future use, 2019 for how
    the file was made (1.1 and the like)."""
    told = 0.5 if second == 0.5 else 1.10001
    found = parse(lm63(version=version, multiplier=2.5, factors=f"0.9 {told} 0"))
    follows(found, lambda azimuth, angle: 0.9 * second * lengthways(azimuth, angle))
    assert found.watts is None
    assert found.version == {"": "1986", "IESNA91": "1991"}.get(version, version[-4:])


@pytest.mark.parametrize(
    ("opening", "units", "shape", "length", "width"),
    [
        ("0.1 0.5 0", 2, OpeningShape.RECTANGULAR, 0.5, 0.1),
        ("0.5 2 0", 1, OpeningShape.RECTANGULAR, 0.6096, 0.1524),
        ("0 0 0", 2, OpeningShape.POINT, 0.0, 0.0),
        ("-0.2 -0.2 0", 2, OpeningShape.ROUND, 0.2, 0.2),
        ("-0.2 0 0", 2, OpeningShape.ROUND, 0.2, 0.2),
        ("-0.5 -1 0", 1, OpeningShape.ROUND, 0.3048, 0.1524),
        ("-0.2 0 0.1", 2, OpeningShape.ROUND, 0.2, 0.2),
        ("-0.2 0 -0.2", 2, OpeningShape.ROUND, 0.2, 0.2),
        ("-0.05 0.6 -0.05", 2, OpeningShape.RECTANGULAR, 0.6, 0.05),
        ("0 0.5 0", 2, OpeningShape.RECTANGULAR, 0.5, 0.0),
    ],
)  # fmt: skip
def test_openings(opening, units, shape, length, width):
    """Width across, length along; feet or metres; negative sizes are diameters (LM-63-02; 1991 5.11)."""
    found = parse(lm63(units=units, opening=opening)).opening
    assert (found.shape, found.length_m, found.width_m) == (shape, pytest.approx(length), pytest.approx(width))


def test_openings_of_1991():
    """1991: a lone negative width is an ellipse, width 0 and height -d a level cylinder of diameter d."""
    ellipse = parse(lm63(version="IESNA91", opening="-0.1 0.4 0")).opening
    assert (ellipse.shape, ellipse.length_m, ellipse.width_m) == (OpeningShape.ROUND, 0.4, 0.1)
    cylinder = parse(lm63(version="IESNA91", opening="0 0.6 -0.04")).opening
    assert (cylinder.shape, cylinder.length_m, cylinder.width_m) == (OpeningShape.RECTANGULAR, 0.6, 0.04)


def test_tilt_included():
    """The factor of a level lamp counts, and is said."""
    found = parse(lm63(tilt="INCLUDE\n1\n3\n-90 0 90\n0.6 0.95 0.6"))
    follows(found, lambda azimuth, angle: 0.95 * lengthways(azimuth, angle))
    assert any("0.95" in note and "tilt" in note for note in found.notes)


def test_lamps_of_relative_photometry():
    found = parse(lm63(written.cosine(), planes=[0], lamps="2 1600", factors="0.5 1 30"))
    assert found.lamp_lumens == 1600.0
    assert found.stated_lumens is None
    assert found.watts == 30.0
    assert total_flux(found) == pytest.approx(0.5 * 3139.597, rel=1e-6)
    assert found.notes == ()
    assert parse(lm63(written.cosine(), planes=[0])).lamp_lumens is None


@pytest.mark.parametrize(("lumens", "words"), [(3000, "more than the 3000 lm"), (4000, "78 % of the 4000 lm")])
def test_lumens_that_disagree(lumens, words):
    """More than 2 % off what the file's lamps give, 3139.60 lm in its intensities."""
    assert any(words in note for note in parse(lm63(written.cosine(), planes=[0], lamps=f"1 {lumens}")).notes)


def test_lumens_of_a_keyword():
    text = lm63(written.cosine(), planes=[0], labels="[_TOTALLUMINAIRELUMENS] 3000")
    found = parse(text)
    assert found.stated_lumens == 3000.0
    assert found.notes == ("its intensities add up to 3140 lm, but it states 3000 lm (+4.7 %)",)
    assert parse(text.replace("3000", "3100")).notes == ()


REFUSED = {
    "type B": (lm63(kind=2), "type B"),
    "type A": (lm63(kind=3), "type A"),
    "type 7": (lm63(kind=7), "photometric type"),
    "another file": (lm63(tilt="OTHER.TLT"), "OTHER.TLT names another file"),
    "no tilt": (lm63().replace("TILT=NONE\n", ""), "TILT="),
    "a word": (lm63().replace("\n0.1", "\nwide", 1).replace(" 0.1 ", " wide ", 1), "'wide'"),
    "half a file": (lm63()[:-60], "the file ends after"),
    "no angles": ("IESNA91\nTILT=NONE\n1 -1 1 19 1 1 2 0 0 0\n1 1 1\n", "the file ends after 0 of 19 vertical angles"),
    "falling angles": (lm63(angles=[0, 30, 20, 90]), "vertical angles must rise (got 30 then 20)"),
    "beyond straight up": (lm63(angles=[0, 90, 200]), "within"),
    "falling planes": (lm63(planes=[0, 60, 30, 90]), "horizontal angles must rise"),
    "no light": (lm63(written.cosine(0.0)), "no light"),
    "light of a thread": (lm63(lambda c, g: 9.0 * (g == 0) * (c > 400) + 0.0, planes=[0]), "no light"),
    "negative": (lm63(lambda c, g: 100 - 3 * g + 0 * c), "must not be negative"),
    "no multiplier": (lm63().replace("1 -1 1 19", "1 -1 0 19"), "multiplier must be more than 0"),
    "halves of angles": (lm63().replace("1 -1 1 19", "1 -1 1 18.5"), "whole number"),
    "huge counts": (lm63().replace("1 -1 1 19 4", "1 -1 1 20000 20000"), "at most"),
    "huge opening": (lm63(opening="500 500 0"), "cannot be right"),
    "not finite": (lm63().replace("1 -1 1 19", "1 -1 1e999 19"), "multiplier"),
    "no number": (lm63().replace("1 -1 1 19", "1 -1 nan 19"), "'nan'"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_refused_in_one_line(kind):
    text, words = REFUSED[kind]
    assert words in refusal(text)


def test_the_line_is_named():
    text = lm63()
    at = text.split("\n").index("TILT=NONE")
    assert f"line {at + 2}:" in refusal(text.replace("1 -1 1 19", "1 -1 one 19"))


def test_dark_room_noise_is_cut():
    found = parse(lm63(lambda c, g: np.where(g > 85, -0.5, 100.0) + 0 * c, planes=[0]))
    assert found.intensity_cd.min() == 0.0
    assert any("negative" in note for note in found.notes)
