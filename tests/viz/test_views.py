"""The 3D picture, the window and the VTK files."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from pictured_world import pictured_overlay, pictured_result

from underlit.lowering.records import Part, Role
from underlit.results.store import write_fields
from underlit.viz.palette import colour_map
from underlit.viz.tank3d import gl
from underlit.viz.tank3d.pooling import shown_side, shown_values

SIM = Path(__file__).resolve().parents[2] / "sim"
needs_gl = pytest.mark.skipif(gl.why_no_gl() is not None, reason="no GL here")


# -- the picture ----------------------------------------------------------------------------------------------
@needs_gl
def test_every_valued_pixel_has_exactly_the_colour_of_its_value():
    """80 everywhere on a map from 0 to 100: no lamp, tint or line changes the colour inside a surface."""
    from underlit.viz.tank3d.stills import render
    from underlit.viz.tank3d.tank_scene import build_scene

    image = render(build_scene(pictured_result(80.0), limits=(0.0, 100.0)), (400, 260))
    expected = np.array(colour_map()(0.8, bytes=True)[:3])
    valued = np.all(image == expected, axis=2)
    assert valued.sum() > 5000
    # Nothing else of the map is in the picture: the most common colours are the background, the value, and solid parts.
    yellow = np.all(np.abs(image.astype(int) - np.array(colour_map()(1.0, bytes=True)[:3])) < 3, axis=2)
    assert yellow.sum() == 0


@needs_gl
def test_the_picture_is_upright_and_shows_the_fixture_above_the_tank():
    from underlit.viz.palette import ROLE_COLOURS
    from underlit.viz.tank3d.stills import BACKGROUND, render
    from underlit.viz.tank3d.tank_scene import build_scene

    image = render(build_scene(pictured_result(80.0), limits=(0.0, 100.0)), (400, 260)).astype(int)
    valued = np.all(image == np.array(colour_map()(0.8, bytes=True)[:3]), axis=2)
    dark = image.sum(axis=2) < 230
    assert ROLE_COLOURS[Role.FIXTURE].startswith("#")
    assert np.argwhere(dark)[:, 0].mean() < np.argwhere(valued)[:, 0].mean() - 40
    # Everything fits: the border is background all round.
    border = np.concatenate([image[0], image[-1], image[:, 0], image[:, -1]])
    assert np.all(border == BACKGROUND)
    # Glass and water show: pixels that are neither background nor solid.
    tinted = (np.abs(image - BACKGROUND).sum(axis=2) > 6) & (image.min(axis=2) > 190)
    assert tinted.sum() > 4000


@needs_gl
def test_the_still_is_written_whole(tmp_path):
    from underlit.viz.tank3d.stills import write_still

    assert write_still(pictured_result(), pictured_overlay(), tmp_path / "view.png", (300, 200)) is None
    assert os.listdir(tmp_path) == ["view.png"]


def test_without_gl_one_line_names_the_packages(tmp_path):
    """EGL is told to look for its drivers where there are none: the probe dies, this process does not."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from underlit.viz.tank3d.stills import write_still\n"
        "print(write_still(None, None, sys.argv[2]))\n"
    )
    environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    for extra in ({"__EGL_VENDOR_LIBRARY_DIRS": "/nonexistent"}, {"UNDERLIT_NO_GL": "1"}):
        done = subprocess.run(
            [sys.executable, "-c", code, str(SIM), str(tmp_path / "view.png")], env={**environment, **extra},
            capture_output=True, text=True,
        )  # fmt: skip
        lines = done.stdout.strip().splitlines()
        assert done.returncode == 0, done.stderr
        assert len(lines) == 1
        assert "libegl1 libgl1-mesa-dri" in lines[0]
    assert os.listdir(tmp_path) == []


# -- the window -----------------------------------------------------------------------------------------------
def test_without_a_display_one_line_says_so(tmp_path, monkeypatch):
    from underlit.viz.tank3d.viewer import show

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    write_fields(pictured_result(), tmp_path / "result.nc")
    said = show(tmp_path)
    assert said is not None
    assert said.startswith("no display")
    assert "\n" not in said
    with pytest.raises(ValueError, match="no such file"):
        show(tmp_path / "elsewhere")


@needs_gl
def test_the_window_switches_parts_and_cuts_through_the_light(monkeypatch):
    from underlit.viz.tank3d.viewer import Window

    gl.use_offscreen()
    window = Window.open(pictured_result(80.0), off_screen=True)
    for name in ("glass", "lid", "water", "fixture", "plants"):
        assert window.is_on(name)
        window.switch(name, False)
        assert not window.is_on(name)
    window.set_height(0.2)
    assert "height plane" in window.plotter.actors
    heights = window.plotter.actors["height plane"].mapper.dataset
    assert heights.bounds[4] == pytest.approx(0.2, abs=1e-6)
    window.set_section(50)
    across = window.plotter.actors["section"].mapper.dataset.bounds
    assert across[0] == pytest.approx(across[1])
    window.turn_section()
    along = window.plotter.actors["section"].mapper.dataset.bounds
    assert along[2] == pytest.approx(along[3])
    window.set_height(None)
    window.set_section(0)
    assert not {"height plane", "section"} & set(window.plotter.actors)
    window.plotter.close()


# -- VTK files ------------------------------------------------------------------------------------------------
def test_the_vtm_opens_with_values_where_light_is_counted(tmp_path):
    import pyvista

    from underlit.viz.tank3d.surfaces import PPFD, PPFD_ERROR, write_vtm

    write_vtm(pictured_result(80.0), tmp_path / "view.vtm")
    blocks = pyvista.read(tmp_path / "view.vtm")
    assert {"substrate: bed", "wood: log", "plants: leaf", "tank glass: panes", "light planes"} <= set(blocks.keys())
    for name in ("substrate: bed", "wood: log", "plants: leaf"):
        np.testing.assert_allclose(blocks[name].cell_data[PPFD], 80.0)
        np.testing.assert_allclose(blocks[name].cell_data[PPFD_ERROR], 0.0, atol=1e-6)
    assert PPFD not in blocks["tank glass: panes"].cell_data
    planes = blocks["light planes"]
    assert planes.dimensions == (12, 6, 5)
    assert np.isnan(planes.point_data[PPFD]).sum() == 4
    assert planes.bounds[4:] == pytest.approx((0.07, 0.27))


def test_a_new_vtm_replaces_the_old_one_with_its_folder(tmp_path):
    from underlit.viz.tank3d.surfaces import write_vtm

    (tmp_path / "view_of_mine").mkdir()
    write_vtm(pictured_result(80.0), tmp_path / "view.vtm")
    first = set(os.listdir(tmp_path))
    write_vtm(pictured_result(80.0), tmp_path / "view.vtm")
    assert set(os.listdir(tmp_path)) == first
    write_vtm(pictured_result(70.0), tmp_path / "view.vtm")
    second = set(os.listdir(tmp_path))
    assert len(second) == 3
    assert second != first
    assert "view_of_mine" in second
    named = re.findall(r'file="([^"]+)"', (tmp_path / "view.vtm").read_text())
    assert len(named) > 8
    assert all((tmp_path / n).is_file() for n in named)


def test_a_vtm_killed_before_its_end_is_not_there(tmp_path):
    code = (
        "import os, signal, sys\n"
        "sys.path[:0] = sys.argv[1:3]\n"
        "from pictured_world import pictured_result\n"
        "from underlit.viz.tank3d import surfaces\n"
        "os.replace = lambda *paths: os.kill(os.getpid(), signal.SIGKILL)\n"
        "surfaces.write_vtm(pictured_result(), sys.argv[3])\n"
    )
    where = [str(SIM), str(Path(__file__).parent), str(tmp_path / "view.vtm")]
    done = subprocess.run([sys.executable, "-c", code, *where], capture_output=True)
    assert done.returncode == -9, done.stderr
    assert all(name.startswith(".") for name in os.listdir(tmp_path))
    from underlit.viz.tank3d.surfaces import write_vtm

    write_vtm(pictured_result(), tmp_path / "view.vtm")
    assert not [name for name in os.listdir(tmp_path) if name.startswith(".")]


# -- values for colouring -------------------------------------------------------------------------------------
def test_uncertain_faces_show_their_neighbourhood_and_certain_ones_themselves():
    from dataclasses import replace

    from underlit.lowering.compiled import Mesh
    from underlit.results.result import Field

    rng = np.random.default_rng(5)
    corner = rng.uniform(0, 0.04, (400, 1, 3))
    vertices = (corner + rng.normal(0, 0.001, (400, 3, 3))).reshape(-1, 3)
    mesh = Mesh(Part("leaves", Role.PLANTS), vertices, np.arange(1200, dtype=np.int32).reshape(-1, 3))
    noisy = np.abs(rng.normal(50.0, 25.0, (400, 2)))
    error = np.full((400, 2), 25.0)
    error[7], noisy[7] = 0.5, 90.0

    class Counted:
        def faces(self, name):
            return Field(noisy, error, 31.0)

    shown = shown_values(Counted(), mesh)
    assert shown[7] == 90.0
    others = np.delete(shown, 7)
    assert others.std() < 6.0
    assert others.mean() == pytest.approx(50.0, rel=0.1)
    # Leaves show the side that looks up, whichever that is.
    flipped = replace(mesh, faces=mesh.faces[:, ::-1])
    up = shown_side(mesh, Field(np.tile([1.0, 2.0], (400, 1)), error, 31.0)).value
    down = shown_side(flipped, Field(np.tile([1.0, 2.0], (400, 1)), error, 31.0)).value
    assert np.all(up != down)
