"""Configuration factors: what an element sees of rectangles, discs and strips, and the faces of a box of each other."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from checking import flux_in_zone, flux_on_head, scaled
from underlit.lowering.world import World, rectangle

from . import formulas
from .framework import Check, Family, Size, check_of, faces_flux, traced
from .optics import level

SIGMA = 1e-3
HOWELL = "Howell, A Catalog of Radiation Heat Transfer Configuration Factors"


def target(world: World, name: str, corner: Sequence[float], along: Sequence[float], up: Sequence[float]) -> np.ndarray:
    """A black rectangle with a zone of its name; returns its corners (4, 3)."""
    vertices, faces = rectangle(corner, along, up)
    world.add_mesh(name, vertices, faces, world.opaque(name, 0.0))
    world.add_surface_zone(name, name, area=1.0, min_up=-2.0)
    return vertices


def element_to_rectangles(size: Size) -> list[Check]:
    """A Lambertian element's light that lands on a parallel and on a standing rectangle."""
    checks = []
    printed = {(1.0, 1.0, 1.0): (0.1385316, 0.0557342), (0.6, 0.3, 0.4): (0.1358652, None)}
    for k, ((a, b, c), known) in enumerate(printed.items()):
        world = World()
        target(world, "parallel", (0, 0, c), (0, b, 0), (a, 0, 0))
        target(world, "standing", (-c, 0, 0), (0, b, 0), (0, 0, a))
        world.add_source("element", [(0, 0, 0)], ppf=1.0, axis=(0, 0, 1))
        result = traced(world, photons_log2=size.pick(21, 18), seed=3 + k)
        exact = (formulas.parallel_rectangle(a, b, c), formulas.perpendicular_rectangle(a, b, c))
        for name, value, value_printed, entry in zip(
            ("parallel", "standing"), exact, known, ("B-3", "B-4"), strict=True
        ):
            checks.append(
                check_of(
                    flux_in_zone(result, name), case="Element to rectangle", name=f"{name}, {a:g} x {b:g} at {c:g} m",
                    source=f"{HOWELL}, {entry} (number from memory)", exact=value, printed=value_printed,
                    sigma_limit=size.pick(SIGMA, None),
                )
            )  # fmt: skip
    return checks


def tilted_elements(size: Size) -> list[Check]:
    """A tilted element under a rectangle that is wholly in front of it."""
    checks = []
    for k, degrees in enumerate((15, 30, 45, 60)):
        t = math.radians(degrees)
        normal = np.array([math.sin(t) * math.cos(0.7), math.sin(t) * math.sin(0.7), math.cos(t)])
        world = World()
        corners = target(world, "panel", (0.05, 0.02, 0.4), (0, 0.3, 0), (0.6, 0, 0))
        world.add_source("element", [(0, 0, 0)], ppf=1.0, axis=normal)
        result = traced(world, photons_log2=size.pick(21, 18), seed=1760 + k)
        assert (corners @ normal > 0).all()
        checks.append(
            check_of(
                flux_in_zone(result, "panel"), case="Tilted element to rectangle", name=f"tilted {degrees}°",
                source="Lambert, Photometria (1760), contour formula", sigma_limit=size.pick(SIGMA, None),
                exact=formulas.polygon(corners, np.zeros(3), normal), note="A panel .6 x .3 m, .4 m over the element.",
            )
        )  # fmt: skip
    return checks


def element_to_disc(size: Size) -> list[Check]:
    """A disc on the axis and beside it; a meter head does the counting."""
    checks = []
    for k, (radius, height, offset, printed) in enumerate(
        ((0.5, 1.0, 0.0, None), (0.5, 1.0, 0.75, 0.1022841), (0.2, 0.4, 0.5, None))
    ):
        world = World()
        level(world, "black", -0.1, world.opaque("black", 0.0), 5.0)
        world.add_source("element", [(offset, 0, 0)], ppf=1.0, axis=(0, 0, 1))
        world.add_head("disc", (0, 0, height), normal=(0, 0, -1), radius=radius)
        result = traced(world, photons_log2=size.pick(21, 18), seed=13 + k)
        checks.append(
            check_of(
                flux_on_head(result, "disc"), case="Element to disc", source=f"{HOWELL}, B-13 (number from memory)",
                name=f"radius {radius:g}, distance {height:g}, offset {offset:g} m", printed=printed,
                exact=formulas.disc(radius, height, offset), sigma_limit=size.pick(SIGMA, None),
            )
        )  # fmt: skip
    return checks


def strip_light(size: Size) -> list[Check]:
    """A narrow Lambertian strip over level meter heads: the other way round, from the light to the meter."""
    height, half, width, radius = 0.3, 0.3, 0.001, 0.05
    world = World()
    level(world, "black", -0.1, world.opaque("black", 0.0), 10.0)
    world.add_source("strip", [(0, 0, height)], ppf=1.0, half_size=(half, width / 2))
    places = {(0.0, 0.0): 4.284661, (0.0, 0.2): None, (0.3, 0.0): None, (0.4, 0.15): None}
    for x, y in places:
        world.add_head(f"{x:g}, {y:g}", (x, y, 0), radius=radius)
    result = traced(world, photons_log2=size.pick(25, 18), seed=42)
    share = (np.arange(40) + 0.5) / 40
    turn = 2 * np.pi * (np.arange(48) + 0.5) / 48
    r, t = (a.ravel() for a in np.meshgrid(radius * np.sqrt(share), turn))
    checks = []
    for (x, y), printed in places.items():
        at_point = formulas.strip(-half - x, half - x, y, height)
        spread = zip(r * np.cos(t), r * np.sin(t), strict=True)
        over_head = np.mean([formulas.strip(-half - x - a, half - x - a, y + b, height) for a, b in spread])
        reading = scaled(flux_on_head(result, f"{x:g}, {y:g}"), 2 * half * math.pi / (math.pi * radius**2))
        checks.append(
            check_of(
                reading, case="Narrow strip light", name=f"{x:g} m along, {y:g} m beside the middle",
                source="Closed form for a Lambertian strip over a level element (radiance x width = 1)", exact=at_point,
                scale=at_point / float(over_head), printed=printed, sigma_limit=size.pick(SIGMA, None), slack=2e-5 * at_point,
                note="A strip .6 m long and 1 mm wide, .3 m up, read by meter heads of 5 cm radius; the reading is brought "
                "to the centre by the exact ratio of point and mean. The width and the quadrature cost 2e-5.",
            )
        )  # fmt: skip
    return checks


BOX = (0.6, 0.3, 0.36)


def box_faces(world: World) -> None:
    """The six black faces of the box, fronts inward."""
    a, b, h = BOX
    faces = {
        "bottom": ((0, 0, 0), (a, 0, 0), (0, b, 0)),
        "top": ((0, 0, h), (0, b, 0), (a, 0, 0)),
        "front": ((0, 0, 0), (0, 0, h), (a, 0, 0)),
        "back": ((0, b, 0), (a, 0, 0), (0, 0, h)),
        "left": ((0, 0, 0), (0, b, 0), (0, 0, h)),
        "right": ((a, 0, 0), (0, 0, h), (0, b, 0)),
    }
    black = world.opaque("black", 0.0)
    for name, sides in faces.items():
        world.add_mesh(name, *rectangle(*sides), black)


def inside_a_box(size: Size) -> list[Check]:
    """Every kind of pair of faces of a tank-shaped box: one face glows, the others catch."""
    a, b, h = BOX
    facing, corner = formulas.box_parallel, formulas.box_perpendicular
    glowing = {
        "bottom": ((a / 2, b / 2, 0), (0, 0, 1), (1, 0, 0), (a / 2, b / 2)),
        "front": ((a / 2, 0, h / 2), (0, 1, 0), (1, 0, 0), (a / 2, h / 2)),
        "left": ((0, b / 2, h / 2), (1, 0, 0), (0, 1, 0), (b / 2, h / 2)),
    }
    exact = {
        ("bottom", "top"): facing(a / h, b / h), ("bottom", "front"): corner(common=a, own=b, other=h),
        ("bottom", "left"): corner(common=b, own=a, other=h), ("front", "back"): facing(a / b, h / b),
        ("front", "bottom"): corner(common=a, own=h, other=b), ("front", "left"): corner(common=h, own=a, other=b),
        ("left", "right"): facing(b / a, h / a), ("left", "bottom"): corner(common=b, own=h, other=a),
        ("left", "front"): corner(common=h, own=b, other=a),
    }  # fmt: skip
    printed = {("bottom", "top"): 0.2330541, ("bottom", "front"): 0.2573412, ("bottom", "left"): 0.1261318}
    checks = []
    for k, (source, (centre, axis, along, half_size)) in enumerate(glowing.items()):
        world = World()
        box_faces(world)
        world.add_source(source, [centre], ppf=1.0, axis=axis, along=along, half_size=half_size)
        result = traced(world, photons_log2=size.pick(20, 17), seed=11 + k)
        for (one, other), value in exact.items():
            if one == source:
                checks.append(
                    check_of(
                        faces_flux(result, other), case="Face to face in a box", name=f"{one} to {other}", exact=value,
                        source=f"{HOWELL}, C-11 and C-14 (numbers from memory)", printed=printed.get((one, other)),
                        sigma_limit=size.pick(SIGMA, None), note="A black box .6 x .3 m, .36 m high; front is long, left short.",
                    )
                )  # fmt: skip
    return checks


def run(size: Size) -> list[Check]:
    """All cases."""
    cases = (element_to_rectangles, tilted_elements, element_to_disc, strip_light, inside_a_box)
    return [check for case in cases for check in case(size)]


FAMILY = Family(
    title="Configuration factors",
    intro="""
The share of a Lambertian element's light that lands on a surface is their configuration factor, so the element is made the
source wherever that gives the factor at the very point; the strip light is traced from the light to meter heads.
""",
    run=run,
    catches=0.02,
    also=("tests/validation/formulas.py", "tests/validation/optics.py"),
)
