"""A stored result answers as the traced one did, and opens in xarray with units."""

from __future__ import annotations

import json
import os

import numpy as np
import pytest
from small_world import small_result

from underlit.lowering.records import Source
from underlit.results.store import load_result, read_fields, write_fields


@pytest.fixture(scope="module")
def traced():
    return small_result()


@pytest.fixture(scope="module")
def path(traced, tmp_path_factory):
    path = tmp_path_factory.mktemp("stored") / "result.nc"
    said = {"scene_text": 'title = "a tank"\n', "versions": {"underlit": "0"}, "scene": "tank.toml"}
    write_fields(traced, path, said)
    return path


def same(a, b, tolerance=1e-9):
    np.testing.assert_allclose(a.value, b.value, rtol=tolerance)
    # A standard error is a difference of nearly equal sums: it keeps fewer of their bits.
    np.testing.assert_allclose(a.standard_error, b.standard_error, rtol=1e-6)
    assert a.dof == b.dof


@pytest.mark.parametrize("dimming", [{}, {"fixture: red": 0.0}, {"fixture: white": 0.35, "fixture: red": 1.0}])
def test_fields_come_back_at_any_dimming(traced, path, dimming):
    a, b = traced.dimmed(dimming), load_result(path).dimmed(dimming)
    same(a.bed(), b.bed())
    same(a.planes(), b.planes())
    for mesh in a.compiled.meshes:
        same(a.faces(mesh.name), b.faces(mesh.name), 1e-13)
    assert a.zones() == b.zones()
    assert a.heads() == b.heads()
    assert a.ledger() == b.ledger()


def test_bed_and_planes_are_written_to_the_bit(traced, path):
    data = read_fields(path)
    np.testing.assert_array_equal(data["bed_ppfd"].values, traced.bed().value)
    np.testing.assert_array_equal(data["bed_ppfd_standard_error"].values, traced.bed().standard_error)
    np.testing.assert_array_equal(data["planes_ppfd"].values, traced.planes().value)
    assert np.isnan(data["bed_ppfd"].values[2, 3])


def test_whole_quanta_names_and_meshes_come_back_exactly(traced, path):
    stored = load_result(path)
    assert stored.ledger_quanta() == traced.ledger_quanta()
    assert stored.ledger_gap() == 0
    assert stored.photons == traced.photons
    assert (stored.seed, stored.seconds, stored.complete) == (11, 1.5, True)
    assert stored.dimming == {Source("fixture", "white"): 1.0, Source("fixture", "red"): 0.6}
    for key in ("sources", "zones", "heads", "ppf", "lines", "frames", "notes"):
        assert getattr(stored.compiled, key) == getattr(traced.compiled, key)
    for a, b in zip(traced.compiled.meshes, stored.compiled.meshes, strict=True):
        assert (a.part, a.name, a.first_slot, a.surface) == (b.part, b.name, b.first_slot, b.surface)
        np.testing.assert_array_equal(a.vertices, b.vertices)
        np.testing.assert_array_equal(a.faces, b.faces)
    assert stored.scene_text == 'title = "a tank"\n'
    assert stored.provenance["scene"] == "tank.toml"


def test_errors_over_a_patch_drawn_later_come_from_the_file(traced, path):
    """The groups keep what cells share: the error of a sum of cells is that of the traced result."""
    stored = load_result(path)
    for i in range(2):
        a = traced.group_means(traced.cells("map"), i)[:, :20].sum(axis=1)
        b = stored.group_means(stored.cells("map"), i)[:, :20].sum(axis=1)
        np.testing.assert_allclose(a, b, rtol=1e-9)


def test_the_file_explains_itself(path):
    """Fields follow from the group sums by the formula that the file states, without a line of ours."""
    import xarray

    with xarray.open_dataset(path) as data:
        sums = data["bed_group_sum"].sum("group") / data["group_batches"].sum("group")
        flux = sums / (data["source_photons_per_batch"] * 2.0**40) * data["source_ppf"] * data["source_dimming"]
        area = data["bed_open_area"].where(data["bed_open_area"] > 0)
        ppfd = flux.sum("source") / area
        np.testing.assert_allclose(ppfd.values, data["bed_ppfd"].values, rtol=1e-9)
        assert data["bed_ppfd"].attrs["units"] == "umol m-2 s-1"
        assert data["bed_x"].attrs["units"] == "m"
        assert all(v.attrs.get("long_name") for v in data.variables.values())
        np.testing.assert_allclose(data["bed_x"].values, 0.05 + 0.1 * np.arange(10))
        np.testing.assert_allclose(data["plane_z"].values, [0.1, 0.3])
        assert data["ledger_share"].sum().item() == pytest.approx(1.0)
        assert json.loads(data.attrs["versions"]) == {"underlit": "0"}
        assert data.attrs["seed"] == "11"


def test_a_stored_result_can_be_written_again(path, tmp_path):
    again = tmp_path / "again.nc"
    write_fields(load_result(path).dimmed({"fixture: red": 0.1}), again)
    one, two = load_result(path).dimmed({"fixture: red": 0.1}), load_result(again)
    same(one.bed(), two.bed())
    same(one.faces("leaf"), two.faces("leaf"))
    assert two.scene_text == one.scene_text


def test_a_result_without_zones_heads_or_grids_is_stored_too(tmp_path):
    from underlit.backends.cpu import Tracer
    from underlit.lowering.world import World, rectangle
    from underlit.results.result import Result

    world = World()
    world.add_mesh("floor", *rectangle((0, 0, 0), (1, 0, 0), (0, 1, 0)), world.opaque("floor", 0.0))
    world.add_source("lamp", [(0.5, 0.5, 1)], ppf=1.0)
    compiled = world.compile()
    tracer = Tracer(compiled.tables, batch_bits=12, threads=1)
    # No batch at all: what is left of a run that was stopped at once.
    for batches in (0, 3):
        tracer.run([batches])
        result = Result(compiled, tuple(tracer.counts), 1, 0.1)
        write_fields(result, tmp_path / "bare.nc")
        stored = load_result(tmp_path / "bare.nc")
        assert stored.zones() == {}
        assert stored.heads() == {}
        with pytest.raises(KeyError):
            stored.bed()
        np.testing.assert_allclose(stored.faces("floor").value, result.faces("floor").value)


def test_sources_without_a_channel_are_told_apart(tmp_path):
    """Two lamps of a world built in code have no channels; what was stored of them still goes together, lamp by lamp."""
    from underlit.backends.cpu import Tracer
    from underlit.lowering.world import World, rectangle
    from underlit.planning.differences import point_difference, shares_any, source_keys
    from underlit.results.result import Result

    world = World()
    world.add_mesh("floor", *rectangle((0, 0, 0), (1, 0, 0), (0, 1, 0)), world.opaque("floor", 0.0))
    for name in ("lamp", "lamp: white, upward"):
        world.add_source(name, [(0.5, 0.5, 1)], ppf=1.0)
    world.add_surface_zone("floor", "floor", area=1.0)
    compiled = world.compile()
    tracer = Tracer(compiled.tables, batch_bits=12, threads=1)
    tracer.run([8, 8])
    write_fields(Result(compiled, tuple(tracer.counts), 1, 0.1), tmp_path / "lamps.nc")
    stored = load_result(tmp_path / "lamps.nc")
    assert stored.compiled.sources == (Source("lamp"), Source("lamp: white, upward"))
    assert len(set(source_keys(stored, stored))) == 2
    assert shares_any(stored, stored)
    (nothing,) = point_difference(stored, stored.dimmed({"lamp": 1.0}), [0], [0])
    assert (nothing.value, nothing.standard_error) == (0.0, 0.0)


def test_a_failed_write_keeps_the_old_file(traced, path, tmp_path, monkeypatch):
    import xarray

    target = tmp_path / "result.nc"
    write_fields(traced, target)
    before = target.read_bytes()

    def half(self, where, **_):
        where.write_bytes(b"half")
        raise OSError("no space left on device")

    monkeypatch.setattr(xarray.Dataset, "to_netcdf", half)
    with pytest.raises(OSError, match="no space"):
        write_fields(traced, target)
    assert target.read_bytes() == before
    assert os.listdir(tmp_path) == ["result.nc"]


@pytest.mark.parametrize("content", [None, b"not netCDF", b""])
def test_what_is_no_result_is_refused_in_one_line(tmp_path, content):
    target = tmp_path / "result.nc"
    if content is not None:
        target.write_bytes(content)
    with pytest.raises(ValueError) as caught:
        load_result(target)
    assert "\n" not in str(caught.value)
    assert str(target) in str(caught.value)


def test_foreign_older_and_future_files_are_refused(tmp_path, path):
    import xarray

    foreign, future = tmp_path / "foreign.nc", tmp_path / "future.nc"
    xarray.Dataset({"a": ("x", [1.0])}).to_netcdf(foreign)
    with pytest.raises(ValueError, match="not a result"):
        load_result(foreign)
    data = read_fields(path)
    # 1: of a release that told things apart by their names
    for number in (1, 999):
        data.attrs["underlit_format"] = number
        data.to_netcdf(future)
        with pytest.raises(
            ValueError, match=f"has format {number}, this version reads 2; trace the scene again"
        ) as said:
            load_result(future)
        assert "\n" not in str(said.value)
