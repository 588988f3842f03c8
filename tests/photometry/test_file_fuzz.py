"""Broken files of all sorts: the readers give a fixture that makes sense or one line, soon, and in little memory."""

from __future__ import annotations

import math
import time
import tracemalloc

import numpy as np
import pytest
import written
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from written import eulumdat, lm63, lopsided

from underlit.photometry.files import Photometry, PhotometryFileError, parse_photometry, total_flux

WHOLE = [
    lm63().encode(),
    lm63(lopsided, planes=range(0, 361, 60), angles=range(0, 181, 30), tilt="INCLUDE\n1\n2\n0 90\n1 0.9").encode(),
    eulumdat(angles=range(0, 91, 15), planes=8).encode(),
    eulumdat(lopsided, symmetry=0, planes=6, angles=range(0, 181, 30), comma=True, sets=2).encode("latin-1"),
]
WORDS = [
    b"", b"0", b"-1", b"1e9", b"1e-300", b"1e999", b"-0.5", b"nan", b"inf", b"20000", b"99999999999999999999", b"1.5",
    b"TILT=NONE", b"TILT=INCLUDE", b"\xff", b"\0", b"\x1a", b",", b";", b"\r", b"\n", b"1_0", b"\xd9\xa1", b"[", b"360",
]  # fmt: skip
QUICK = settings(max_examples=150, deadline=5000, suppress_health_check=list(HealthCheck))


def read(raw: bytes) -> Photometry | None:
    """A fixture whose numbers make sense, or None where the file was refused in one printable line."""
    try:
        found = parse_photometry(raw, name="own")
    except PhotometryFileError as problem:
        said = str(problem)
        assert said.startswith("own")
        assert said.isprintable()
        assert len(said) < 250
        return None
    nc, ng = found.intensity_cd.shape
    assert (nc, ng) == (len(found.azimuth_rad), len(found.angle_rad))
    assert found.azimuth_rad[-1] - found.azimuth_rad[0] == pytest.approx(2 * math.pi, abs=1e-9)
    assert (np.diff(found.azimuth_rad) > 0).all()
    assert (np.diff(found.angle_rad) > 0).all()
    assert found.angle_rad[0] >= 0
    assert found.angle_rad[-1] <= math.pi + 1e-9
    assert np.isfinite(found.intensity_cd).all()
    assert (found.intensity_cd >= 0).all()
    assert math.isfinite(total_flux(found))
    assert total_flux(found) > 0
    assert min(found.opening.length_m, found.opening.width_m, found.opening.height_m) >= 0
    assert all(note.isprintable() and len(note) < 250 for note in found.notes)
    return found


def test_the_whole_files_are_read():
    assert all(read(raw) is not None for raw in WHOLE)


@QUICK
@given(st.binary(max_size=400))
def test_any_bytes(raw):
    read(raw)


@QUICK
@given(st.sampled_from(WHOLE), st.data())
def test_words_replaced_dropped_and_doubled(raw, data):
    words = raw.replace(b"\n", b" \n ").split(b" ")
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(words) - 1))
        word = data.draw(st.sampled_from([*WORDS, words[at] + b" " + words[at]]) | st.binary(max_size=6))
        words[at] = word
    read(b" ".join(words).replace(b" \n ", b"\n"))


@QUICK
@given(st.sampled_from(WHOLE), st.data())
def test_torn_and_shuffled(raw, data):
    lines = raw.split(b"\n")
    if data.draw(st.booleans()):
        read(raw[: data.draw(st.integers(0, len(raw)))])
    at, to = (data.draw(st.integers(0, len(lines) - 1)) for _ in range(2))
    lines[at], lines[to] = lines[to], lines[at]
    read(b"\n".join(lines))
    read(b"\n".join(lines[:at] + lines[to:]))


@QUICK
@given(st.sampled_from(WHOLE), st.integers(0, 10**6), st.integers(0, 255))
def test_one_byte_changed(raw, at, byte):
    at %= len(raw)
    read(raw[:at] + bytes([byte]) + raw[at + 1 :])


HOSTILE = {
    "counts without numbers": b"IESNA91\nTILT=NONE\n1 -1 1 600 600 1 2 0 0 0\n1 1 1\n0 1 2\n",
    "counts beyond the limit": b"IESNA91\nTILT=NONE\n1 -1 1 20000 20000 1 2 0 0 0\n1 1 1\n0 1 2\n",
    "all counts the largest": b"x\n1\n0\n3600\n1\n3600\n1\n" + b"0\n" * 100,
    "tilt counts": b"IESNA91\nTILT=INCLUDE\n1\n1000\n1 2 3",
    "one endless line": b"IESNA91\nTILT=NONE\n" + b"1 " * (2**21),
    "one endless number": b"IESNA91\nTILT=NONE\n" + b"1" * (4 * 2**20),
    "one endless keyword": b"IESNA91\n" + b"[" * (4 * 2**20),
    "blanks only before the end": b" " * (4 * 2**20) + b"x",
    "line ends only": b"\n" * (4 * 2**20) + b"x",
    "lone returns": b"\r" * (4 * 2**20) + b"x",
    "commas": b"IESNA91\nTILT=NONE\n" + b"," * (4 * 2**20),
    "keywords": b"IESNA91\n" + b"[A] b\n" * 2**19,
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_files_end_soon_in_little_memory(kind):
    """At most some 60 bytes for each byte of the file, and seconds on a busy machine."""
    began = time.process_time()
    tracemalloc.start()
    try:
        assert read(HOSTILE[kind]) is None
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 320 * 2**20
    assert time.process_time() - began < 20


def test_a_large_file_is_read_in_little_memory():
    """A quarter of the most intensities a file may hold, quarter-told so that they are mirrored."""
    text = lm63(planes=np.linspace(0, 90, 100), angles=[0.0, 90.0]).replace("1 -1 1 2 100", "1 -1 1 1000 100")
    head = text.split("\n")[:6]
    angles, planes = (written.numbers(np.linspace(0, 90, count)) for count in (1000, 100))
    raw = "\n".join([*head, angles, planes, "7.5 " * 100_000]).encode()
    tracemalloc.start()
    try:
        found = read(raw)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found is not None
    assert found.intensity_cd.shape == (397, 1000)
    assert most < 80 * 2**20
