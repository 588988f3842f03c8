"""The plan map and the layout drawing: colours mean their values, labels keep off each other, files are whole."""

from __future__ import annotations

import os

import numpy as np
import pytest
from pictured_world import COVERED_CELLS, pictured_overlay, pictured_result

from underlit.viz.figures import Canvas
from underlit.viz.labels import LabelBoard
from underlit.viz.maps.plan_map import draw_plan_map, write_plan_map
from underlit.viz.overlay import footprint
from underlit.viz.palette import both_units, colour_map, nice_ceiling
from underlit.viz.sheets.layout import write_layout
from underlit.viz.tank3d.pooling import patch_means


@pytest.fixture(scope="module")
def drawn():
    figure = draw_plan_map(pictured_result(110.0), pictured_overlay())
    figure.canvas.draw()
    return figure, np.asarray(figure.canvas.buffer_rgba())[:, :, :3]


def pixel(figure, image, x, y):
    px, py = figure.axes[0].transData.transform((x, y))
    return image[image.shape[0] - 1 - int(py), int(px)]


def test_a_colour_on_the_map_is_that_of_its_value(drawn):
    figure, image = drawn
    # The range ends at the next round number over 110, which is 120.
    expected = (255 * np.array(colour_map()(110 / 120)[:3])).round()
    np.testing.assert_allclose(pixel(figure, image, 0.05, 0.27), expected, atol=1)


def test_a_covered_place_has_no_value(drawn):
    figure, image = drawn
    rows, columns = COVERED_CELLS
    x, y = 0.03 * (columns.start + 1.3), 0.03 * (rows.start + 0.7)
    np.testing.assert_allclose(pixel(figure, image, x, y), (0xD9, 0xD6, 0xD0), atol=1)


def test_the_map_says_what_it_must(drawn):
    figure, _ = drawn
    texts = [t.get_text() for t in figure.findobj(lambda a: hasattr(a, "get_text"))]
    together = "\n".join(texts)
    for words in ("A tank of our own", "front (viewer)", "carpet\n80 ± 1, right", "spot\n80 ± 2", "fixture (above)",
                  "PAR (PPFD), µmol/m²/s", "simulation error", "10 cm", "4 in"):  # fmt: skip
        assert words in together
    # The zone that has no room for its name has a number, and the key says the name.
    assert "1" in texts
    assert "a zone too small for its name: 80 ± 1" in together


def test_labels_do_not_overlap(drawn):
    figure, _ = drawn
    boxes = [t.get_window_extent() for t in figure.axes[0].texts if t.get_bbox_patch() is not None]
    boxes += [t.get_window_extent() for t in figure.texts]
    assert len(boxes) >= 6
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert not a.overlaps(b)


def test_twenty_crowded_spots_still_do_not_overlap():
    axes = Canvas(8, 4).axes(0, 0, 8, 4)
    board = LabelBoard(axes)
    for i in range(20):
        board.near(0.42 + 0.03 * (i % 5), 0.4 + 0.06 * (i // 5), f"spot number {i}\n80 ± 1")
    labels = [t.get_window_extent() for t in axes.texts if "spot" in t.get_text()]
    assert len(labels) + len(board.key) == 20
    for i, a in enumerate(labels):
        assert not any(a.overlaps(b) for b in labels[i + 1 :])


def test_files_are_written_whole(tmp_path):
    result, overlay = pictured_result(), pictured_overlay()
    write_plan_map(result, overlay, tmp_path / "substrate.png")
    write_layout(result.compiled.meshes, overlay, tmp_path / "layout.png")
    assert sorted(os.listdir(tmp_path)) == ["layout.png", "substrate.png"]
    for name in os.listdir(tmp_path):
        assert (tmp_path / name).read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_failed_drawing_leaves_no_file(tmp_path, monkeypatch):
    from matplotlib.figure import Figure

    def half(self, where, **_):
        where.write_bytes(b"half")
        raise OSError("no space left on device")

    monkeypatch.setattr(Figure, "savefig", half)
    with pytest.raises(OSError, match="no space"):
        write_plan_map(pictured_result(), pictured_overlay(), tmp_path / "substrate.png")
    assert os.listdir(tmp_path) == []


def test_means_keep_a_level_and_leave_covered_places_out():
    values = np.full((12, 20), 50.0)
    values[3:5, 4:8] = np.nan
    means = patch_means(values, 3.0, 3.0)
    assert np.array_equal(np.isnan(means), np.isnan(values))
    np.testing.assert_allclose(means[~np.isnan(means)], 50.0)


def test_means_average_noise_as_the_note_says():
    """Independent cells: the standard deviation falls by the root of 4 pi sigma_x sigma_y cells."""
    noise = np.random.default_rng(1).normal(100.0, 10.0, (400, 400))
    means = patch_means(noise, 6.0, 6.0)
    assert means.std() == pytest.approx(10.0 / np.sqrt(4 * np.pi * 36 / 12), rel=0.05)


def test_a_footprint_is_the_outline_from_above():
    log = next(m for m in pictured_result().compiled.meshes if m.name == "log")
    points = np.array(footprint(log).outlines[0])
    np.testing.assert_allclose(points.min(axis=0), (0.24, 0.12), atol=1e-4)
    np.testing.assert_allclose(points.max(axis=0), (0.36, 0.18), atol=1e-4)


def test_numbers_for_people():
    assert both_units(0.9) == "90 cm (35.4 in)"
    assert [nice_ceiling(v) for v in (0.0, 7.1, 80.0, 81.0, 240.0, 1000.0)] == [1.0, 8.0, 80.0, 90.0, 250.0, 1000.0]
