"""Recorded paths: they add up to the heads' counts, and weighing them anew is what a new trace of the changed tank finds."""

from __future__ import annotations

import numpy as np
import pytest

from checking import same
from underlit.backends.cpu import Tracer
from underlit.backends.paths import HeadPaths, record_paths
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.world import World, box, rectangle
from underlit.results.estimate import Estimate, mean_of_batches
from underlit.transport.tables import PACKET

BATCHES, BITS = 32, 14
TINT, FILM, GIVES_BACK = 1.5, 0.8, 0.4


def _tank(tint: float, film: float, gives_back: float, exponent: float) -> CompiledScene:
    """Water under a film-covered surface in a grey opaque box; two heads in it, a lamp over it."""
    world = World()
    water = world.medium("water", 1.33, tint)
    walls, faces = box((0.0, 0.0, 0.0), (0.3, 0.2, 0.30))
    open_top = faces[[k for k, f in enumerate(faces) if walls[f][:, 2].min() < 0.30]]
    world.add_mesh("walls", walls, open_top, world.opaque("walls", gives_back, back_reflectance=gives_back))
    surface = world.interface("surface", 0, water, film=film)
    world.add_mesh("surface", *rectangle((0, 0, 0.25), (0.3, 0, 0), (0, 0.2, 0)), surface)
    world.add_source("lamp", [(0.15, 0.1, 0.29)], ppf=1.0, beam_exponent=exponent)
    world.add_head("near", (0.14, 0.1, 0.03), radius=0.02)
    world.add_head("far", (0.26, 0.1, 0.03), radius=0.02)
    return world.compile()


def _shares(compiled: CompiledScene, seed: int, batches: int = BATCHES) -> np.ndarray:
    """Share of the photons on each head, a batch at a time, as traced."""
    tracer = Tracer(compiled.tables, batch_bits=BITS, seed=seed)
    tracer.run([batches])
    return np.array([p[len(compiled.zones) :] for p in tracer.counts[0].points]) / (PACKET * 2.0**BITS)


def _estimate(shares: np.ndarray) -> Estimate:
    value, error, dof = mean_of_batches(shares[:, None])
    return Estimate(float(value[0]), float(error[0]) ** 0.5, float(dof))


@pytest.fixture(scope="module")
def recorded() -> tuple[CompiledScene, HeadPaths]:
    """The tank as first described and its paths."""
    compiled = _tank(TINT, FILM, GIVES_BACK, 1.0)
    return compiled, record_paths(compiled.tables, 0, batches=BATCHES, batch_bits=BITS, seed=3)


def test_paths_add_up_to_the_counts_of_the_heads(recorded: tuple[CompiledScene, HeadPaths]) -> None:
    """The same photons, so the same sums to the last quantum (2^-54 of a batch in float64)."""
    compiled, paths = recorded
    np.testing.assert_allclose(paths.means(2), _shares(compiled, 3), rtol=1e-12)


@pytest.mark.parametrize("threads", [1, 3])
def test_the_same_paths_on_any_number_of_threads(recorded: tuple[CompiledScene, HeadPaths], threads: int) -> None:
    compiled, paths = recorded
    again = record_paths(compiled.tables, 0, batches=BATCHES, batch_bits=BITS, seed=3, threads=threads)
    assert np.array_equal(paths.share, again.share)
    assert np.array_equal(paths.lengths, again.lengths)
    assert np.array_equal(paths.passes, again.passes)


@pytest.mark.parametrize(
    ("tint", "film", "gives_back", "exponent"),
    [
        (2.2, FILM, GIVES_BACK, 1.0),
        (TINT, 0.65, GIVES_BACK, 1.0),
        (TINT, FILM, 0.55, 1.0),
        (TINT, FILM, GIVES_BACK, 1.4),
    ],
    ids=["tint", "film", "what walls give back", "beam"],
)
def test_weighing_anew_is_a_new_trace(
    recorded: tuple[CompiledScene, HeadPaths], tint: float, film: float, gives_back: float, exponent: float
) -> None:
    """Each change alone; without the factor the same comparison fails."""
    _, paths = recorded
    water, walls, surface = 1, 0, 1
    factor = np.exp(-(tint - TINT) * paths.lengths[:, water])
    factor *= (film / FILM) ** paths.passes[:, surface] * (gives_back / GIVES_BACK) ** paths.passes[:, walls]
    factor *= (exponent + 1) / 2 * paths.cosine ** (exponent - 1)
    new = _shares(_tank(tint, film, gives_back, exponent), 17, 2 * BATCHES)

    for k, name in enumerate(("near", "far")):
        traced = _estimate(new[:, k])
        same(_estimate(paths.means(2, factor)[:, k]), traced, resolves=0.1, what=f"weighed anew, {name}")
        with pytest.raises(AssertionError):
            same(_estimate(paths.means(2)[:, k]), traced, resolves=0.1, what=f"not weighed anew, {name}")


def test_a_full_buffer_loses_no_path(
    recorded: tuple[CompiledScene, HeadPaths], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A slice with more paths than rows is traced again with more rows."""
    import underlit.backends.paths as module

    compiled, paths = recorded
    monkeypatch.setattr(module, "FIRST_ROWS", 8)
    again = record_paths(compiled.tables, 0, batches=BATCHES, batch_bits=BITS, seed=3)
    assert np.array_equal(paths.share, again.share)
