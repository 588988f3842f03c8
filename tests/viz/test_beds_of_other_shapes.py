"""The bed of a tank that is no box: its map ends at the panes, and every face carries the value of its cell."""

from __future__ import annotations

import numpy as np
import pytest

from underlit.lowering.scene import lower
from underlit.run import trace
from underlit.scene import scene_from_dict
from underlit.viz.tank3d.surfaces import PPFD, bed_cells, to_multiblock


@pytest.mark.parametrize("tank", ["rimless 30 cube", "cylinder 40", "20 hexagon"])
def test_each_face_of_the_bed_has_the_value_of_its_cell(tank: str) -> None:
    scene = scene_from_dict({"tank": {"from": tank}, "fixture": [{"from": "puck 15 W"}]})
    result = trace(lower(scene), photons=1).result
    made = bed_cells(result.compiled)
    assert made is not None
    mesh, cell = made
    value = result.bed().value.reshape(-1)
    data = to_multiblock(result)["substrate map"].cell_data[PPFD]
    assert np.array_equal(data, value[cell], equal_nan=True)
    corners = mesh.vertices[mesh.faces][:, :, :2]
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    area = np.abs(ax * by - ay * bx).sum() / 2
    assert area == pytest.approx(scene.tank.inside_outline.area, rel=1e-3)
