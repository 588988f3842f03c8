"""Mesh files: every common kind reads, every broken one is refused in one line that names the file."""

import struct

import numpy as np
import pytest
from solid_shapes import box

from underlit.lowering.shapes import Shape, ShapeError, mesh
from underlit.scene import Scene
from underlit.scene.named_files import MeshFile
from underlit.scene.reader import mesh_file
from underlit.scene.reader.files import file_faults, with_files

CUBE = box((0, 0, 0), (0.1, 0.2, 0.3))


def read(path) -> MeshFile:
    """A mesh file as the reader of scenes reads it."""
    return with_files({"stone": [{"mesh": str(path)}]}, Scene)["stone"][0]["mesh"]


def loaded(path, **options) -> Shape:
    return mesh.mended(read(path), **options)


def write_ascii_stl(path, vertices, faces):
    facets = []
    for a, b, c in vertices[faces]:
        rows = "\n".join(f"vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in (a, b, c))
        facets.append(f"facet normal 0 0 0\nouter loop\n{rows}\nendloop\nendfacet")
    path.write_text("solid s\n" + "\n".join(facets) + "\nendsolid s\n")


def write_binary_stl(path, vertices, faces):
    blocks = [struct.pack("<12fH", 0, 0, 0, *corners.ravel(), 0) for corners in vertices[faces]]
    path.write_bytes(b"\0" * 80 + struct.pack("<I", len(faces)) + b"".join(blocks))


def write_obj(path, vertices, faces):
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    path.write_text("\n".join(lines + [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces.tolist()]) + "\n")


def write_ply(path, vertices, faces):
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(vertices)}\nproperty float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = [f"{x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    path.write_text(head + "\n".join(rows + [f"3 {a} {b} {c}" for a, b, c in faces.tolist()]) + "\n")


def write_glb(path, vertices, faces):
    """A scene with the mesh twice, the second one moved by 1 m along x: the graph must be applied."""
    import trimesh

    scene = trimesh.Scene()
    solid = trimesh.Trimesh(vertices, faces, process=False)
    scene.add_geometry(solid, geom_name="a")
    scene.add_geometry(solid, geom_name="b", transform=trimesh.transformations.translation_matrix((1, 0, 0)))
    path.write_bytes(scene.export(file_type="glb"))


WRITERS = {"a.stl": write_ascii_stl, "b.stl": write_binary_stl, "c.obj": write_obj, "d.ply": write_ply}


@pytest.mark.parametrize("name", WRITERS)
def test_reads_what_was_written(tmp_path, name):
    WRITERS[name](tmp_path / name, CUBE.vertices, CUBE.faces)
    shape = loaded(tmp_path / name)
    assert shape.closed
    assert len(shape.vertices) == 8
    assert len(shape.faces) == 12
    assert shape.volume_m3 == pytest.approx(0.006, rel=1e-6)
    assert shape.vertices.dtype == np.float64
    assert shape.faces.dtype == np.int32
    assert shape.note == ""


def test_glb_scene_graph_is_applied_and_put_together(tmp_path):
    write_glb(tmp_path / "s.glb", CUBE.vertices, CUBE.faces)
    shape = loaded(tmp_path / "s.glb")
    assert shape.closed
    assert shape.volume_m3 == pytest.approx(0.012, rel=1e-5)
    assert shape.bounds[1, 0] == pytest.approx(1.1, rel=1e-6)


@pytest.mark.parametrize(("unit", "metres"), [("m", 1), ("cm", 0.01), ("mm", 0.001), ("in", 0.0254), ("ft", 0.3048)])
def test_units_and_scale(tmp_path, unit, metres):
    write_obj(tmp_path / "u.obj", CUBE.vertices * 10, CUBE.faces)
    shape = loaded(tmp_path / "u.obj", scale=0.5, unit=unit)
    assert shape.bounds[1, 2] == pytest.approx(3 * 0.5 * metres, rel=1e-9)


@pytest.mark.parametrize("turned", [range(12), [0, 3, 7], [11]])
def test_closed_meshes_are_wound_outward(tmp_path, turned):
    faces = CUBE.faces.copy()
    faces[list(turned)] = faces[list(turned)][:, ::-1]
    write_obj(tmp_path / "w.obj", CUBE.vertices, faces)
    shape = loaded(tmp_path / "w.obj")
    assert shape.closed
    assert shape.volume_m3 == pytest.approx(0.006, rel=1e-9)
    assert "turned" in shape.note


def test_a_hollow_stays_hollow_and_a_body_beside_is_turned(tmp_path):
    outer, hollow, beside = box((0, 0, 0), (1, 1, 1)), box((0.2, 0.2, 0.2), (0.8, 0.8, 0.8)), box((2, 0, 0), (3, 1, 1))
    vertices = np.concatenate([outer.vertices, hollow.vertices, beside.vertices])
    faces = np.concatenate([outer.faces, hollow.faces[:, ::-1] + 8, beside.faces[:, ::-1] + 16])
    write_obj(tmp_path / "h.obj", vertices, faces)
    assert loaded(tmp_path / "h.obj").volume_m3 == pytest.approx(2 - 0.6**3, rel=1e-9)


def test_open_meshes_are_sheets_and_degenerate_faces_go(tmp_path):
    faces = np.concatenate([CUBE.faces[1:], [[0, 0, 1], [2, 3, 2]]])
    write_ply(tmp_path / "o.ply", CUBE.vertices, faces)
    shape = loaded(tmp_path / "o.ply")
    assert not shape.closed
    assert len(shape.faces) == 11
    assert "not closed" in shape.note
    assert "degenerate" in shape.note


def broken_files(folder):
    bad = CUBE.vertices.copy()
    bad[3, 1] = np.nan
    (folder / "text.stl").write_text("this is no mesh at all")
    (folder / "cut.glb").write_bytes(b"glTF\x02\0\0\0")
    (folder / "empty.obj").write_text("")
    (folder / "empty.ply").write_bytes(b"")
    (folder / "points.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\n")
    (folder / "beyond.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
        "element face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n"
    )
    (folder / "notes.txt").write_text("hello")
    write_ascii_stl(folder / "nan.stl", bad, CUBE.faces)
    write_obj(folder / "line.obj", CUBE.vertices * (1, 0, 0), CUBE.faces)
    write_obj(folder / "huge.obj", CUBE.vertices * 1000, CUBE.faces)
    write_obj(folder / "tiny.obj", CUBE.vertices * 0.001, CUBE.faces)


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("missing.stl", "no such mesh file"),
        ("text.stl", ""),
        ("cut.glb", "cannot be read"),
        ("empty.obj", ""),
        ("empty.ply", ""),
        ("points.obj", ""),
        ("beyond.ply", ""),
        ("notes.txt", "cannot be read"),
        ("nan.stl", "not finite"),
        ("line.obj", "degenerate"),
        ("huge.obj", "check the unit"),
        ("tiny.obj", "check the unit"),
    ],
)
def test_broken_files_give_one_clear_line(tmp_path, name, reason):
    broken_files(tmp_path)
    file = read(tmp_path / name)
    if file.fault:
        (problem,) = file_faults({"mesh": file})
        line = str(problem)
        assert f"(got '{str(tmp_path)[:20]}" in line
    else:
        with pytest.raises(ShapeError) as caught:
            mesh.mended(file)
        line = str(caught.value)
        assert line.startswith(str(tmp_path / name) + ": ")
    assert "\n" not in line
    assert ";" in line, "what would be right is part of the line"
    assert reason in line


def test_too_many_faces(tmp_path, monkeypatch):
    monkeypatch.setattr(mesh_file, "MOST_FACES", 11)
    write_obj(tmp_path / "m.obj", CUBE.vertices, CUBE.faces)
    assert "12 faces" in read(tmp_path / "m.obj").fault


@pytest.mark.parametrize("options", [{"unit": "yard"}, {"scale": 0.0}, {"scale": float("nan")}])
def test_unusable_options(tmp_path, options):
    write_obj(tmp_path / "m.obj", CUBE.vertices, CUBE.faces)
    with pytest.raises(ShapeError):
        loaded(tmp_path / "m.obj", **options)
