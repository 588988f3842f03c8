"""Files as they come from mail boxes and old discs: line ends, encodings, wrapping, commas, blank lines, trailing text."""

from __future__ import annotations

import numpy as np
import pytest
from test_lm63 import follows
from written import eulumdat, lengthways, lm63, numbers, table

from underlit.photometry.files import PhotometryFileError, parse_photometry, read_photometry

TIDY_LM63, TIDY_EULUMDAT = lm63(), eulumdat()


def wrapped(per_line: int) -> str:
    """All numbers of an LM-63 file in one stream, records not kept apart."""
    planes, angles = (0.0, 30.0, 60.0, 90.0), tuple(range(0, 91, 5))
    stream = [1, -1, 1, len(angles), len(planes), 1, 2, 0.1, 0.5, 0, 1, 1, 24, *angles, *planes]
    values = np.concatenate([np.array(stream, float), table(lengthways, planes, angles).ravel()])
    return f"IESNA:LM-63-2002\nTILT=NONE\n{numbers(values, per_line)}\n"


MESSY_LM63 = {
    "CR LF": TIDY_LM63.replace("\n", "\r\n").encode(),
    "lone CR": TIDY_LM63.replace("\n", "\r").encode(),
    "CR CR LF": TIDY_LM63.replace("\n", "\r\r\n").encode(),
    "commas": lm63(between=",").encode(),
    "commas and spaces": lm63(between=" , ").encode(),
    "tabs": lm63(between="\t").encode(),
    "labels without keywords": lm63(version="", labels="A bar of my own\n  24 W, 5000 K\n\n--- 1987 ---").encode(),
    "labels that open no bracket": lm63(labels="TEST] x\n[unfinished\n[]").encode(),
    "Latin-1": lm63(labels="[TEST] Leuchte für Büro, 25\xb0, \x85").encode("latin-1"),
    "UTF-8 with a mark": b"\xef\xbb\xbf" + lm63(labels="[TEST] für").encode(),
    "UTF-16": lm63(labels="[TEST] für").encode("utf-16"),
    "blank lines": TIDY_LM63.replace("\n", "\n\n").encode(),
    "blank lines first": b"\r\n \r\n" + TIDY_LM63.encode(),
    "one number a line": wrapped(1).encode(),
    "wrapped at seven": wrapped(7).encode(),
    "one long line": wrapped(10_000).encode(),
    "trailing text": (TIDY_LM63 + "\nThank you for choosing us\n1 2 3").encode(),
    "end of file mark": TIDY_LM63.encode() + b"\x1a\x00\x00",
    "spaces about TILT": TIDY_LM63.replace("TILT=NONE", "  tilt = none  ").encode(),
    "exponents": TIDY_LM63.replace("\n0 5 10", "\n0.0E0 5.D0 +10.").encode(),
    "a count as 19.0": TIDY_LM63.replace("1 -1 1 19", "1. -1.0 1 19.0").encode(),
}


@pytest.mark.parametrize("kind", MESSY_LM63)
def test_messy_lm63(kind):
    found = parse_photometry(MESSY_LM63[kind], name="own.ies")
    follows(found, lengthways)
    assert (found.opening.length_m, found.opening.width_m, found.watts) == (0.5, 0.1, 24.0)
    assert all(text.isprintable() or not text for note in found.notes for text in [note])


MESSY_EULUMDAT = {
    "CR LF": TIDY_EULUMDAT.replace("\n", "\r\n").encode(),
    "lone CR": TIDY_EULUMDAT.replace("\n", "\r").encode(),
    "decimal commas": eulumdat(comma=True).encode(),
    "Latin-1": TIDY_EULUMDAT.replace("own light", "Büroleuchte 25\xb0 \x85").encode("latin-1"),
    "UTF-8 with a mark": b"\xef\xbb\xbf" + TIDY_EULUMDAT.replace("own light", "für").encode(),
    "blank lines first": b"\r\n\r\n" + TIDY_EULUMDAT.encode(),
    "a blank line after each": TIDY_EULUMDAT.replace("\n", "\n\n").encode(),
    "blank lines last": TIDY_EULUMDAT.encode() + b"\r\n\r\n \r\n\x1a",
    "blank lines among the numbers": TIDY_EULUMDAT.replace("\n0.5\n", "\n\n0.5\n  \n").encode(),
    "no company": TIDY_EULUMDAT.replace("nobody", "", 1).encode(),
    "items with their names": TIDY_EULUMDAT.replace("\n24\n15.0\n", "\n24   planes\n15.0 deg\n", 1).encode(),
    "empty heights": TIDY_EULUMDAT.replace("\n0\n0\n0\n0\n100\n", "\n\n\n\n\n\n").encode(),
    "trailing text": (TIDY_EULUMDAT + "with kind regards\n").encode(),
    "numbers side by side": "\n".join(
        [*TIDY_EULUMDAT.split("\n")[:42], " ".join(TIDY_EULUMDAT.split("\n")[42:])]
    ).encode(),
}


@pytest.mark.parametrize("kind", MESSY_EULUMDAT)
def test_messy_eulumdat(kind):
    found = parse_photometry(MESSY_EULUMDAT[kind], name="own.ldt")
    follows(found, lengthways)
    assert (found.opening.length_m, found.opening.width_m, found.watts) == (0.5, 0.1, 24.0)


NOT_FILES = {
    "nothing": (b"", "the file is empty"),
    "blanks": (b"\r\n  \r\n", "the file is empty"),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "zero bytes"),
    "a page": (b"<html><body>not found</body></html>", "XML"),
    "torn UTF-16": (b"\xff\xfeT\0I", "not a text"),
    "too large": (b"9 " * (4 * 2**20 + 1), "larger than 8 MiB"),
}


@pytest.mark.parametrize("kind", NOT_FILES)
def test_what_is_no_photometric_file(kind):
    raw, words = NOT_FILES[kind]
    with pytest.raises(PhotometryFileError, match=words):
        parse_photometry(raw, name="own.ies")


def test_by_what_stands_in_it_not_by_its_name(tmp_path):
    (tmp_path / "own.txt").write_bytes(TIDY_EULUMDAT.encode())
    (tmp_path / "own.ldt").write_bytes(TIDY_LM63.encode())
    assert read_photometry(tmp_path / "own.txt").format == "EULUMDAT"
    assert read_photometry(tmp_path / "own.ldt").format == "LM-63"


def test_files_that_cannot_be_opened(tmp_path):
    for path in (tmp_path / "none.ies", tmp_path):
        with pytest.raises(PhotometryFileError, match="cannot be read"):
            read_photometry(path)
