"""Handbook optics: water and glass surfaces by angle and for diffuse light, plates and stacks of plates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from checking import flux_in_zone
from underlit.lowering.world import World, box, rectangle
from underlit.results.estimate import Estimate

from .formulas import diffuse_external, diffuse_internal, interface, slab
from .framework import Check, Family, Picture, Size, check_of, traced

WATER, GLASS, PANE, GLASS_LOSS = 1.333, 1.52, 0.006, 0.04382
WIDE = 500.0
"""Half side [m] of level sheets millimetres apart: less than 1e-9 of diffuse light gets past them."""
SIGMA = 1e-3
EVERY_SIDE = -2.0


def level(world: World, part: str, z: float, surface: int, half: float) -> None:
    """A level square at a height, front up, whose incident light is the zone of its name."""
    world.add_mesh(part, *rectangle((-half, -half, z), (2 * half, 0, 0), (0, 2 * half, 0)), surface)
    world.add_surface_zone(part, part, area=1.0, min_up=EVERY_SIDE)


def beam(world: World, position: Sequence[float], axis: Sequence[float], **more) -> None:
    """A beam of 1 umol/s, unpolarised, intensity cos^1e10: some 1e-5 rad wide."""
    world.add_source("beam", [position], ppf=1.0, axis=axis, beam_exponent=1e10, **more)


def downwards(degrees: float, azimuth: float = 0.3) -> tuple[float, float, float]:
    """Direction at an angle from straight down; an odd azimuth, so that no axis is special."""
    t = math.radians(degrees)
    return (math.sin(t) * math.cos(azimuth), math.sin(t) * math.sin(azimuth), -math.cos(t))


# -- one surface --------------------------------------------------------------------------------------------------------
JERLOV = {0: 2.0, 30: 2.1, 45: 2.8, 60: 5.9, 70: 13.3, 75: 21.2, 80: 34.9, 85: 58.3}
"""Reflectance of a water surface for unpolarised light [%] by angle [deg]: Jerlov, Optical Oceanography (1968), Table XVI."""


def water_surface(size: Size) -> list[Check]:
    """Reflectance of flat water by angle."""
    checks = []
    for degrees, printed in JERLOV.items():
        world = World()
        water = world.medium("water", WATER)
        level(world, "surface", 0.0, world.interface("surface", 0, water), 20.0)
        black = world.opaque("black", 0.0)
        level(world, "sky", 0.1, black, 20.0)
        level(world, "bottom", -0.1, black, 40.0)
        beam(world, (0.01, 0.02, 0.01), downwards(degrees))
        result = traced(world, photons_log2=size.pick(21, 17), seed=1968 + degrees)
        exact = float(interface(math.radians(degrees), 1, WATER).mean())
        checks.append(
            check_of(
                flux_in_zone(result, "sky"), case="Water surface by angle", name=f"{degrees}°",
                source="Jerlov, Optical Oceanography (1968), Table XVI; exact: Fresnel, n = 1.333", exact=100 * exact,
                scale=100, printed=printed, unit="%", sigma_limit=size.pick(SIGMA, None),
                note="Printed to .1 %. At 80° Fresnel's formulas give 34.8 for this index (and 34.9 for 1.34).",
            )
        )  # fmt: skip
    return checks


def diffuse_surface(size: Size) -> list[Check]:
    """Reflectance of a flat surface for Lambertian light from either side."""
    checks = []
    published = {(WATER, "external"): 0.066406, (WATER, "internal"): 0.474591}
    published |= {(GLASS, "external"): 0.094707, (GLASS, "internal"): 0.608166}
    for k, ((index, side), printed) in enumerate(published.items()):
        world = World()
        inside = world.medium("inside", index)
        level(world, "surface", 0.0, world.interface("surface", 0, inside), WIDE)
        black = world.opaque("black", 0.0)
        below = side == "internal"
        level(world, "catcher", -0.001 if below else 0.001, black, WIDE)
        level(world, "other side", 0.001 if below else -0.001, black, WIDE)
        z = -0.0005 if below else 0.0005
        axis = (0, 0, 1) if below else (0, 0, -1)
        world.add_source("diffuse", [(0.1, 0.2, z)], ppf=1.0, axis=axis, medium=inside if below else 0)
        result = traced(world, photons_log2=size.pick(21 if below else 23, 17), seed=1926 + k)
        exact = diffuse_internal(index) if below else diffuse_external(index)
        checks.append(
            check_of(
                flux_in_zone(result, "catcher"), case="Diffuse reflectance of a surface", name=f"n = {index}, {side}",
                source="Walsh (1926), Duntley (1942), closed form", exact=exact, printed=printed,
                sigma_limit=size.pick(SIGMA, None),
            )
        )  # fmt: skip
    return checks


# -- plates -------------------------------------------------------------------------------------------------------------
def tilted_plate(world: World, degrees: float, axis: int, surface: int) -> None:
    """A wide plate round the origin, turned from level about x (0) or y (1)."""
    vertices, faces = box((-3, -3, -PANE), (3, 3, 0))
    t = math.radians(degrees)
    c, s = math.cos(t), math.sin(t)
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]] if axis == 0 else [[c, 0, s], [0, 1, 0], [-s, 0, c]])
    world.add_mesh("plate", vertices @ turn.T, faces, surface)


def polarised_plate(size: Size, degrees: float, polarisation: str, seed: int) -> Estimate:
    """Transmittance of a plate for one polarisation: the light comes from a mirror of glass at Brewster's angle.

    The mirror throws a beam straight down with its electric vector along y; a plate turned about y has that in s, one
    turned about x has it in p. Value: light through the plate over what the mirror gives, R_s / 2 of the source.
    """
    world = World()
    dense = world.medium("mirror glass", GLASS, 1e6)
    glass = world.medium("glass", GLASS, GLASS_LOSS / PANE)
    brewster = math.atan(GLASS)
    # the mirror's normal lies in the xz plane, Brewster's angle from straight down
    along = np.array([math.cos(brewster), 0.0, math.sin(brewster)])
    normal = np.array([math.sin(brewster), 0.0, -math.cos(brewster)])
    top = np.array([0.0, 0.0, 0.5])
    across = np.array([0.0, 1.0, 0.0])
    assert np.allclose(np.cross(along, across) @ normal, -1)
    mirror = rectangle(top - 0.1 * along - 0.1 * across, 0.2 * across, 0.2 * along)
    world.add_mesh("mirror", *mirror, world.interface("mirror", 0, dense))
    behind = rectangle(mirror[0][0] - 1e-3 * normal - 0.1 * (along + across), 0.4 * across, 0.4 * along)
    world.add_mesh("behind the mirror", *behind, world.opaque("behind the mirror", 0.0))
    out = np.array([0.0, 0.0, -1.0])
    arriving = out - 2 * (out @ normal) * normal
    beam(world, top - 0.3 * arriving, arriving)
    tilted_plate(world, degrees, 1 if polarisation == "s" else 0, world.interface("plate", 0, glass))
    level(world, "catcher", -6.0, world.opaque("catcher", 0.0), 0.5)
    result = traced(world, photons_log2=size.pick(25 if degrees >= 80 and polarisation == "s" else 22, 17), seed=seed)
    mirrored = float(interface(brewster, 1, GLASS)[0]) / 2
    caught = flux_in_zone(result, "catcher")
    return Estimate(caught.value / mirrored, caught.standard_error / mirrored, caught.dof)


def plates_by_polarisation(size: Size) -> list[Check]:
    """Transmittance of 6 mm of absorbing glass for s and p."""
    checks = []
    for degrees in (30, 45, 60, 70, 80):
        for k, polarisation in enumerate("sp"):
            exact = slab(math.radians(degrees), index=GLASS, absorbance=GLASS_LOSS)[0][k]
            checks.append(
                check_of(
                    polarised_plate(size, degrees, polarisation, 700 + degrees + k),
                    case="Plate of glass, each polarisation", name=f"{degrees}°, {polarisation}",
                    source="Born & Wolf, Principles of Optics, 7th ed., 1.5.2; (1-R)² τ / (1 - R² τ²)", exact=float(exact),
                    sigma_limit=size.pick(SIGMA, None),
                    note="6 mm, n = 1.52, absorption x thickness .04382. Light of one polarisation is made in the trace, by "
                    "reflection off glass at Brewster's angle.",
                )
            )  # fmt: skip
    return checks


Layer = tuple[float, float, float]
"""Index, absorption [1/m], thickness [m]."""
LID: Layer = (GLASS, GLASS_LOSS / PANE, PANE)
STACKS: dict[str, list[Layer]] = {
    "air, glass, air": [LID, (1.0, 0.0, math.inf)],
    "air, glass, water": [LID, (WATER, 0.0, math.inf)],
    "lid, gap, water": [LID, (1.0, 0.0, 0.01), (WATER, 0.0, math.inf)],
    "lid of two panes, gap, water": [LID, (1.0, 0.0, 0.001), LID, (1.0, 0.0, 0.01), (WATER, 0.0, math.inf)],
}
STACK_ANGLES = (0, 30, 45, 60, 75, 85)


def stack_world(layers: list[Layer]) -> tuple[World, float]:
    """Level layers under air; the last one without end, over a black catcher. Returns the world and the top's height."""
    world = World()
    media = [0] + [0 if n == 1.0 else world.medium(f"layer {i}", n, a) for i, (n, a, _) in enumerate(layers)]
    thickness = [d for _, _, d in layers[:-1]]
    z = sum(thickness)
    top = z
    for i, below in enumerate(media[1:]):
        if media[i] != below:
            surface = world.interface(f"face {i}", media[i], below)
            world.add_mesh(f"face {i}", *rectangle((-WIDE, -WIDE, z), (2 * WIDE, 0, 0), (0, 2 * WIDE, 0)), surface)
        z = z - thickness[i] if i < len(thickness) else -1.0
    level(world, "catcher", -0.002, world.opaque("catcher", 0.0), WIDE)
    return world, top


def stack_by_tmm(layers: list[Layer], degrees: float) -> float:
    """Unpolarised transmittance by the package tmm (Byrnes, arXiv:1603.02720), every layer incoherent."""
    from tmm import inc_tmm

    wavelength = 550e-9
    index = [1.0] + [n + 1j * a * wavelength / (4 * math.pi) for n, a, _ in layers]
    depth = [math.inf] + [d for _, _, d in layers]
    flags = ["i"] * len(index)
    passed = [inc_tmm(pol, index, depth, flags, math.radians(degrees), wavelength)["T"] for pol in "sp"]
    return float(np.mean(passed))


def stacks(size: Size) -> list[Check]:
    """Stacks of plates by angle against another program's incoherent stack."""
    checks = []
    for k, (name, layers) in enumerate(STACKS.items()):
        for degrees in STACK_ANGLES:
            world, top = stack_world(layers)
            beam(world, (0.0, 0.0, top + 0.01), downwards(degrees))
            result = traced(
                world, photons_log2=size.pick({75: 21, 85: 23}.get(degrees, 19), 16), seed=1000 * (k + 1) + degrees
            )
            checks.append(
                check_of(
                    flux_in_zone(result, "catcher"), case="Stacks of plates by angle", name=f"{name}, {degrees}°",
                    source="PyPI tmm (Byrnes, arXiv:1603.02720), incoherent layers, mean of s and p",
                    exact=stack_by_tmm(layers, degrees), sigma_limit=size.pick(SIGMA, None),
                    note="Share of unpolarised light that reaches the last medium. Glass 6 mm, n = 1.52, absorption x "
                    "thickness .04382; water 1.333.",
                )
            )  # fmt: skip
    return checks


def clear_lid_over_water(size: Size) -> list[Check]:
    """A lossless lid, air and flat water: straight down and for Lambertian light."""
    from scipy.integrate import quad

    layers = [(GLASS, 0.0, 0.004), (1.0, 0.0, 0.005), (WATER, 0.0, math.inf)]

    def by_angle(theta: float) -> float:
        below = interface(theta, 1, WATER)
        passed, back = slab(theta, index=GLASS)
        return float((passed * (1 - below) / (1 - back * below)).mean())

    diffuse = quad(lambda t: by_angle(t) * math.sin(2 * t), 0, math.pi / 2, epsabs=1e-12, limit=200)[0]
    checks = []
    for name, exact, printed in (("straight down", by_angle(0.0), 0.90111), ("Lambertian", diffuse, 0.81839)):
        world, top = stack_world(layers)
        if name == "Lambertian":
            world.add_source("diffuse", [(0.1, 0.2, top + 1e-4)], ppf=1.0)
        else:
            beam(world, (0, 0, top + 0.01), downwards(0))
        result = traced(world, photons_log2=size.pick(21, 17), seed=81839)
        checks.append(
            check_of(
                flux_in_zone(result, "catcher"), case="Clear lid over water", name=name, exact=exact, printed=printed,
                source="Closed form per polarisation, all inter-reflections, by quadrature over angles",
                sigma_limit=size.pick(SIGMA, None),
                note="n = 1.52 without loss, air, water 1.333. The product of separate diffuse factors would be .790.",
            )
        )  # fmt: skip
    return checks


def run(size: Size) -> list[Check]:
    """All cases."""
    cases = (water_surface, diffuse_surface, plates_by_polarisation, stacks, clear_lid_over_water)
    return [check for case in cases for check in case(size)]


def draw(checks: list[Check], folder: Path) -> list[Picture]:
    """Plates by angle and polarisation, and the naive unpolarised product beside them."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    theta = np.linspace(0, 89.9, 400)
    passed = slab(np.radians(theta), index=GLASS, absorbance=GLASS_LOSS)[0]
    flat = interface(np.radians(theta), 1, GLASS).mean(axis=0)
    inner = np.sqrt(1 - (np.sin(np.radians(theta)) / GLASS) ** 2)
    figure, axes = plt.subplots(figsize=(6.4, 3.8), layout="constrained")
    for k, (name, colour) in enumerate((("s", "#1f6f8b"), ("p", "#b3541e"))):
        axes.plot(theta, passed[k], color=colour, lw=1.2, label=f"closed form, {name}")
        rows = [c for c in checks if c.case.startswith("Plate") and c.name.endswith(name)]
        axes.errorbar(
            [float(c.name.split("°")[0]) for c in rows], [c.value for c in rows],
            [4 * c.standard_error for c in rows], fmt="o", ms=4, color=colour, label=f"traced, {name}",
        )  # fmt: skip
    axes.plot(theta, passed.mean(axis=0), color="0.3", lw=1.2, label="mean of s and p")
    rows = [c for c in checks if c.name.startswith("air, glass, air")]
    angles = [float(c.name.split()[-1][:-1]) for c in rows]
    axes.plot(angles, [c.value for c in rows], "s", ms=4, color="0.3", label="traced, unpolarised")
    axes.plot(theta, (1 - flat) ** 2 * np.exp(-GLASS_LOSS / inner), ":", color="0.5", label="(1 - mean R)² τ, wrong")
    axes.set(xlabel="angle of incidence [°]", ylabel="transmittance", xlim=(0, 90), ylim=(0, 1))
    axes.legend(fontsize=8, loc="lower left")
    figure.savefig(folder / "optics-plate.png", dpi=110)
    plt.close(figure)
    return [
        Picture(
            "optics-plate.png", "6 mm of absorbing glass by angle and polarisation: lines closed form, marks traced."
        )
    ]


FAMILY = Family(
    title="Handbook optics: surfaces, plates and stacks",
    intro="""
Beams 1e-5 rad wide, and Lambertian point sources, on level sheets; light that passes or returns is caught on black
sheets. The polarisation of every photon is traced, so plates are checked for each polarisation apart and stacks with the
memory that one plate leaves for the next.
""",
    run=run,
    catches=0.02,
    draw=draw,
    also=("tests/validation/formulas.py",),
)
