"""Tanks from meshes: a box said by its meshes is the box, a bowl loses no light, what does not make a tank is refused."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from shaped_tanks import BOX, described, shell_of, traced

from checking import same, trace
from underlit.lowering.aquascape.bed import bed_triangles
from underlit.lowering.aquascape.hardscape import LoweringError
from underlit.lowering.scene import lower
from underlit.lowering.tank.mesh_glass import section
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import SceneError, scene_from_dict
from underlit.transport.tables import Counter

HEIGHT, GLASS, RADIUS = 0.25, 0.004, 0.155


def bowl_radius(z: np.ndarray) -> np.ndarray:
    """Inside radius of a bowl at heights z [m]: an ellipse, widest at 12 cm."""
    return RADIUS * np.sqrt(1 - ((z - 0.12) / 0.17) ** 2)


def write_bowl(folder: Path, top_of_inside: float = HEIGHT) -> dict[str, Any]:
    """Two STL files in mm, 64 corners round; the tank as a scene says it."""
    z = np.linspace(0, HEIGHT, 21)
    low, high = np.r_[0.0, z[1:-1], top_of_inside], np.r_[-GLASS, z[1:]]
    profiles = {
        "inside": np.column_stack([np.r_[0, bowl_radius(low), 0], np.r_[low[0], low, low[-1]]]),
        "outside": np.column_stack([np.r_[0, bowl_radius(high) + GLASS, 0], np.r_[high[0], high, HEIGHT]]),
    }
    for name, profile in profiles.items():
        mesh = trimesh.creation.revolve(profile, sections=64)
        mesh.apply_scale(1000.0)
        mesh.export(folder / f"{name}.stl")
    return {name: {"mesh": f"{name}.stl", "unit": "mm"} for name in profiles}


def write_box(folder: Path) -> dict[str, Any]:
    """The box of the other tests as two meshes in metres."""
    extents = {"inside": ((0, 0, 0), (0.6, 0.3, 0.36)), "outside": ((-0.006, -0.006, -0.006), (0.606, 0.306, 0.36))}
    for name, bounds in extents.items():
        trimesh.creation.box(bounds=bounds).export(folder / f"box-{name}.obj")
    return {name: {"mesh": f"box-{name}.obj", "unit": "m"} for name in extents}


def bowl(folder: Path, **parts: Any) -> dict[str, Any]:
    scene = described(tank=write_bowl(folder), **parts)
    scene["fixture"][0] |= {"size": ["10 cm", "6 cm", "1 cm"], "above_rim": "12 cm"}
    return scene


def test_a_box_said_by_its_meshes_is_the_box(tmp_path):
    """The same light on the substrate and at a height, whichever way the tank is said."""
    zone = {"name": "half way up", "rectangle": [["5 cm", "5 cm"], ["55 cm", "25 cm"]], "height": "10 cm"}
    plain = traced(described(tank=BOX, zone=[zone]), 1 << 18).zones()
    lowered = lower(scene_from_dict(described(tank=write_box(tmp_path), zone=[zone]), folder=tmp_path))
    meshed = trace_compiled(lowered.compiled, rule=StoppingRule(photons=1 << 18, only_budget=True), seed=4)[0].zones()
    for name in ("whole substrate", "half way up"):
        same(meshed[name], plain[name], resolves=0.02, what=f"box from meshes: {name}")


@pytest.mark.parametrize("below_rim", ["3 cm", "12.34 cm", "0 cm"])
def test_no_light_leaks_from_a_bowl(tmp_path, below_rim):
    """With a stone and stems across its curved glass; 10^5 photons."""
    scene = bowl(tmp_path, water={"below_rim": below_rim}, substrate={"front_depth": "2 cm", "back_depth": "4 cm"})
    scene["stone"] = [{"name": "rock", "shape": "rounded", "size": ["8 cm", "8 cm", "7 cm"], "at": ["6 cm", "14 cm"]}]
    scene["plants"] = [{"name": "stems", "kind": "stems", "rectangle": [["15 cm", "8 cm"], ["30 cm", "22 cm"]],
                        "height": "8 cm", "density": "thin"}]  # fmt: skip
    lowered = lower(scene_from_dict(scene, folder=tmp_path))
    for mesh in lowered.compiled.meshes:
        if mesh.name in ("rock", "stems"):
            inside = bowl_radius(np.clip(mesh.vertices[:, 2], 0, HEIGHT))
            assert (np.hypot(*(mesh.vertices[:, :2] - RADIUS).T) < inside).all(), mesh.name
    result = trace_compiled(lowered.compiled, rule=StoppingRule(photons=1 << 17, only_budget=True), seed=3)[0]
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) == 0
    assert result.ledger()["inside_solid"] <= 1e-6


def test_photons_aimed_at_the_edges_of_a_bowl(tmp_path):
    """Paths in the water that pass a thousandth of a micrometre beside the edges of all facets: none lost."""
    _, world, water = shell_of(bowl(tmp_path), tmp_path)
    triangles = np.concatenate([mesh.vertices[mesh.faces] for mesh in world.contents.meshes])
    rng = np.random.default_rng(6)
    n = 1 << 14
    chosen, share = triangles[rng.integers(0, len(triangles), n)], rng.uniform(size=(n, 1))
    target = chosen[:, 0] * share + chosen[:, 1] * (1 - share) + 1e-9 * rng.normal(size=(n, 3))
    start = np.array([RADIUS, RADIUS, 0.15]) + rng.uniform(-0.03, 0.03, (n, 3))
    world.add_source("beams", start, ppf=1.0, axis=target - start, beam_exponent=1e30, medium=water)
    assert trace(world, photons_log2=16).counter(Counter.LOST_PHOTONS) == 0


def test_water_and_substrate_end_at_the_curved_glass(tmp_path):
    """Areas of the sections: of a regular polygon of 64 corners in the circle of the bowl's radius there."""
    scene = scene_from_dict(bowl(tmp_path, substrate={"depth": "5 cm"}), folder=tmp_path)
    share = 64 * math.sin(2 * math.pi / 64) / (2 * math.pi)
    vertices, faces = bed_triangles(scene)
    bed = shapely.area(shapely.polygons(vertices[faces][:, [0, 1, 2, 0], :2])).sum()
    level = scene.water_level_m
    for area, z in ((bed, 0.05), (section(scene.tank.meshes, level).area, level)):
        # between two rows of corners the glass is straight, a little inside the ellipse
        assert area == pytest.approx(math.pi * float(bowl_radius(np.array(z))) ** 2 * share, rel=5e-3)
    compiled = lower(scene).compiled
    assert compiled.bed_map.open_area.sum() == pytest.approx(bed, rel=1e-4)
    assert next(z.area for z in compiled.zones if z.name == "whole substrate") == pytest.approx(bed, rel=1e-3)


def test_a_sloping_substrate_is_counted_whole(tmp_path):
    """Its triangles at the glass are slivers; the map's area is still theirs, slope and all."""
    scene = scene_from_dict(bowl(tmp_path, substrate={"front_depth": "3 cm", "back_depth": "5 cm"}), folder=tmp_path)
    vertices, faces = bed_triangles(scene)
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
    assert lower(scene).compiled.bed_map.open_area.sum() == pytest.approx(area, rel=1e-3)


REFUSED = [
    ({"glass_thickness": "4 mm"}, "tank.glass_thickness: a tank from meshes does not have this"),
    ({"rim": {}}, "tank.rim: a tank from meshes does not have this"),
    ({"back": {"behind": "sheet", "colour": "black"}}, "tank.back: a sheet can only stand behind a flat pane"),
    ({"inside_size": ["1 m", "1 m", "1 m"]}, "given twice (inside_size, inside)"),
    ({"outside": {"mesh": "none.stl", "unit": "mm"}}, "tank.outside.mesh: no such mesh file"),
    ({"outside": {"mesh": "inside.stl", "unit": "mm"}}, "the outside must surround the inside"),
    ({"outside": {"mesh": "outside.stl", "unit": "m"}}, "the tank has no opening"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "message"), REFUSED, ids=[str(m) for _, m in REFUSED])
def test_meshes_that_make_no_tank_are_refused(tmp_path, change, message):
    scene = bowl(tmp_path)
    scene["tank"] |= change
    with pytest.raises((SceneError, LoweringError)) as refused:
        lower(scene_from_dict(scene, folder=tmp_path))
    assert message in str(refused.value)


def test_a_closed_bowl_and_an_open_mesh_are_refused(tmp_path):
    """No opening; a surface with a hole; a bare bottom."""
    scene = bowl(tmp_path)
    write_bowl(tmp_path, HEIGHT - 0.02)
    with pytest.raises(SceneError, match="has no opening"):
        scene_from_dict(scene, folder=tmp_path)
    write_bowl(tmp_path)
    with pytest.raises(SceneError, match="needs a substrate"):
        scene_from_dict(scene | {"substrate": {"depth": "0 cm"}}, folder=tmp_path)
    mesh = trimesh.load(tmp_path / "inside.stl")
    mesh.update_faces(np.arange(len(mesh.faces)) > 3)
    mesh.export(tmp_path / "inside.stl")
    with pytest.raises(SceneError, match="not closed"):
        scene_from_dict(scene, folder=tmp_path)
