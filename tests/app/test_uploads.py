"""What visitors bring: it stays in their folder, within bounds, and stops nobody."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest

pytest.importorskip("nicegui")

from underlit.app import uploads
from underlit.app.uploads import UploadError, keep, safe_name

PYRAMID = b"v 0 0 0\nv 40 0 0\nv 0 40 0\nv 0 0 40\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n"


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../x.stl", "x.stl"), ("/etc/passwd.obj", "passwd.obj"), ("..\\..\\x.obj", "x.obj"), ("a\0b.stl", "a_b.stl"),
        ("x.stl/", None), ("...", None), ("", None), (".stl", "stl"), ("\u202egpj.stl", "_gpj.stl"), ("-rf.stl", "-rf.stl"),
        ("con\nfig.stl", "con_fig.stl"), ("a" * 5000 + ".stl", "a" * 76 + ".stl"), ("Wurzel 1.stl", "Wurzel 1.stl"),
    ],
)  # fmt: skip
def test_names_lose_what_means_something_to_a_file_system(name: str, kept: str | None) -> None:
    if kept is None:
        with pytest.raises(UploadError):
            safe_name(name)
    else:
        assert safe_name(name) == kept


@pytest.mark.parametrize("name", ["../../x.obj", "/tmp/x.obj", "x\0.obj", "a" * 3000 + ".obj", "session.json.obj"])
def test_what_is_brought_stays_in_its_folder(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "sessions" / "visitor"
    folder.mkdir(parents=True)
    kept = keep(folder, name, PYRAMID)
    assert (folder / kept).is_file()
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [folder / kept], "nothing anywhere else"


@pytest.mark.parametrize("name", ["session.json", "A-draft.toml", "x.py", "x.stl.exe", "x", "secret"])
def test_other_kinds_are_not_taken(tmp_path: Path, name: str) -> None:
    with pytest.raises(UploadError, match="cannot be used"):
        keep(tmp_path, name, b"x")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.stl", b""), ("noise.stl", bytes(range(256)) * 40), ("noise.ply", b"ply\nformat ascii 1.0\nelement"),
        ("lies.stl", b"\0" * 80 + struct.pack("<I", 2**31)), ("noise.glb", b"glTF" + b"\xff" * 60), ("no.obj", b"v 0 0 0\n"),
        ("nan.obj", b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"), ("out.obj", b"v 0 0 0\nf 1 2 99999999\n"),
        ("noise.off", b"OFF\n4000000000 4000000000 0\n"),
    ],
)  # fmt: skip
def test_broken_meshes_are_refused_in_one_line(tmp_path: Path, name: str, content: bytes) -> None:
    with pytest.raises(UploadError) as refused:
        keep(tmp_path, name, content)
    assert "\n" not in str(refused.value)
    assert str(refused.value).startswith(name)
    assert not list(tmp_path.iterdir()), "nothing of it is left"


def test_a_mesh_of_millions_of_lines_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "MOST_SECONDS", 4)
    lines = b"v 0 0 0\nv 1 0 0\nv 0 1 0\n" + b"f 1 2 3\n" * 2_900_000
    assert len(lines) < uploads.MOST_BYTES
    with pytest.raises(UploadError):
        keep(tmp_path, "many.obj", lines)
    assert not list(tmp_path.iterdir())


def test_sizes_and_counts_are_bounded(tmp_path: Path) -> None:
    with pytest.raises(UploadError, match="the limit is 24 MB"):
        keep(tmp_path, "x.stl", b"\0" * (uploads.MOST_BYTES + 1))
    with pytest.raises(UploadError, match="the limit is 1 MB"):
        keep(tmp_path, "x.csv", b"\0" * (uploads.MOST_TEXT_BYTES + 1))
    for k in range(uploads.MOST_FILES):
        (tmp_path / f"{k}.csv").touch()
    with pytest.raises(UploadError, match="which is the limit"):
        keep(tmp_path, "one-more.csv", b"1,2\n")


def test_a_mesh_that_names_another_file_does_not_get_it(tmp_path: Path) -> None:
    """glTF lets a buffer lie in a file of its own (glTF 2.0, 3.6.1): its bytes would be seen as corners."""
    folder = tmp_path / "mine"
    folder.mkdir()
    corners = struct.pack("<9f3H2x", 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 2)
    (tmp_path / "others.bin").write_bytes(corners)
    said = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "buffers": [{"uri": "../others.bin", "byteLength": len(corners)}],
        "bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": 36}, {"buffer": 0, "byteOffset": 36, "byteLength": 6}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3", "min": [0, 0, 0], "max": [1, 1, 0]},
            {"bufferView": 1, "componentType": 5123, "count": 3, "type": "SCALAR"},
        ],
    }  # fmt: skip
    text = json.dumps(said).encode()
    text += b" " * (-len(text) % 4)
    chunk = struct.pack("<II", len(text), 0x4E4F534A) + text
    with pytest.raises(UploadError):
        keep(folder, "curious.glb", struct.pack("<4sII", b"glTF", 2, 12 + len(chunk)) + chunk)
    assert not list(folder.iterdir())


def test_a_good_mesh_is_written_anew(tmp_path: Path) -> None:
    trimesh = pytest.importorskip("trimesh")
    assert keep(tmp_path, "pyramid.obj", b"# " + b"x" * 200 + b"\nmtllib /etc/passwd\n" + PYRAMID) == "pyramid.stl"
    assert len(trimesh.load(tmp_path / "pyramid.stl").faces) == 4
    assert [path.name for path in tmp_path.iterdir()] == ["pyramid.stl"]
