"""Placing and clipping, against closed forms."""

import numpy as np
import pytest
from solid_shapes import box

from underlit.lowering.shapes import Shape, ShapeError, clip_to_tank, place, stone, wood
from underlit.lowering.shapes.shape import SMALLEST_AREA_M2, face_areas, is_closed

TANK = (0.6, 0.3, 0.36)


def sheet(low, high, cells=7):
    """A flat level sheet of 2 cells^2 triangles at z = 0.1."""
    x, y = np.meshgrid(np.linspace(low[0], high[0], cells + 1), np.linspace(low[1], high[1], cells + 1), indexing="ij")
    vertices = np.stack([x.ravel(), y.ravel(), np.full(x.size, 0.1)], axis=1)
    index = np.arange(x.size).reshape(x.shape)
    a, b, c, d = index[:-1, :-1].ravel(), index[1:, :-1].ravel(), index[1:, 1:].ravel(), index[:-1, 1:].ravel()
    return Shape(vertices, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]), False)


def assert_sound(shape, margin=1e-4, tank=TANK):
    assert np.isfinite(shape.vertices).all()
    assert face_areas(shape.vertices, shape.faces).min() > SMALLEST_AREA_M2
    assert (shape.bounds[0] >= margin - 1e-12).all()
    assert (shape.bounds[1] <= np.array(tank) - margin + 1e-12).all()


def test_the_test_box_is_a_proper_solid():
    cube = box((0, 0, 0), (1, 2, 3))
    assert is_closed(cube.faces)
    assert cube.volume_m3 == pytest.approx(6)
    assert cube.area_m2 == pytest.approx(22)


def test_box_through_a_wall_keeps_the_share_of_area_that_arithmetic_says():
    margin, width = 1e-4, 0.1
    solid = box((-0.05, 0.1, 0.1), (0.05, 0.2, 0.2))
    clipped, share = clip_to_tank(solid, *TANK, margin=margin)
    kept = 0.05 - margin
    assert share == pytest.approx(1 - (width**2 + 4 * width * kept) / (6 * width**2), rel=1e-9)
    assert clipped.closed
    assert is_closed(clipped.faces)
    assert clipped.volume_m3 == pytest.approx(width**2 * kept, rel=1e-9)
    assert_sound(clipped)


def test_box_through_a_corner():
    solid = box((-0.05, -0.05, -0.05), (0.05, 0.05, 0.05))
    clipped, share = clip_to_tank(solid, *TANK, margin=0.0)
    assert share == pytest.approx(1 - 3 * 0.05**2 / (6 * 0.1**2), rel=1e-9)
    assert clipped.volume_m3 == pytest.approx(0.05**3, rel=1e-9)
    assert is_closed(clipped.faces)


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 90.0])
def test_sheet_half_outside(turn):
    """A square turned about its middle on the glass always loses half."""
    flat = place(sheet((-0.1, -0.1), (0.1, 0.1)), (0.6 - 1e-4, 0.15, 0.05), turn_deg=turn)
    clipped, share = clip_to_tank(flat, *TANK)
    assert share == pytest.approx(0.5, abs=1e-9)
    assert not clipped.closed
    assert clipped.area_m2 == pytest.approx(0.02, rel=1e-9)
    assert_sound(clipped)


def test_shared_edges_of_a_cut_sheet_stay_shared():
    clipped, _ = clip_to_tank(sheet((-0.1, 0.05), (0.1, 0.25)), *TANK)
    assert len(np.unique(clipped.vertices, axis=0)) == len(clipped.vertices)


def test_inside_stays_untouched_and_outside_is_refused():
    inside = box((0.1, 0.1, 0.1), (0.2, 0.2, 0.2))
    same, share = clip_to_tank(inside, *TANK)
    assert same is inside
    assert share == 0.0
    for low in ((1.0, 0.1, 0.1), (0.1, -0.5, 0.1), (0.1, 0.1, 0.5)):
        with pytest.raises(ShapeError, match="outside the tank") as caught:
            clip_to_tank(box(low, np.array(low) + 0.1), *TANK)
        assert "\n" not in str(caught.value)


def test_infinite_height_leaves_the_top_alone():
    tall = box((0.1, 0.1, -0.1), (0.2, 0.2, 0.9))
    clipped, _ = clip_to_tank(tall, 0.6, 0.3, np.inf)
    assert clipped.bounds[1, 2] == pytest.approx(0.9)


@pytest.mark.parametrize("seed", range(6))
def test_wood_and_stones_through_the_glass_stay_solids(seed):
    for shape in (wood.driftwood(seed, 0.7, 0.4), stone.jagged(seed, 0.25), stone.rounded(seed, 0.25)):
        moved = place(shape, (0.05, 0.22, 0.0), turn_deg=33 * seed, tilt_deg=(3.0 * seed, 0))
        clipped, share = clip_to_tank(moved, *TANK)
        assert clipped.closed
        assert is_closed(clipped.faces)
        assert 0 < share < 1
        assert 0 < clipped.volume_m3 < moved.volume_m3
        assert_sound(clipped)


def test_a_solid_with_a_hole_is_cut_all_the_same_and_says_so():
    solid = box((-0.05, 0.1, 0.1), (0.05, 0.2, 0.2))
    broken = Shape(solid.vertices, solid.faces[1:], True)
    clipped, _ = clip_to_tank(broken, *TANK)
    assert_sound(clipped)
    assert not clipped.closed
    assert not is_closed(clipped.faces)
    assert "cut open" in clipped.note


def test_place_scales_tilts_turns_and_moves_in_that_order():
    point = Shape(np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]), np.array([[0, 1, 2]]), False)
    moved = place(point, (10, 20, 30), turn_deg=90, tilt_deg=(90, 0), scale=2)
    # x -> turned onto y; y -> tilted up; z -> tilted to -y, then turned onto x.
    assert moved.vertices.tolist() == [[10, 22, 30], [10, 20, 32], [12, 20, 30]]


def test_place_keeps_volume_and_winding():
    solid = stone.jagged(2, 0.1)
    moved = place(solid, (0.2, 0.1, 0.0), turn_deg=33, tilt_deg=(12, -7), scale=1.5)
    assert moved.volume_m3 == pytest.approx(1.5**3 * solid.volume_m3, rel=1e-9)


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan")])
def test_place_refuses_scales_that_turn_inside_out(scale):
    with pytest.raises(ShapeError, match="scale"):
        place(box((0, 0, 0), (1, 1, 1)), (0, 0, 0), scale=scale)


def test_scaling_down_leaves_no_degenerate_triangle_and_stays_closed():
    for seed in range(5):
        small = place(wood.driftwood(seed, 0.5, 0.3), (0, 0, 0), scale=0.02)
        assert small.closed
        assert is_closed(small.faces)
        assert face_areas(small.vertices, small.faces).min() > SMALLEST_AREA_M2
