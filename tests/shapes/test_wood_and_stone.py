"""Wood and stone made from a seed: proper solids, as large as asked, the same for the same seed."""

import numpy as np
import pytest

from underlit.lowering.shapes import ShapeError, stone, wood
from underlit.lowering.shapes.shape import SMALLEST_AREA_M2, face_areas

MAKERS = {
    "driftwood": lambda seed: wood.driftwood(seed, 0.45, 0.28, 7),
    "bare driftwood": lambda seed: wood.driftwood(seed, 0.2, 0.3, 0),
    "rounded stone": lambda seed: stone.rounded(seed, 0.12),
    "jagged stone": lambda seed: stone.jagged(seed, 0.12),
}


@pytest.mark.parametrize("name", MAKERS)
@pytest.mark.parametrize("seed", range(12))
def test_solids_are_watertight_and_wind_outward(name, seed):
    import trimesh

    shape = MAKERS[name](seed)
    # trimesh judges, not our own edge count.
    mesh = trimesh.Trimesh(shape.vertices, shape.faces, process=False)
    assert shape.closed
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
    assert mesh.volume == pytest.approx(shape.volume_m3, rel=1e-9)
    assert np.isfinite(shape.vertices).all()
    assert face_areas(shape.vertices, shape.faces).min() > SMALLEST_AREA_M2
    assert 300 < len(shape.faces) < 12_000


@pytest.mark.parametrize("name", MAKERS)
def test_rays_from_far_away_meet_outer_sides_first(name):
    """The outermost surface faces the viewer: no part is inside out, which a positive total volume could hide."""
    import trimesh

    shape = MAKERS[name](3)
    mesh = trimesh.Trimesh(shape.vertices, shape.faces, process=False)
    rng = np.random.default_rng(1)
    origins = rng.uniform(shape.bounds[0], shape.bounds[1], (300, 3))
    origins[:, 2] = shape.bounds[1, 2] + 1
    down = np.tile([0.0, 0.0, -1.0], (len(origins), 1))
    hit, ray = mesh.ray.intersects_id(origins, down, multiple_hits=False)
    assert len(ray) > 20
    assert (mesh.face_normals[hit][:, 2] > 0).all()


@pytest.mark.parametrize("name", MAKERS)
def test_same_seed_gives_same_bytes_and_other_seeds_differ(name):
    np.random.seed(5)  # noqa: NPY002 - global state must not matter
    first = MAKERS[name](11)
    np.random.seed(6)  # noqa: NPY002
    again, other = MAKERS[name](11), MAKERS[name](12)
    assert first.vertices.tobytes() == again.vertices.tobytes()
    assert first.faces.tobytes() == again.faces.tobytes()
    assert first.vertices.tobytes() != other.vertices.tobytes()


@pytest.mark.parametrize(("length", "height"), [(0.45, 0.28), (0.2, 0.3), (0.9, 0.2), (0.05, 0.05)])
def test_driftwood_is_as_large_as_asked_and_stands_on_its_foot(length, height):
    shape = wood.driftwood(4, length, height, 6)
    low, high = shape.bounds
    assert high[0] - low[0] == pytest.approx(length, rel=1e-6)
    assert high[2] == pytest.approx(height, rel=1e-6)
    assert -0.12 * max(length, height) < low[2] < 0
    foot = shape.vertices[shape.vertices[:, 2] < 0.02 * height]
    assert np.abs(foot[:, :2].mean(axis=0)).max() < 0.12 * length


@pytest.mark.parametrize("make", [stone.rounded, stone.jagged])
def test_stones_are_as_large_as_asked_with_a_flat_base_below_zero(make):
    for seed in range(6):
        shape = make(seed, 0.12)
        low, high = shape.bounds
        assert high[0] - low[0] == pytest.approx(0.12, rel=1e-6)
        assert high[1] - low[1] <= 0.12 * (1 + 1e-9)
        assert -0.25 * high[2] < low[2] < -0.05 * high[2]
        base = np.abs(shape.vertices[shape.faces][:, :, 2] - low[2]).max(axis=1) < 1e-9
        assert face_areas(shape.vertices, shape.faces)[base].sum() > 0.1 * (high[0] - low[0]) * (high[1] - low[1])


@pytest.mark.parametrize(
    ("call", "word", "right"),
    [
        (lambda: wood.driftwood(1, 0.0, 0.2), "length", "; give"),
        (lambda: wood.driftwood(1, 0.3, float("nan")), "height", "; give"),
        (lambda: wood.driftwood(1, 0.3, 0.2, -1), "branches", "; give"),
        (lambda: wood.driftwood(1, 0.3, 0.2, thickness=1.0), "thickness", "does not suit"),
        (lambda: stone.rounded(1, -0.1), "size", "; give"),
        (lambda: stone.jagged(1, float("inf")), "size", "; give"),
    ],
)
def test_unbelievable_sizes_are_refused_in_one_line(call, word, right):
    with pytest.raises(ShapeError, match=word) as caught:
        call()
    assert "\n" not in str(caught.value)
    assert right in str(caught.value)
