"""Whatever the tank: every photon is accounted for, PPFD is finite and not negative, light adds, and where the world stands does
not matter.

Hypothesis builds random valid scenes through the scene reader: tank, panes, backings, lid, water, lights, wood, stone, plants.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underlit.lowering.scene import Lowered, lower
from underlit.results.result import Result
from underlit.run import StoppingRule, trace_compiled
from underlit.scene import scene_from_dict
from underlit.transport.tables import Counter

PHOTONS = 16 * 4096
BEDS = [{"depth": "0 cm"}, {"depth": "5 cm"}, {"front_depth": "2 cm", "back_depth": "8 cm"}]
FEW = settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), database=None)


def cm(value: float) -> str:
    return f"{value:.2f} cm"


@st.composite
def scenes(draw: st.DrawFn) -> dict:
    """A random valid scene as a scene file would say it."""
    length, depth, height = (draw(st.floats(*span)) for span in ((25, 90), (20, 50), (25, 50)))
    share = st.floats(0.15, 0.85)
    panes = {}
    for side in ("front", "back", "left", "right"):
        behind = draw(st.sampled_from(["open air", "sheet", "paint", "film"]))
        panes[side] = {"behind": behind}
        if behind != "open air":
            panes[side]["colour"] = draw(st.sampled_from(["black", "white", "mirror"]))
        if draw(st.booleans()):
            panes[side]["returned_per_reflection"] = draw(st.floats(0.0, 1.0))
    scene = {
        "tank": {
            "inside_size": [cm(length), cm(depth), cm(height)],
            "glass": draw(st.sampled_from(["clear", "low-iron", "acrylic"])),
            "glass_thickness": draw(st.sampled_from(["5 mm", "8 mm", "12 mm"])),
            **panes,
        },
        "water": {
            "below_rim": cm(draw(st.floats(1, 6))),
            "tannin": draw(st.sampled_from(["none", "ordinary", "tea"])),
            "cloudiness": draw(st.sampled_from(["clear", "hazy", "cloudy"])),
        },
        "substrate": draw(st.sampled_from(BEDS)),
        "fixture": [],
    }  # fmt: skip
    if draw(st.booleans()):
        scene["lid"] = {"thickness": "4 mm"}
    if draw(st.booleans()):
        scene["tank"]["rim"] = {"covers": "1.5 cm"}
    for k in range(draw(st.integers(1, 2))):
        scene["fixture"].append(
            {
                "name": f"light {k + 1}",
                "size": [cm(0.6 * length), "4 cm", "2 cm"],
                "leds": {"rows": 1, "columns": draw(st.integers(1, 9))},
                "lens": draw(st.sampled_from(["lambertian", {"beam_angle": "60 deg"}, {"cone": "100 deg"}])),
                "output": {"ppf": "50 umol/s"},
                "above_rim": cm(draw(st.floats(3, 25))),
                "position": [cm(0.5 * length), cm((0.3, 0.7)[k] * depth)],
                "tilt": f"{draw(st.floats(-25, 25)):.1f} deg",
            }
        )
    if draw(st.booleans()):
        size = [cm(0.5 * length), cm(0.5 * depth), cm(draw(st.floats(8, 25)))]
        scene["wood"] = [{"name": "root", "shape": "branching", "size": size, "seed": draw(st.integers(0, 99)),
                          "at": [cm(draw(share) * length), cm(draw(share) * depth)], "sunk": "1 cm"}]  # fmt: skip
    if draw(st.booleans()):
        shape = draw(st.sampled_from(["rounded", "jagged"]))
        scene["stone"] = [{"name": "rock", "shape": shape, "size": ["9 cm", "8 cm", "7 cm"],
                           "seed": draw(st.integers(0, 99)),
                           "at": [cm(draw(share) * length), cm(draw(share) * depth)]}]  # fmt: skip
    if draw(st.booleans()):
        kind = draw(st.sampled_from(["carpet", "stems", "rosettes", "floating"]))
        group = {"name": "group", "kind": kind, "density": "thin"}
        group["rectangle"] = [["2 cm", "2 cm"], ["14 cm", "12 cm"]]
        if kind != "floating":
            group["height"] = "3 cm" if kind == "carpet" else "10 cm"
        scene["plants"] = [group]
    return scene


def traced(lowered: Lowered, dimming: dict[str, float] | None = None) -> Result:
    result, *_ = trace_compiled(
        lowered.compiled,
        rule=StoppingRule(photons=PHOTONS, only_budget=True),
        seed=5,
        dimming=dimming or lowered.dimming,
    )
    return result


@FEW
@given(scenes())
def test_every_photon_is_accounted_for(scene):
    """The ledger closes to the quantum, hardly a photon is lost, PPFD is finite and not negative, dimming is arithmetic."""
    lowered = lower(scene_from_dict(scene))
    result = traced(lowered)
    assert result.ledger_gap() == 0
    assert result.counter(Counter.LOST_PHOTONS) <= max(1, 1e-6 * result.photons)
    assert sum(result.ledger().values()) == pytest.approx(1.0, abs=1e-12)
    fields = [result.bed().value, result.planes().value, *(result.faces(m.name).value for m in result.compiled.meshes)]
    for values in fields:
        seen = values[~np.isnan(values)]
        assert np.isfinite(seen).all()
        assert (seen >= 0).all()
    half = result.dimmed({s.name: 0.5 * result.dimming.get(s.name, 1.0) for s in result.compiled.sources})
    for name, zone in result.zones().items():
        assert half.zones()[name].value == pytest.approx(0.5 * zone.value, rel=1e-12)
    bed = result.bed().value
    assert np.allclose(half.bed().value, 0.5 * bed, rtol=1e-12, equal_nan=True)


@settings(FEW, max_examples=4)
@given(scenes(), st.integers(0, 999))
def test_order_of_faces_changes_nothing_beyond_statistics(scene, shuffle):
    """The same triangles in another order: the ledger agrees line by line within its own scatter."""
    lowered = lower(scene_from_dict(scene))
    first = traced(lowered)
    order = np.random.default_rng(shuffle)
    plain = []
    for mesh in lowered.compiled.plain_meshes:
        faces = np.roll(mesh.faces[order.permutation(len(mesh.faces))], int(order.integers(3)), axis=1)
        plain.append((mesh, np.ascontiguousarray(faces)))
    again = retraced(lowered, plain)
    ends = first.ledger()
    for name, share in again.ledger().items():
        scatter = np.sqrt(max(share, ends[name]) / first.photons) + 1e-9
        assert abs(share - ends[name]) < 8 * scatter + 8 / first.photons


@settings(FEW, max_examples=4)
@given(scenes(), st.floats(0, 6.28), st.floats(-3, 3))
def test_where_the_world_stands_does_not_matter(scene, angle, shift):
    """The whole world turned by any angle about the vertical and moved: the ledger agrees within its own scatter."""
    lowered = lower(scene_from_dict(scene))
    first = traced(lowered)
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    move = np.array([shift, -0.7 * shift, 0.3 * shift])
    plain = [(m, m.faces) for m in lowered.compiled.plain_meshes]
    again = retraced(lowered, plain, turn, move)
    assert again.ledger_gap() == 0
    ends = first.ledger()
    for name, share in again.ledger().items():
        scatter = np.sqrt(max(share, ends[name]) / first.photons) + 1e-9
        assert abs(share - ends[name]) < 8 * scatter + 8 / first.photons


def retraced(lowered: Lowered, plain: list, turn: np.ndarray | None = None, move: np.ndarray | None = None) -> Result:
    """Trace the same surfaces again with other faces, or turned and moved, without counters in the water."""
    from underlit.geometry.tree_build import build_tree
    from underlit.lowering.compile.tables import plane_groups

    turn = np.eye(3) if turn is None else turn
    move = np.zeros(3) if move is None else move
    tables = lowered.compiled.tables
    part_of = np.empty(len(tables.triangles), np.int32)
    part_of[tables.triangles["slot"]] = tables.triangles["part"]
    corners = np.concatenate([(m.vertices @ turn.T + move)[f].reshape(-1, 9) for m, f in plain])
    normals = np.cross(corners[:, 3:6] - corners[:, :3], corners[:, 6:] - corners[:, :3])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    group = plane_groups(normals, corners[:, :3])
    leds = tables.leds.copy()
    leds["position"] = leds["position"] @ turn.T + move
    for axis in "uvw":
        leds[axis] = leds[axis] @ turn.T
    # which plane an LED lies in is found anew: that of the body's face nearest to it and facing it
    offset = (normals * corners[:, :3]).sum(axis=1)
    for led in leds:
        flat = (np.abs(normals @ led["w"]) > 1 - 1e-9) & (np.abs(normals @ led["position"] - offset) < 1e-9)
        led["group"] = group[np.argmax(flat)] if flat.any() else -1
    box, child, order = build_tree(corners, float(np.abs(corners).max()) + 5.0)
    surface = np.concatenate([np.full(len(f), m.surface) for m, f in plain])
    triangles = np.zeros(len(corners), tables.triangles.dtype)
    slots = np.arange(len(corners))
    triangles["surface"], triangles["slot"], triangles["group"] = surface, slots, group
    triangles["part"] = part_of
    kinds = tables.surfaces["kind"][surface] == 2
    for side in ("front", "back"):
        triangles[f"{side}_medium"] = np.where(kinds, tables.surfaces[side][surface], -1)
    moved = tables._replace(
        node_box=box, node_child=child, corners=np.ascontiguousarray(corners[order]),
        normals=np.ascontiguousarray(normals[order]), triangles=np.ascontiguousarray(triangles[order]), leds=leds,
        maps=tables.maps[:0].copy(), planes=tables.planes[:0].copy(),
    )  # fmt: skip
    from dataclasses import replace

    return traced(replace(lowered, compiled=replace(lowered.compiled, tables=moved)))
