"""Whatever is wrong with an input, the command says so in one clear line each, ends with status 2, and writes nothing."""

from __future__ import annotations

import os
import re
import struct
from pathlib import Path

import pytest

from underlit.cli import main

SCENE = """\
title = "a small box"
[tank]
inside_size = ["30 cm", "20 cm", "20 cm"]
glass_thickness = "4 mm"
[water]
above_bottom = "17 cm"
[substrate]
material = "gravel"
depth = "2 cm"
[[fixture]]
name = "clip"
size = ["12 cm", "4 cm", "1 cm"]
leds = { rows = 1, columns = 4 }
output = { ppf = "3 umol/s" }
above_rim = "5 cm"
position = ["15 cm", "10 cm"]
[[zone]]
name = "bed"
rectangle = [["5 cm", "5 cm"], ["25 cm", "15 cm"]]
band = [15, 35]
[[spot]]
name = "centre"
at = ["15 cm", "10 cm"]
"""
STONE = '[[stone]]\nname = "rock"\nmesh = "rock.{0}"\nunit = "m"\nat = ["15 cm", "10 cm"]\n'
PIECE = '[[stone]]\nname = "rock"\nshape = "rounded"\nsize = ["5 cm", "5 cm", "5 cm"]\nat = {0}\n'


def refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> list[str]:
    """Run the command, which must refuse; its lines on stderr."""
    status = main([str(a) for a in arguments])
    said = capsys.readouterr()
    assert status == 2, said.out + said.err
    assert "Traceback" not in said.err
    lines = said.err.splitlines()
    assert lines
    assert all(line.strip() for line in lines), "an empty line among the errors"
    assert all(len(line) < 400 for line in lines)
    return lines


def traced(capsys: pytest.CaptureFixture[str], scene: Path) -> list[str]:
    """Ask for a trace of a bad scene into a new folder, which must not be made."""
    out = scene.parent / "out"
    before = set(scene.parent.iterdir())
    lines = refused(capsys, "trace", scene, "--out", out, "--photons", "1000")
    assert set(scene.parent.iterdir()) == before
    return lines


# -- the scene's text -------------------------------------------------------------------------------------------------
# Each: what to change in the sound scene, and what the one line must say, key and reason.
CHANGED = {
    "unknown key": (("depth =", "dept ="), ["substrate.dept", "depth"]),
    "unknown table": (("[water]", "[watr]"), ["watr", "water"]),
    "no unit": (('"17 cm"', "17"), ["water.above_bottom", "unit"]),
    "wrong unit": (('"17 cm"', '"17 kg"'), ["water.above_bottom", "kg"]),
    "wrong kind of unit": (('"17 cm"', '"17 W"'), ["water.above_bottom", "W"]),
    "infinite": (('"17 cm"', '"inf cm"'), ["water.above_bottom"]),
    "overflowing": (('"17 cm"', '"1e999 cm"'), ["water.above_bottom"]),
    "not a number": (("band = [15, 35]", "band = [nan, 35]"), ["zone[0].band"]),
    "negative": (('ppf = "3 umol/s"', 'ppf = "-3 umol/s"'), ["fixture[0].output", "-3"]),
    "a huge tank": (('["30 cm"', '["3e9 m"'), ["tank.inside_size"]),
    "a tiny tank": (('["30 cm"', '["1e-9 m"'), ["tank"]),
    "a text for a number": (("rows = 1", 'rows = "one"'), ["fixture[0].leds.rows"]),
    "too many LEDs": (("columns = 4", "columns = 100000000"), ["fixture[0].leds.columns"]),
    "a list for a table": (("leds = { rows = 1, columns = 4 }", "leds = [1, 4]"), ["fixture[0].leds"]),
    "water above the rim": (('"17 cm"', '"21 cm"'), ["water.above_bottom", "above the rim"]),
    "fixture in the water": (('above_rim = "5 cm"', 'above_water = "-4 cm"'), ["fixture[0]"]),
    "band upside down": (("[15, 35]", "[35, 15]"), ["zone[0].band"]),
    "zone outside": (('[["5 cm", "5 cm"], ["25 cm", "15 cm"]]', '[["45 cm", "5 cm"], ["50 cm", "15 cm"]]'), ["zone[0]"]),
    "spot outside": (('at = ["15 cm", "10 cm"]', 'at = ["95 cm", "10 cm"]'), ["spot[0].at", "outside the tank"]),
    "spot in the substrate": (('at = ["15', 'above_substrate = "-1 cm"\nat = ["15'), ["spot[0].above_substrate"]),
    "no light": (("[[fixture]]", "[[spot_x]]"), ["spot_x"]),
    "a lens narrower than a hemisphere": (('above_rim', 'lens = { beam_angle = "200 deg" }\nabove_rim'), ["fixture[0].lens"]),
    "unknown material": (('"gravel"', '"gravle"'), ["substrate.material", "gravel"]),
    "missing mesh": (("[[spot]]", STONE.format("stl") + "[[spot]]"), ["stone[0].mesh", "no such mesh file"]),
    "stone outside": (("[[spot]]", PIECE.format('["9 m", "9 m"]') + "[[spot]]"), ["stone[0].at", "outside the tank"]),
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGED.values(), ids=CHANGED.keys())
def test_a_changed_scene_is_refused_with_place_and_reason(
    change: tuple[tuple[str, str], list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (old, new), words = change
    assert old in SCENE
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE.replace(old, new, 1), encoding="utf-8")
    lines = traced(capsys, scene)
    assert all(line.startswith(f"{scene}:") for line in lines), lines
    assert any(all(word in line for word in words) for line in lines), lines


def test_every_problem_is_said_at_once_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = tmp_path / "box.toml"
    text = SCENE.replace("rows = 1", "rows = 0").replace('"17 cm"', '"17 furlongs"').replace("depth =", "depht =")
    scene.write_text(text, encoding="utf-8")
    lines = traced(capsys, scene)
    numbers = [int(re.match(rf"{re.escape(str(scene))}:(\d+): ", line)[1]) for line in lines]  # type: ignore[index]
    wanted = [
        i for i, row in enumerate(text.splitlines(), 1) if "furlongs" in row or "depht" in row or "rows = 0" in row
    ]
    assert numbers == wanted


# -- files ------------------------------------------------------------------------------------------------------------
def test_files_that_are_no_scenes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    missing = tmp_path / "nowhere.toml"
    assert traced(capsys, missing) == [f"{missing}: cannot be read: No such file or directory"]
    assert "directory" in refused(capsys, "trace", tmp_path)[0]
    empty = tmp_path / "empty.toml"
    empty.write_text("")
    assert any("tank" in line for line in traced(capsys, empty))
    latin = tmp_path / "latin.toml"
    latin.write_bytes('title = "Höhe"\n'.encode("latin-1"))
    assert "UTF-8" in traced(capsys, latin)[0]
    binary = tmp_path / "binary.toml"
    binary.write_bytes(bytes(range(256)))
    assert len(traced(capsys, binary)) == 1
    broken = tmp_path / "broken.toml"
    broken.write_text('title = "x"\n[tank\n')
    assert traced(capsys, broken)[0].startswith(f"{broken}:2: not valid TOML")
    twice = tmp_path / "twice.toml"
    twice.write_text("title = 'a'\ntitle = 'b'\n")
    assert "not valid TOML" in traced(capsys, twice)[0]
    deep = tmp_path / "deep.toml"
    deep.write_text("a = " + "[" * 5000 + "]" * 5000)
    assert len(traced(capsys, deep)) == 1


def test_bases(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = tmp_path / "box.toml"
    scene.write_text('base = "no.toml"\n' + SCENE)
    assert traced(capsys, scene)[0].startswith(f"{scene}:1: base: no such scene file")
    scene.write_text('base = "box.toml"\n' + SCENE)
    assert "refers back to it" in traced(capsys, scene)[0]
    (tmp_path / "other.toml").write_text('base = "box.toml"\n')
    scene.write_text('base = "other.toml"\n')
    assert "refers back to it" in traced(capsys, scene)[0]
    scene.write_text("base = 3\n" + SCENE)
    assert "base" in traced(capsys, scene)[0]
    scene.write_text('base = "."\n' + SCENE)
    assert "base" in traced(capsys, scene)[0]


ONE_FACE = "o x\nv 0 0 0\nv 0.05 0 0\nv 0 0.05 0\nf 1 2 3\n"
MESHES = {
    "no faces": ("obj", b"o x\nv 0 0 0\nv 1 0 0\nv 0 1 0\n", "face"),
    "points only": (
        "ply",
        b"ply\nformat ascii 1.0\nelement vertex 2\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
        b"0 0 0\n1 1 1\n",
        "face",
    ),
    "no mesh": ("obj", b"this is a shopping list", "mesh"),
    "empty": ("stl", b"", "mesh"),
    "cut short": ("stl", b"\0" * 80 + struct.pack("<I", 1000) + b"\0" * 50, "mesh"),
    "not finite": ("obj", b"v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n", "finite"),
    "all in one point": ("obj", b"v 0 0 0\nv 0 0 0\nv 0 0 0\nf 1 2 3\n", "degenerate"),
    "unknown ending": ("xyzzy", b"hello", "mesh"),
    "a huge one": ("obj", ONE_FACE.replace("0.05", "5e9").encode(), "rock"),
}


@pytest.mark.parametrize("mesh", MESHES.values(), ids=MESHES.keys())
def test_meshes_that_cannot_be_used(
    mesh: tuple[str, bytes, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ending, content, word = mesh
    (tmp_path / f"rock.{ending}").write_bytes(content)
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE + STONE.format(ending))
    lines = traced(capsys, scene)
    assert len(lines) == 1
    # what cannot be read is refused at its key; what reads, but makes no shape, where the stone is built
    where = "rock: " if word in ("degenerate", "rock") else "stone[0].mesh: "
    said = (SCENE + STONE).splitlines().index('mesh = "rock.{0}"') + 1
    line = "" if where == "rock: " else f":{said}"
    assert lines[0].startswith(f"{scene}{line}: {where}")
    assert word in lines[0]


def test_a_mesh_outside_the_tank(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "rock.obj").write_text(ONE_FACE)
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE + STONE.format("obj").replace('"15 cm"', '"3 m"'))
    (line,) = traced(capsys, scene)
    assert line.startswith(f"{scene}: rock: ")
    assert "move it inside" in line


# -- options ----------------------------------------------------------------------------------------------------------
OPTIONS = {
    "--photons -5": "--photons: must be a whole number",
    "--photons 0": "--photons: must be a whole number",
    "--photons abc": "--photons: must be a whole number",
    "--photons 1.5": "--photons: must be a whole number",
    "--photons inf": "--photons: must be a whole number",
    "--precision 7": "--precision: must be a fraction between 0 and 1",
    "--precision 0": "--precision: must be a fraction between 0 and 1",
    "--precision nan": "--precision: must be a fraction between 0 and 1",
    "--precision fine": "--precision",
    "--precision .1 --photons 1000": "--precision, --photons: use only one of them",
    "--threads 0": "--threads: must be a whole number from 1 to",
    "--threads 1000000": "--threads: must be a whole number from 1 to",
    "--threads two": "--threads: must be a whole number from 1 to",
    "--seed -1": "--seed: must be a whole number",
    "--seed 18446744073709551616": "--seed: must be a whole number",
    "--fotons 1000": "unknown option: --fotons",
    "--photons": "--photons requires an argument",
    "another.toml": "one argument too many: 'another.toml'",
}


@pytest.mark.parametrize("options", OPTIONS)
def test_options_out_of_range(options: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE)
    lines = refused(capsys, "trace", scene, *options.split())
    assert len(lines) == 1
    assert OPTIONS[options] in lines[0]


def test_unknown_commands_and_missing_arguments(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["trase", "x.toml"], ["trace"], ["check"], ["view"], ["schema", "extra"], ["--nonsense"]):
        lines = refused(capsys, *arguments)
        assert len(lines) == 1
        assert "--help" in lines[0]


# -- places to write --------------------------------------------------------------------------------------------------
def test_out_that_cannot_be_written_is_said_before_any_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE)
    taken = tmp_path / "taken"
    taken.write_text("a file")
    monkeypatch.setattr("underlit.commands.trace.lowered_scene", lambda scene: pytest.fail("work was begun"))
    for out in (taken, taken / "under", "/proc/none/such"):
        (line,) = refused(capsys, "trace", scene, "--out", out)
        assert line.startswith(f"--out: {out}: ")
    assert taken.read_text() == "a file"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_read_only_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE)
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o555)
    assert "cannot write there" in refused(capsys, "trace", scene, "--out", locked / "x")[0]


def test_check_and_schema_say_where_they_cannot_write(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = tmp_path / "box.toml"
    scene.write_text(SCENE)
    taken = tmp_path / "taken"
    taken.write_text("a file")
    for arguments in (["check", scene], ["schema"]):
        (line,) = refused(capsys, *arguments, "--out", taken / "x")
        assert line.startswith(f"--out: {taken / 'x'}: ")
        (line,) = refused(capsys, *arguments, "--out", tmp_path)
        assert line.startswith(f"--out: {tmp_path}")


# -- view -------------------------------------------------------------------------------------------------------------
def test_view_of_what_is_no_result(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in (tmp_path, tmp_path / "nowhere"):
        (line,) = refused(capsys, "view", folder)
        assert line == f"{folder}: there is no result.nc; name a folder that `underlit trace --out` wrote"
    fields = tmp_path / "result.nc"
    for content in (b"", b"hello", b"\x89HDF\r\n\x1a\n" + b"\0" * 100, b"CDF\x01" + b"\0" * 64):
        fields.write_bytes(content)
        (line,) = refused(capsys, "view", tmp_path)
        assert line.startswith(f"{fields}: ")
