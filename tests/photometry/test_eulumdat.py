"""EULUMDAT files: every symmetry, the lamps' lumens, openings, and what cannot be used said in one line."""

from __future__ import annotations

import numpy as np
import pytest
import written
from test_lm63 import follows
from written import eulumdat, lengthways, lopsided, to_one_side

from underlit.photometry.files import FileFormat, OpeningShape, PhotometryFileError, parse_photometry, total_flux


def parse(text, name="own.ldt"):
    return parse_photometry(text.encode("latin-1"), name=name)


def refusal(text):
    with pytest.raises(PhotometryFileError) as caught:
        parse(text)
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith("own.ldt")
    return said


@pytest.mark.parametrize(
    ("symmetry", "planes", "intensity"),
    [
        (0, 24, lopsided),
        (0, 12, lengthways),
        (1, 24, written.cosine(power=2)),
        (1, 1, written.cosine(power=2)),
        (2, 24, to_one_side(-90)),
        (2, 12, to_one_side(90)),
        (3, 24, to_one_side(0)),
        (3, 12, to_one_side(180)),
        (4, 24, lengthways),
    ],
)  # fmt: skip
def test_every_symmetry(symmetry, planes, intensity):
    """Isym 0 none, 1 axial, 2 to C0-C180 (across the fixture), 3 to C90-C270 (along it), 4 to both."""
    angles = list(range(0, 181, 5))
    found = parse(eulumdat(intensity, symmetry=symmetry, planes=planes, angles=angles))
    follows(found, intensity, np.array(angles, float))
    assert found.format is FileFormat.EULUMDAT


def test_planes_at_uneven_distances():
    """Only the lists of angles count, whatever the distances said."""
    text = eulumdat(lopsided, symmetry=0, planes=12)
    follows(parse(text), lopsided)
    lines = text.split("\n")
    lines[4] = "0"
    assert np.array_equal(parse("\n".join(lines)).intensity_cd, parse(text).intensity_cd)


@pytest.mark.parametrize(("lumens", "factor"), [(1000.0, 1.0), (4321.0, 1.0), (2500.0, 1.25)])
def test_intensities_are_per_kilolumen_of_the_lamps(lumens, factor):
    follows(parse(eulumdat(lengthways, lumens=lumens, factor=factor)), lengthways)


def test_lumens_checked():
    """Lamp lumens times light output ratio is what leaves the fixture; 2 % off is said."""
    flux = total_flux(parse(eulumdat(written.cosine(), symmetry=1)))
    assert flux == pytest.approx(3139.597, rel=1e-6)
    right = parse(eulumdat(written.cosine(), symmetry=1, lumens=4000, ratio=100 * flux / 4000))
    assert right.notes == ()
    assert right.stated_lumens == pytest.approx(flux, rel=1e-4)
    assert right.lamp_lumens == 4000
    wrong = parse(eulumdat(written.cosine(), symmetry=1, lumens=4000, ratio=75))
    assert wrong.notes == ("its intensities add up to 3140 lm, but it states 3000 lm (+4.7 %)",)
    unsaid = parse(eulumdat(written.cosine(), symmetry=1, lumens=4000))
    assert unsaid.notes == ("its intensities add up to 3140 lm, 78 % of the 4000 lm of its lamps",)


def test_absolute_photometry():
    """A negative number of lamps: the lumens are the fixture's own."""
    found = parse(eulumdat(written.cosine(), symmetry=1, lumens=3139.6, lamps=-1, ratio=100))
    assert found.lamp_lumens is None
    assert found.stated_lumens == pytest.approx(3139.6)
    assert found.notes == ()


def test_openings():
    """Millimetres; width 0 is round; the whole underside where no luminous area is said."""
    whole = parse(eulumdat(area=(500, 100))).opening
    assert (whole.shape, whole.length_m, whole.width_m) == (OpeningShape.RECTANGULAR, 0.5, 0.1)
    disc = parse(eulumdat(area=(200, 0))).opening
    assert (disc.shape, disc.length_m, disc.width_m) == (OpeningShape.ROUND, 0.2, 0.2)
    unsaid = parse(eulumdat(area=(0, 0)))
    assert (unsaid.opening.length_m, unsaid.opening.width_m) == (0.02, 0.02)
    assert any("whole underside" in note for note in unsaid.notes)


def test_several_lamp_sets():
    found = parse(eulumdat(lengthways, sets=3))
    follows(found, lengthways)
    assert any("3 sets" in note for note in found.notes)


def replaced(line, text):
    lines = eulumdat().split("\n")
    lines[line - 1] = text
    return "\n".join(lines)


REFUSED = {
    "symmetry 5": (replaced(3, "5"), "line 3: the symmetry (Isym)"),
    "no symmetry": (replaced(3, "x"), "line 3: the symmetry (Isym) must be a number (got 'x')"),
    "odd planes": (replaced(4, "23"), "line 4: symmetry 4 (both planes) needs planes in multiples of 4"),
    "huge counts": (replaced(4, "3600").replace("\n19\n", "\n3600\n", 1), "at most"),
    "half a file": (eulumdat()[:-60], "the file ends after"),
    "a wrong count": (replaced(6, "25"), "angles in a C-plane must rise (got 300 then 298.858)"),
    "no lumens": (replaced(29, "0"), "line 29: the lumens of the lamps"),
    "lumens missing": (replaced(29, ""), "line 29: the lumens of the lamps is missing"),
    "no lamp sets": (replaced(26, "0"), "line 26"),
    "negative size": (replaced(16, "-5"), "sizes must not be negative"),
    "a word among the numbers": (replaced(40, "abc"), "line 40"),
    "short": ("nobody\n1\n1\n1\n", "line 5: the number of angles in a C-plane is missing"),
    "prose": ("Dear all,\nplease find the file\nattached.\n", "line 3"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_refused_in_one_line(kind):
    text, words = REFUSED[kind]
    assert words in refusal(text)


def test_planes_that_do_not_suit_the_symmetry():
    lines = eulumdat(lengthways, planes=24).split("\n")
    lines[42:66] = [f"{10 + 14 * k}" for k in range(24)]
    assert "symmetry 4 needs planes from C0 to C90 (got C10 to C94)" in refusal("\n".join(lines))
