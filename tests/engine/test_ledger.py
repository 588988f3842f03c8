"""The ledger closes to the quantum and next to nothing is lost, however the parts meet."""

from __future__ import annotations

import numpy as np
import pytest
from tanks import INSIDE, LEVEL, ODD_TURNS, full_tank, glass_and_water, rotation

from checking import MAX_LOST, agree, flux_in_zone, same, trace
from underlit.lowering.world import World
from underlit.transport.tables import PACKET, Counter


@pytest.mark.parametrize("turn", [None, *ODD_TURNS])
def test_full_tank(turn):
    """Wood through glass, bed and surface, leaves through the surface, at any turn of the world: the same light."""
    result = trace(full_tank(turn), photons_log2=18)
    lines = result.ledger_quanta()
    assert lines["inside_solid"] <= MAX_LOST * result.photons * PACKET
    if turn is None:
        assert lines["lost"] == 0
    ends = ("water", "glass", "out", "rim", "bed", "wood", "leaves", "past the tank")
    assert all(lines[name] > 0 for name in ends), lines
    # the packets' fates depend on their random numbers alone, so another turn of the world is the same trace but for rounding
    reference = UPRIGHT.setdefault("bed", flux_in_zone(trace(full_tank(), photons_log2=18, seed=9), "bed"))
    same(flux_in_zone(result, "bed"), reference, resolves=0.02, what=f"bed of the tank turned by {turn}")


UPRIGHT: dict = {}


def edges_of(world: World) -> np.ndarray:
    """(k, 2, 3) edges of all triangles so far."""
    parts = []
    for mesh in world.contents.meshes:
        corners = mesh.vertices[mesh.faces]
        parts += [corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]]
    return np.concatenate(parts)


def aimed(turn, aim: str, aside: float) -> World:
    """Photons sent from inside the water at edges or vertices of the glass and its water, missing them by `aside` [m]."""
    rng = np.random.default_rng(4)
    world = World()
    water, glass = world.medium("water", 1.333), world.medium("glass", 1.52)
    r = rotation(turn)
    glass_and_water(world, lambda v: np.asarray(v) @ r.T, water, glass)
    ends = edges_of(world)
    n = 1 << 15
    chosen = ends[rng.integers(0, len(ends), n)]
    share = rng.uniform(size=(n, 1)) if aim == "edges" else rng.integers(0, 2, (n, 1)).astype(float)
    target = chosen[:, 0] * (1 - share) + chosen[:, 1] * share + aside * rng.normal(size=(n, 3))
    start = rng.uniform((0, 0, 0), (INSIDE[0], INSIDE[1], LEVEL), (n, 3)) @ r.T
    # so large a power of the cosine that the beam is its axis to the bit
    world.add_source("beams", start, ppf=1.0, axis=target - start, beam_exponent=1e30, medium=water)
    return world


@pytest.mark.parametrize("turn", [None, ODD_TURNS[0]])
@pytest.mark.parametrize("aim", ["edges", "vertices"])
def test_photons_aimed_close_to_edges_and_vertices(turn, aim):
    """Half a million photons on 32768 paths that pass a thousandth of a micrometre beside an edge or a vertex: none lost."""
    result = trace(aimed(turn, aim, 1e-9), photons_log2=17)
    assert result.counter(Counter.LOST_PHOTONS) == 0


@pytest.mark.parametrize("aim", ["edges", "vertices"])
def test_photons_aimed_exactly_at_edges_and_vertices(aim):
    """The same exactly on them, where the point of a hit rounds to the wrong side of the neighbouring face."""
    result = trace(aimed(ODD_TURNS[0], aim, 0.0), photons_log2=17)
    assert result.counter(Counter.LOST_PHOTONS) == 0


def test_parts_of_the_light_add_up():
    """Shares of the ledger add to one; ends by name are what the meshes say."""
    result = trace(full_tank(), photons_log2=16)
    assert sum(result.ledger().values()) == pytest.approx(1.0, abs=1e-12)
    absorbed = result.ledger_quanta()["bed"] / (result.photons * PACKET)
    # reflectances run from .1 to .3: what arrives is absorbed to .7 to .9
    assert 0.7 < absorbed / flux_in_zone(result, "bed").value < 0.9


def test_exact_ledger_of_a_black_room():
    """A room whose ends are known exactly: all on the floor."""
    world = World()
    world.add_mesh(
        "floor", np.array([(-1e3, -1e3, 0), (1e3, -1e3, 0), (0, 1e3, 0)]), [[0, 1, 2]], world.opaque("floor", 0.0)
    )
    world.add_surface_zone("floor", "floor", area=1.0)
    world.add_source("lamp", [(0, 0, 1)], ppf=1.0, beam_exponent=50.0)
    result = trace(world, photons_log2=16)
    agree(flux_in_zone(result, "floor"), 1.0, resolves=1e-6, what="black floor")
    assert result.ledger_quanta()["floor"] == result.photons * PACKET
