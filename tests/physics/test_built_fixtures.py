"""Built fixtures in the tracer: what a reflector cuts off, what a tilted LED meets, readings under water, light of a day.

Configuration factor of a rectangle from a point under its corner: J. R. Howell, A Catalog of Radiation Heat Transfer
Configuration Factors, entry B-4 (number from memory).
"""

from __future__ import annotations

import math
from typing import Any

import pytest

import underlit
from checking import agree, trace
from underlit.lowering.assemble import put
from underlit.lowering.fixtures import dimming, full_hours, lights
from underlit.lowering.records import Role
from underlit.lowering.scene import lower
from underlit.lowering.world import World
from underlit.photometry.lens import lambertian
from underlit.photometry.point import Head
from underlit.results.estimate import Estimate
from underlit.scene import scene_from_dict
from underlit.scene.lights.flux import per_flux

TANK = {"inside_size": ["60 cm", "30 cm", "36 cm"], "glass_thickness": "6 mm"}


def in_empty_space(**keys: Any) -> World:
    """A world that holds one fixture and nothing else."""
    scene = scene_from_dict({"tank": TANK, "fixture": [keys]})
    world = World()
    put(world, lights(scene))
    return world


def caught(world: World, photons_log2: int = 18) -> Estimate:
    """Share of the light of a world's only source that ends on the fixture, by batches."""
    result = trace(world, photons_log2=photons_log2)
    assert result.ledger_quanta()["inside_solid"] == 0
    (counts,) = result.counts
    share = result.ledger_quanta()["fixtures"] / result.ledger_quanta()["emitted"]
    # a packet ends whole, one way or the other
    return Estimate(share, math.sqrt(share * (1 - share) / counts.photons), 1e9)


def below_a_square(half: float, depth: float) -> float:
    """Share of a Lambertian point's light that leaves through a level square of this half side, so far below it."""
    x = half / depth
    inner = x / math.sqrt(1 + x * x)
    return 4 * (inner * math.atan(inner)) / math.pi


@pytest.mark.parametrize(("depth", "flare"), [(2.0, 0.0), (4.0, 0.0), (4.0, 30.0), (3.0, -25.0)])
def test_a_black_reflector_lets_through_what_its_opening_sees(depth: float, flare: float) -> None:
    world = in_empty_space(
        size=["6 cm", "6 cm", "2 cm"],
        leds={"rows": 1, "columns": 1, "face": "0.01 mm"},
        output={"ppf": "9 umol/s"},
        reflector={"depth": f"{depth} cm", "flare": f"{flare} deg", "reflectance": 0.0},
        body_reflectance=0.0,
    )
    half = 3.0 + depth * math.tan(math.radians(flare))
    agree(caught(world), 1 - below_a_square(half, depth), resolves=0.03, what=f"reflector {depth} {flare}")


def test_a_mirror_reflector_loses_next_to_nothing() -> None:
    keys = {"size": ["6 cm", "6 cm", "2 cm"], "leds": {"rows": 1, "columns": 1}, "output": {"ppf": "9 umol/s"}}
    mirror = in_empty_space(
        reflector={"depth": "3 cm", "reflectance": 1.0, "mirror": 1.0}, body_reflectance=1.0, **keys
    )
    assert caught(mirror, 17).value == 0.0
    white = in_empty_space(reflector={"depth": "3 cm", "reflectance": 0.85}, **keys)
    black = in_empty_space(reflector={"depth": "3 cm", "reflectance": 0.0}, **keys)
    assert 0.03 < caught(white, 17).value < 0.5 * caught(black, 17).value


@pytest.mark.parametrize("form", ["bar", "puck"])
def test_what_a_tilted_led_throws_up_meets_the_body(form: str) -> None:
    """Of a Lambertian LED tilted by t, (1 - cos t)/2 goes above the horizontal; next to all of it meets a wide board."""
    world = in_empty_space(
        form=form,
        size=["80 cm", "80 cm", "2 cm"],
        leds={"rows": 1, "columns": 1, "face": "1 mm"},
        optic=[{"tilt": "40 deg", "lean": "0 deg"}],
        output={"ppf": "9 umol/s"},
        body_reflectance=0.0,
    )
    agree(caught(world), (1 - math.cos(math.radians(40))) / 2, resolves=0.05, what=f"tilted {form}", slack=1e-3)


def test_round_bodies_are_closed_and_reflectors_join_them() -> None:
    scene = scene_from_dict(
        {"tank": TANK, "fixture": [{"form": "puck", "output": {"watts": "9 W"}, "reflector": {"depth": "2 cm"}}]}
    )
    import trimesh

    meshes = {m.name: m for m in lower(scene).compiled.meshes if m.role is Role.FIXTURE}
    body = trimesh.Trimesh(meshes["fixture"].vertices, meshes["fixture"].faces)
    assert body.is_watertight
    # a prism of 24 sides in a circle of 12 cm, 4 cm high
    assert body.volume == pytest.approx(0.04 * 12 * math.sin(math.pi / 12) * 0.06**2, rel=1e-6)
    corners = {tuple(corner) for corner in meshes["fixture"].vertices}
    edge = meshes["fixture, reflector"].vertices[:24]
    assert all(tuple(corner) in corners for corner in edge)


def test_every_channel_sends_its_share_through_all_its_lenses() -> None:
    keys = {
        "leds": {"pattern": ["WRWB", "BWRW"]},
        "channel": [{"name": n, "letter": n[0].upper(), "share": s} for n, s in (("white", 3.0), ("red", 2.0), ("blue", 1.0))],
        "optic": [{"rows": [1], "tilt": "10 deg"}, {"columns": [1], "lens": {"beam_angle": "60 deg"}}],
        "output": {"ppf": "60 umol/s"},
        "dimming": 0.5,
    }  # fmt: skip
    scene = scene_from_dict({"tank": TANK, "fixture": [{"size": ["30 cm", "8 cm", "2 cm"], **keys}]})
    compiled = lower(scene).compiled
    sources = compiled.sources
    totals: dict[str, float] = {}
    for source, ppf in zip(sources, compiled.ppf, strict=True):
        totals[source.channel] = totals.get(source.channel, 0.0) + ppf
    assert totals == pytest.approx({"white": 30.0, "red": 20.0, "blue": 10.0})
    names = [source.name for source in sources]
    assert len(set(names)) == len(names)
    assert {s.name for s in dimming(scene)} == {s.name for s in full_hours(scene)} == set(names)
    assert set(dimming(scene).values()) == {0.5}
    assert set(full_hours(scene).values()) == {4.0}


@pytest.mark.parametrize(
    ("aside", "water"),
    [(0.0, {}), (0.25, {}), (0.0, {"tannin": "tea"}), (0.25, {"tannin": "tea"}),
     (0.0, {"tannin": "none", "cloudiness": "cloudy"})],
)  # fmt: skip
def test_a_reading_under_water_is_found_again_by_the_trace(aside: float, water: dict[str, str]) -> None:
    """PPF from "60 at 40 cm, 25 of them water", then traced in a wide black tank: a square about the meter gets 60.

    What lies between the mean over the square and the reading in its middle comes from the same closed form. Of cloudy water it
    knows what a head loses to 2 %; without that, the light would come out 7 % too dim.
    """
    black = {"behind": "paint", "colour": "black", "reflectance": 0.0}
    reading = {"reads": "60 umol/m2/s", "below": "40 cm", "under_water": "25 cm", "along": f"{aside} m"}
    square = [[f"{0.7 + aside + step} m", f"{0.7 + step} m"] for step in (-0.05, 0.05)]
    scene = scene_from_dict(
        {
            "tank": {"inside_size": ["1.4 m", "1.4 m", "40 cm"], "glass_thickness": "6 mm"}
            | dict.fromkeys(("front", "back", "left", "right", "bottom"), black),
            "water": {"above_bottom": "26 cm", **water},
            "substrate": {"depth": "0 cm"},
            "fixture": [
                {
                    "size": ["10 cm", "10 cm", "2 cm"],
                    "leds": {"rows": 2, "columns": 2},
                    "output": {"reading": [reading]},
                    "above_water": "15 cm",
                    "body_reflectance": 0.0,
                }
            ],
            "zone": [{"name": "square", "rectangle": square, "height": "1 cm"}],
        }
    )
    steps = [(i + 0.5) / 100 - 0.05 for i in range(10)]
    heads = [Head(0.4, aside + x, y, 0.25) for x in steps for y in steps]
    (over_square, in_middle) = (
        per_flux(scene.fixtures[0].emitters, some, lambertian(), scene.water.optical_constants()).mean()
        for some in (heads, [Head(0.4, aside, 0.0, 0.25)])
    )
    traced = underlit.trace(scene, photons=1 << 20)
    # the glass under the water sends back some thousandths
    expected = 60.0 * over_square / in_middle
    agree(
        traced.result.zones()["square"],
        expected,
        resolves=0.05 if "cloudiness" in water else 0.015,
        what=f"reading under water, {aside}, {water}",
        slack=1.2 if "cloudiness" in water else 0.3,
    )


def test_the_light_of_a_day_is_the_integral_of_its_schedule() -> None:
    """DLI = PPFD x 3600 x hours at full / 1e6; ramps of an hour about seven hours at full are eight hours."""
    ramps = [["9:00", 0.0], ["10:00", 1.0], ["17:00", 1.0], ["18:00", 0.0]]
    light = {"name": "bar", "length": "40 cm", "output": {"watts": "20 W"}, "dimming": 0.5}
    night = {
        "name": "night",
        "spectrum": "LED-B5",
        "schedule": [["20:00", 0.0], ["20:00", 0.5], ["22:00", 0.5], ["22:00", 0.0]],
    }
    day = {"name": "day"}
    found = []
    for keys in ({"schedule": ramps}, {"photoperiod": "8 h"}):
        scene = scene_from_dict({"tank": TANK, "fixture": [light | keys | {"channel": [day, night]}]})
        traced = underlit.trace(scene, photons=1 << 17)
        (zone, *_) = underlit.zone_reports(traced.lowered, traced.result)
        full = traced.result.dimmed(dict.fromkeys((s.name for s in traced.result.compiled.sources), 1.0))
        by_day, by_night = full.zone_values_by_source()[:, 0]
        assert zone.ppfd.value == pytest.approx(0.5 * by_day)
        expected = 3600 * (8 * 0.5 * by_day + 2 * 0.5 * 0.5 * by_night) / 1e6
        assert zone.dli == pytest.approx(expected, rel=1e-9)
        found.append(zone.dli)
    assert found[0] == pytest.approx(found[1])


def test_scaled_light_is_scaled_day() -> None:
    """A result dimmed further than its scene counts so for the day."""
    scene = scene_from_dict(
        {"tank": TANK, "fixture": [{"length": "40 cm", "output": {"watts": "20 W"}, "dimming": 0.8}]}
    )
    traced = underlit.trace(scene, photons=1 << 16)
    (name,) = [source.name for source in traced.result.compiled.sources]
    dimmer = traced.result.dimmed({name: 0.2})
    first, second = (underlit.zone_reports(traced.lowered, result)[0].dli for result in (traced.result, dimmer))
    assert second == pytest.approx(first / 4)


@pytest.mark.parametrize(
    ("second", "said"),
    [(("9:00", "12:00"), True), (("9:00", "15:00"), False), (("15:00", "19:00"), True)],
)
def test_lights_that_are_never_bright_together_are_noted(second: tuple[str, str], said: bool) -> None:
    def on(start: str, end: str) -> list[list[object]]:
        return [[start, 0.0], [start, 1.0], [end, 1.0], [end, 0.0]]

    light = {"length": "20 cm", "output": {"watts": "9 W"}}
    first = light | {"name": "a", "position": ["30 cm", "8 cm"], "schedule": on("13:00", "14:00")}
    other = light | {"name": "b", "position": ["30 cm", "22 cm"], "schedule": on(*second)}
    notes = lower(scene_from_dict({"tank": TANK, "fixture": [first, other]})).compiled.notes
    assert any("never at their brightest together" in note for note in notes) == said


def test_readings_that_fit_nothing_are_noted() -> None:
    readings = [{"reads": f"{value} umol/m2/s", "below": "30 cm"} for value in (60, 60, 100)]
    for some, said in ((readings[:2], False), (readings, True)):
        scene = scene_from_dict({"tank": TANK, "fixture": [{"length": "40 cm", "output": {"reading": some}}]})
        assert any("apart from what any one output gives" in note for note in lower(scene).compiled.notes) == said
