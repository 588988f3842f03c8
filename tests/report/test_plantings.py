"""What a planting gets and takes, against what follows from its leaves: black ones, and bands out of reach."""

from __future__ import annotations

import copy
from functools import lru_cache

import numpy as np
import pytest

import underlit
from underlit.lowering.records import Part, Role
from underlit.planning.plantings import PlantingReport, planting_reports
from underlit.report.printout import planting_table
from underlit.report.summary import planting_entry

ALL = (("0 cm", "0 cm"), ("30 cm", "20 cm"))
BLACK = {"reflectance": 0.0, "transmittance": 0.0, "seed": 3}
TANK = {
    "tank": {"inside_size": ["30 cm", "20 cm", "20 cm"], "glass_thickness": "4 mm"},
    "water": {"above_bottom": "17 cm", "tannin": "none"},
    "substrate": {"depth": "3 cm", "reflectance": 0.0},
    "fixture": [
        {
            "name": "panel", "size": ["28 cm", "18 cm", "1 cm"], "leds": {"rows": 6, "columns": 8},
            "output": {"ppf": "6 umol/s"}, "above_rim": "5 cm",
        }
    ],
}  # fmt: skip


@lru_cache
def traced(*plants: tuple[tuple[str, object], ...]) -> tuple[PlantingReport, ...]:
    """Reports of plants in the tank."""
    scene = underlit.scene_from_dict({**copy.deepcopy(TANK), "plants": [dict(p) for p in plants]})
    found = underlit.trace(scene, photons=1 << 19, seed=1)
    return tuple(planting_reports(found.lowered, found.result))


def plants(**keys: object) -> tuple[tuple[str, object], ...]:
    """A planting over the whole floor, black."""
    return tuple({"name": "group", "rectangle": ALL, **BLACK, **keys}.items())


@pytest.mark.parametrize(("form", "cover"), [("pads", 0.5), ("duckweed", 0.3)])
def test_black_floating_cover_takes_its_cover(form, cover):
    """Level black leaves take the share of the light that they hide, whatever its direction.

    Less reaches the plane under them than they leave, for the surface reflects some and panes take some; so what gets there is
    compared with next to no cover.
    """
    (report,) = traced(plants(kind="floating", form=form, cover=cover))
    (bare,) = traced(plants(kind="floating", form=form, cover=0.02))
    assert report.grown.cover == pytest.approx(cover, rel=0.03)
    assert report.takes is not None
    assert report.lets_through is not None
    assert bare.lets_through is not None
    assert report.takes.value == pytest.approx(cover, abs=0.03)
    assert report.lets_through.value / bare.lets_through.value == pytest.approx((1 - cover) / 0.98, abs=0.06)


def test_a_black_carpet_on_a_black_bed_takes_what_it_does_not_let_through():
    """Light that comes down through the whole footprint ends on leaves or bed, but for what water and panes take (little)."""
    (report,) = traced(plants(kind="carpet", height="2 cm", leaf_area=1.5))
    assert report.takes is not None
    assert report.lets_through is not None
    assert report.takes.value + report.lets_through.value == pytest.approx(1.0, abs=0.06)
    assert 0.15 < report.lets_through.value < 0.4
    assert all(layer is not None for layer in report.layers)
    low, middle, top = (layer.value for layer in report.layers if layer is not None)
    assert low < middle < top


def test_share_above_need_follows_its_band():
    """Nearly all leaf area gets a hundredth of the mean, none gets a hundred times it; half gets about the median."""
    shares = []
    for band in ([0.01, 500.0], [5.0, 500.0], [400.0, 500.0]):
        (report,) = traced(plants(kind="carpet", height="2 cm", leaf_area=1.5, band=tuple(band)))
        assert report.above_need is not None
        shares.append(report.above_need.value)
    assert shares[0] > 0.99
    assert 0.0 < shares[1] < 1.0
    assert shares[2] == 0.0
    (silent,) = traced(plants(kind="carpet", height="2 cm", leaf_area=1.5))
    assert silent.above_need is None


def test_a_planting_has_one_verdict_and_it_is_that_of_the_light_over_its_tops():
    """As a zone of its outline at the height of its tops; the statement holds that verdict alone."""
    zone = {"name": "tops", "rectangle": ALL, "height": "3 cm", "band": [10, 60]}
    carpet = dict(plants(kind="carpet", height="2 cm", leaf_area=1.5, band=(10.0, 60.0)))
    scene = underlit.scene_from_dict({**copy.deepcopy(TANK), "plants": [carpet], "zone": [zone]})
    found = underlit.trace(scene, photons=1 << 18, seed=1)
    (report,) = planting_reports(found.lowered, found.result)
    judged = underlit.zone_reports(found.lowered, found.result)[1]
    assert report.over_tops is not None
    assert report.over_tops.value == pytest.approx(judged.ppfd.value, rel=0.05)
    assert report.verdict is judged.verdict
    assert report.upper is not None
    assert report.upper.value < report.over_tops.value
    words = str(planting_entry(report)["words"])
    low, high = report.over_tops.value * report.tank.low, report.over_tops.value * report.tank.high
    real = f"({low:.1f}-{high:.1f} in the real tank)"
    assert words.startswith(
        f"{judged.verdict}: {report.over_tops.value:.1f} {real} comes down over its tops (band 10-60); "
    )
    assert "lean and shade each other" in words
    (silent,) = traced(plants(kind="carpet", height="2 cm", leaf_area=1.5))
    assert "band" not in str(planting_entry(silent)["words"])


def test_the_table_shows_what_the_summary_holds():
    (report,) = traced(plants(kind="carpet", height="2 cm", leaf_area=1.5, band=(5.0, 500.0)))
    entry = planting_entry(report)
    table = planting_table([entry])
    cells = [next(iter(column.cells)) for column in table.columns]
    assert cells[0] == "group"
    assert cells[1] == f"{entry['leaf_area_index']:.2f}" == "1.50"
    assert cells[-1] == f"{100 * entry['reaches_below_over_light_from_above']['value']:.0f} %"
    assert cells[-2] == f"{100 * entry['absorbed_over_light_from_above']['value']:.0f} %"


def test_copies_tell_what_leaves_of_their_own_tell():
    """A carpet of very many leaves, laid of instances: the same light on each third and the same taken as written out."""
    scene = underlit.scene_from_dict(
        {
            **copy.deepcopy(TANK),
            "plants": [
                {"name": "group", "kind": "carpet", "form": "round", "height": "3 cm", "leaf_area": 5.0, "seed": 3,
                 "rectangle": ALL}
            ],
        }
    )  # fmt: skip
    from underlit.lowering.scene import lower
    from underlit.lowering.world import World

    lowered = lower(scene)
    (grown,) = lowered.plantings
    assert len(grown.instances) > 1
    assert sum(len(c) for c in grown.instances) > 100
    found = underlit.trace(lowered, photons=1 << 19, seed=1)
    (report,) = planting_reports(lowered, found.result)
    meshes = found.result.compiled.faces_of(Part("group", Role.PLANTS))
    assert len(meshes) == 2
    area = sum(float(np.linalg.norm(np.cross(*_edges(m)), axis=1).sum()) / 2 for m in meshes)
    assert area == pytest.approx(grown.shape.area_m2, rel=1e-6)
    assert report.grown.leaf_area_index == pytest.approx(5.0, rel=0.03)

    with pytest.MonkeyPatch.context() as patch:
        written: dict[int, tuple[np.ndarray, np.ndarray, int]] = {}

        def keep(self, vertices, faces, surface):
            written[len(written)] = (np.asarray(vertices), np.asarray(faces), surface)
            return len(written) - 1

        def write_out(self, part, template, origins, rotations, scales, **_):
            vertices, faces, surface = written[template]
            placed = np.einsum("nij,kj->nki", rotations, vertices) * scales[:, None, None] + origins[:, None]
            every = faces[None] + (np.arange(len(scales)) * len(vertices))[:, None, None]
            self.add_mesh(part, placed.reshape(-1, 3), every.reshape(-1, 3), surface)

        patch.setattr(World, "add_template", keep)
        patch.setattr(World, "add_instances", write_out)
        plain = lower(scene)
    assert len(plain.compiled.tables.instances) == 0
    again = underlit.trace(plain, photons=1 << 19, seed=2)
    (other,) = planting_reports(plain, again.result)
    assert report.upper is not None
    assert other.upper is not None
    difference = abs(report.upper.value - other.upper.value)
    assert difference < 4 * np.hypot(report.upper.standard_error, other.upper.standard_error) + 0.01 * other.upper.value
    for one, two in ((report.takes, other.takes), (report.lets_through, other.lets_through)):
        assert one is not None
        assert two is not None
        assert abs(one.value - two.value) < 4 * np.hypot(one.standard_error, two.standard_error)


def _edges(mesh):
    corners = mesh.vertices[mesh.faces]
    return corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
