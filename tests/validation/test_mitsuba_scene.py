"""The converter and the other engine themselves, against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from checking import agree
from underlit.lowering.records import Source
from underlit.lowering.scene import Lowered, lower
from underlit.lowering.world import OUTSIDE, World, box, rectangle
from underlit.scene.reader.reader import load_scene

from .engines import SCENES, bed_meters
from .flat_water import Drop
from .mitsuba_scene import VARIANT, Meter, OtherEngine, _leaf, one_bin

try:
    import mitsuba
except (ImportError, NameError, OSError) as missing:  # without the system's libatomic it is a NameError
    pytest.skip(f"Mitsuba cannot be loaded here ({missing})", allow_module_level=True)

BIN = 30
PANEL, METER = (0.25, 0.20), 0.05
HEIGHT, DEPTH, INDEX = 0.2, 0.3, 1.333


def directions(polar: float) -> list[float]:
    """A direction at an angle from the normal."""
    return [math.sin(polar) * math.cos(0.3), math.sin(polar) * math.sin(0.3), math.cos(polar)]


def test_leaf_is_lambertian_on_both_sides() -> None:
    """R cos / pi back and T cos / pi through, from either side and any angle."""
    mitsuba.set_variant(VARIANT)
    leaf = mitsuba.load_dict(_leaf(0.2, 0.3))
    hit = mitsuba.SurfaceInteraction3f()
    hit.wavelengths = [550.0] * 4
    for arriving in (0.2, 1.2, math.pi - 0.7):
        hit.wi = directions(arriving)
        for leaving in (0.1, 1.4, math.pi - 0.1, math.pi - 1.4):
            wo = directions(leaving)
            share = 0.2 if wo[2] * hit.wi[2] > 0 else 0.3
            mueller = np.array(leaf.eval(mitsuba.BSDFContext(), hit, wo))
            assert mueller[0, 0] == pytest.approx(share * abs(wo[2]) / math.pi, rel=1e-4)
            assert np.abs(mueller.reshape(16, -1)[1:]).max() < 1e-6


def wide_water(absorption: float) -> Lowered:
    """A panel over wide flat water, its parts named as a scene's."""
    world = World()
    water = world.medium("water", INDEX, absorption)
    body = world.opaque("body", 0.0, closed=True)
    floor = rectangle((-5, -5, 0), (10, 0, 0), (0, 10, 0))
    world.add_mesh("substrate", *floor, world.opaque("substrate", 0.0))
    surface = rectangle((-5, -5, DEPTH), (10, 0, 0), (0, 10, 0))
    world.add_mesh("water surface", *surface, world.interface("water surface", OUTSIDE, water))
    z = DEPTH + HEIGHT
    world.add_mesh("panel", *box((-PANEL[0], -PANEL[1], z), (PANEL[0], PANEL[1], z + 0.01)), body)
    world.add_source(Source("panel", "white"), [(0, 0, z)], ppf=1.0, half_size=PANEL)
    scene = load_scene(SCENES / "glass-6.toml")
    return replace(lower(scene), compiled=world.compile())


@pytest.mark.parametrize("absorption", [0.0, 2.0])
def test_other_engine_finds_refraction_exactly(absorption: float) -> None:
    """A square panel and a square meter under flat water, against a quadrature of exact refraction."""
    drop = Drop(HEIGHT, DEPTH, INDEX)
    g, w = np.polynomial.legendre.leggauss(16)
    x = PANEL[0] * g[:, None, None, None] - METER * g[None, None, :, None]
    y = PANEL[1] * g[None, :, None, None] - METER * g[None, None, None, :]
    radius = np.hypot(x, y)
    path = DEPTH / np.sqrt(1 - (np.sin(drop.angle(radius)) / INDEX) ** 2)
    value = drop.irradiance(radius, 1.0) * np.exp(-absorption * path) / np.pi
    exact = float(np.einsum("i,j,k,l,ijkl->", w, w, w, w, value)) / 16
    meter = Meter((-METER, -METER), (METER, METER), 0.0)
    found = OtherEngine(wide_water(absorption), BIN, [meter]).ppfd(0, 1 << 17, 5)
    agree(found, exact, resolves=0.08, what=f"the other engine under water, absorption {absorption}")


def test_one_bin_holds_all_photons() -> None:
    """The cumulative spectrum is 0 below the bin and 1 from it on."""
    scene = load_scene(SCENES / "glass-6.toml")
    compiled = one_bin(lower(scene).compiled, 8)
    assert compiled.tables.spectra[0, :8].max() == 0.0
    assert compiled.tables.spectra[0, 8:].min() == 1.0
    assert [round(m.area, 6) for m in bed_meters(scene)] == [0.06, 0.01, 0.003, 0.012]


def test_mirrors_and_lenses_are_refused() -> None:
    """What the converter cannot say it does not say wrongly."""
    lowered = wide_water(0.0)
    surfaces = lowered.compiled.tables.surfaces.copy()
    surfaces["specular"][surfaces["kind"] == 0] = 0.5
    mirrored = replace(
        lowered, compiled=replace(lowered.compiled, tables=lowered.compiled.tables._replace(surfaces=surfaces))
    )
    meter = Meter((-METER, -METER), (METER, METER), 0.0)
    with pytest.raises(ValueError, match="mirrors"):
        OtherEngine(mirrored, BIN, [meter])
    sources = lowered.compiled.tables.sources.copy()
    sources["lens_exponent"] = 3.0
    narrow = replace(
        lowered, compiled=replace(lowered.compiled, tables=lowered.compiled.tables._replace(sources=sources))
    )
    with pytest.raises(ValueError, match="Lambertian"):
        OtherEngine(narrow, BIN, [meter])
