"""Under water: point source and strip through a flat surface, a bare box against its mirror images, a pure absorber."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np

from checking import flux_in_zone, flux_of_points, flux_on_head, scaled
from underlit.lowering.world import OUTSIDE, World, rectangle
from underlit.results.estimate import Estimate
from underlit.results.result import Field

from .bare_boxes import CELLS, LAMPED_BOX, box_world
from .flat_water import Drop, strip_irradiance
from .framework import Check, Family, Picture, Size, check_of, traced
from .image_source import Polarisation, Walls, cell_means

WATER = 1.333
DROP = Drop(height=0.20, depth=0.30, index=WATER)
INTENSITY = 100.0
TABLE = {  # radius [m]: E of an even source; of I0 cos(theta) [umol/m2/s]; geometrical optics, computed independently
    0.0: (542.21, 542.21), 0.1: (512.48, 498.692), 0.2: (437.371, 393.897),
    0.3: (345.298, 276.684), 0.4: (258.089, 179.119), 0.6: (129.252, 64.9228),
}  # fmt: skip
RING = 0.01
AXIS_HEAD = 0.01
BORN_WOLF = "refraction and Fresnel, Born & Wolf, 7th ed., 1.5, 3.2"


def level(world: World, part: str, z: float, surface: int, half: float) -> None:
    """A level square round the origin, front up."""
    world.add_mesh(part, *rectangle((-half, -half, z), (2 * half, 0, 0), (0, 2 * half, 0)), surface)


def flat_water(depth: float, half: float) -> World:
    """Water `depth` deep under air, wide and without walls; its bottom is black and a little below the plane z = 0."""
    world = World()
    water = world.medium("water", WATER)
    level(world, "surface", depth, world.interface("surface", OUTSIDE, water), half)
    level(world, "bottom", -0.01, world.opaque("bottom", 0.0), half)
    return world


# -- point source -----------------------------------------------------------------------------------------------------
def beam(low: float, high: float, power: int) -> tuple[tuple[np.ndarray, np.ndarray], float]:
    """Part of a cos^power source between two angles, as a lens table; its flux [umol/s] for intensity 1 on the axis."""
    theta = np.linspace(low, high, 256)
    flux = math.cos(low) - math.cos(high) if power == 0 else (math.sin(high) ** 2 - math.sin(low) ** 2) / 2
    return (theta, np.cos(theta) ** power), 2 * math.pi * flux


def ring_check(radius: float, power: int, size: Size) -> Check:
    """E in a ring round a radius, lit by the part of the source's light that lands in it or near it."""
    inner, outer = max(0.0, radius - RING), radius + (RING if radius > 0 else AXIS_HEAD)
    margin = (outer - inner) / 10
    low = 0.0 if inner == 0 else float(DROP.angle(np.array(inner - margin)))
    table, flux = beam(low, float(DROP.angle(np.array(outer + margin))), power)
    world = flat_water(DROP.depth, 20.0)
    world.add_source("lamp", [(0, 0, DROP.depth + DROP.height)], ppf=1.0, beam_table=table)
    world.add_head("out", (0, 0, 0), radius=outer)
    if inner > 0:
        world.add_head("in", (0, 0, 0), radius=inner)
    result = traced(world, photons_log2=size.pick(21, 16), seed=1000 + 100 * power + round(100 * radius))
    signs = (1.0, -1.0) if inner > 0 else (1.0,)
    share = flux_of_points(result, 0, 1, signs=signs) if inner > 0 else flux_on_head(result, "out")
    area = math.pi * (outer**2 - inner**2)
    lens = "even source" if power == 0 else "I0 cos source"
    return check_of(
        share, case="point source 20 cm over water, 30 cm below the surface", name=f"{lens}, r = {radius:g} m",
        source=BORN_WOLF, exact=INTENSITY * DROP.ring_share(inner, outer, power) / area, scale=INTENSITY * flux / area,
        unit="umol/m2/s", printed=TABLE[radius][power], sigma_limit=size.pick(1e-3, None),
        note=f"exact: mean from {100 * inner:g} to {100 * outer:g} cm; printed: at the radius itself",
    )  # fmt: skip


# -- strip ------------------------------------------------------------------------------------------------------------
STRIP = (0.60, 0.02)
STRIP_DROP = Drop(height=0.15, depth=0.30, index=WATER)
STRIP_HEADS = ((0.0, 0.0), (0.0, 0.15), (0.3, 0.0), (0.3, 0.15), (0.0, 0.3), (0.45, 0.2))
HEAD = 0.05


def strip_checks(size: Size) -> list[Check]:
    """Heads below a Lambertian strip; those that mirror each other are taken together."""
    world = flat_water(STRIP_DROP.depth, 20.0)
    half = (STRIP[0] / 2, STRIP[1] / 2)
    world.add_source("strip", [(0, 0, STRIP_DROP.depth + STRIP_DROP.height)], ppf=1.0, half_size=half)
    indices: list[list[int]] = []
    for x, y in STRIP_HEADS:
        mirrored = sorted({(a * x, b * y) for a in (1, -1) for b in (1, -1)})
        indices.append([world.add_head(f"{at}", (*at, 0.0), radius=HEAD) for at in mirrored])
    result = traced(world, photons_log2=size.pick(25, 19), seed=103)
    exitance = 1.0 / (STRIP[0] * STRIP[1])
    checks = []
    for (x, y), heads in zip(STRIP_HEADS, indices, strict=True):
        share = flux_of_points(result, *heads)
        checks.append(check_of(
            share, case="Lambertian strip 60 x 2 cm, 15 cm over water, 30 cm below the surface", name=f"x {x:g} m, y {y:g} m",
            source="quadrature over the strip, " + BORN_WOLF,
            exact=exitance * strip_irradiance(STRIP_DROP, STRIP, (x, y), HEAD),
            scale=1.0 / (math.pi * HEAD**2 * len(heads)), unit="umol/m2/s per umol/s", sigma_limit=size.pick(1e-3, None),
        ))  # fmt: skip
    return checks


# -- bare box ---------------------------------------------------------------------------------------------------------
IMAGES = "mirror images in four walls, summed to the last"
FLOOR_AREA = LAMPED_BOX.length * LAMPED_BOX.width
THICK = (0.006, 0.012)


@lru_cache
def exact_map(walls: Walls, polarisation: Polarisation = Polarisation.CARRIED) -> np.ndarray:
    """Mean E of the floor's cells (ny, nx) by mirror images [umol/m2/s per umol/s]."""
    return cell_means(LAMPED_BOX, CELLS, walls, polarisation, lattice=1)


@lru_cache
def traced_box(thickness: float | None, size: Size) -> tuple[Field, Estimate, Estimate | None]:
    """Map of the floor, share of the light on the floor, and share under the glass, of a traced box."""
    full = 25 if thickness is None else 24 if thickness < 1e-3 else 22
    result = traced(box_world(LAMPED_BOX, thickness), photons_log2=size.pick(full, 19), seed=107)
    under = None if thickness is None else flux_in_zone(result, "under the glass")
    return result.bed(), flux_in_zone(result, "floor"), under


def map_probability(found: Field, exact: np.ndarray) -> tuple[float, float]:
    """(chi-square over its degrees of freedom, probability) of a map, each cell's Student t taken to a normal z."""
    from scipy.stats import chi2, norm, t

    pulls = (found.value - exact) / found.standard_error
    z = norm.isf(np.maximum(t.sf(np.abs(pulls), found.dof), 1e-300))
    total = float((z * z).sum())
    return total / z.size, float(chi2.sf(total, z.size))


def beyond_noise(found: Field, exact: np.ndarray) -> float:
    """Root mean square of the relative differences, less what the simulation errors explain."""
    square = ((found.value - exact) / exact) ** 2 - (found.standard_error / exact) ** 2
    return math.sqrt(max(0.0, float(square.mean())))


def ideal_box_checks(thickness: float | None, walls: Walls, label: str, size: Size) -> list[Check]:
    """The map of a box with ideal walls: as a whole, cell by cell, and its darkest and brightest cells."""
    found, floor, _ = traced_box(thickness, size)
    exact = exact_map(walls)
    case = f"bare box, {label}"
    ratio, probability = map_probability(found, exact)
    cells = f"{exact.size} cells"
    checks = [
        check_of(floor, case=case, name="share on the floor", source=IMAGES, exact=float(exact.mean()) * FLOOR_AREA,
                 sigma_limit=size.pick(1e-3, None), note=_forgotten(walls) if size is Size.FULL else ""),
        Check(case, f"map, {cells}: chi-square / cells", IMAGES, 1.0, ratio, probability=probability),
        Check(case, f"map, {cells}: rms beyond noise", IMAGES, None, 100 * beyond_noise(found, exact), unit="%",
              band=(0.0, 0.5), note=f"mean standard error of a cell {_mean_noise(found):.2f} %"),
    ]  # fmt: skip
    for name, index in (("darkest cell", int(exact.argmin())), ("brightest cell", int(exact.argmax()))):
        value, error = float(found.value.flat[index]), float(found.standard_error.flat[index])
        target = float(exact.flat[index])
        checks.append(Check(case, name, IMAGES, target, value, error, found.dof, "umol/m2/s per umol/s"))
    return checks


def _mean_noise(found: Field) -> float:
    return float((100 * found.standard_error / found.value).mean())


def _forgotten(walls: Walls) -> str:
    forgot = exact_map(walls, Polarisation.FORGOTTEN) / exact_map(walls) - 1
    phases = exact_map(walls, Polarisation.WITH_PHASES) / exact_map(walls) - 1
    return (
        f"polarisation forgotten at each hit would change cells by up to {100 * np.abs(forgot).max():.3f} %, "
        f"phase shifts at total reflection by up to {100 * np.abs(phases).max():.5f} %"
    )


def thick_glass_checks(size: Size) -> list[Check]:
    """Real walls beside the ideal ones, and that they become ideal as they get thin."""
    exact = exact_map(Walls.THIN_GLASS)
    share = float(exact.mean()) * FLOOR_AREA
    case = "bare box, walls of real glass (n = 1.52, clear of any absorption), beside the ideal wall"
    checks = []
    for thickness in THICK:
        found, floor, under = traced_box(thickness, size)
        assert under is not None
        change = found.value / exact - 1
        checks.append(check_of(
            scaled(floor, 1 / share), case=case, name=f"{1000 * thickness:g} mm: floor over ideal",
            source="no closed form: some of the light ends under the glass", exact=None, band=(0.85, 1.0),
            note=f"cells {100 * change.min():+.1f} to {100 * change.max():+.1f} %, rms {100 * beyond_noise(found, exact):.1f} %; "
            f"under the glass {100 * under.value:.1f} % of the light, top edges included; ideal floor: {100 * share:.1f} %",
        ))  # fmt: skip
    # E(t) = E(0) + a t + b t^2: three thicknesses 1 : 2 : 3 leave no a and no b
    step = 0.0005
    thin, middle, thick = (traced_box(k * step, size)[1] for k in (1, 2, 3))
    error = math.sqrt((3 * thin.standard_error) ** 2 + (3 * middle.standard_error) ** 2 + thick.standard_error**2)
    value = 3 * thin.value - 3 * middle.value + thick.value
    checks.append(Check(
        case, "0.5, 1, 1.5 mm carried on to none: share on the floor", IMAGES, share, value, error, thin.dof, slack=3e-4 * share,
        note="parabola through three traces; slack .03 % for higher powers of the thickness",
    ))  # fmt: skip
    return checks


# -- pure absorber ----------------------------------------------------------------------------------------------------
def absorber_check(depth: float, size: Size) -> Check:
    """Lambertian light through an unbounded slab that only absorbs: T = 2 E3(tau)."""
    from scipy.special import expn

    world = World()
    thickness, half = 0.001, 500.0
    slab = world.medium("absorber", 1.0, depth / thickness)
    level(world, "top", thickness, world.interface("top", OUTSIDE, slab), half)
    level(world, "bottom", 0.0, world.opaque("bottom", 0.0), half)
    world.add_surface_zone("bottom", "bottom", area=1.0)
    world.add_source("diffuse", [(0, 0, 2 * thickness)], ppf=1.0)
    result = traced(world, photons_log2=size.pick(20, 16), seed=109)
    return check_of(
        flux_in_zone(result, "bottom"), case="pure absorber under Lambertian light", name=f"tau = {depth:g}",
        source="T = 2 E3(tau), Abramowitz & Stegun, 5.1", exact=2 * float(expn(3, depth)),
        printed=0.832583 if depth == 0.1 else None, sigma_limit=size.pick(1e-3, None),
    )  # fmt: skip


def run(size: Size) -> list[Check]:
    """All cases of this family."""
    checks = [ring_check(radius, power, size) for power in (0, 1) for radius in TABLE]
    checks += strip_checks(size)
    checks += ideal_box_checks(None, Walls.WATER_TO_AIR, "walls without glass: water meets air", size)
    checks += ideal_box_checks(1e-6, Walls.THIN_GLASS, "walls of glass 1 um thin against glass without thickness", size)
    checks += thick_glass_checks(size)
    return checks + [absorber_check(depth, size) for depth in (0.05, 0.1, 0.5, 1.0, 2.0)]


def draw(checks: list[Check], folder: Path) -> list[Picture]:
    """E along the middle of the box: mirror images, traced, and with real glass."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    middle = CELLS[1] // 2
    x = (np.arange(CELLS[0]) + 0.5) / CELLS[0] * 100 * LAMPED_BOX.length
    figure, axes = plt.subplots(figsize=(6.4, 3.6), dpi=110, layout="constrained")
    axes.plot(x, exact_map(Walls.WATER_TO_AIR)[middle], "k-", label="mirror images, ideal walls")
    for thickness, style, label in ((None, "o", "traced, ideal walls"), (0.006, "s", "traced, 6 mm glass"),
                                    (0.012, "^", "traced, 12 mm glass")):  # fmt: skip
        found = traced_box(thickness, Size.FULL)[0]
        axes.errorbar(x, found.value[middle], found.standard_error[middle], fmt=style, ms=4, capsize=2, label=label)
    axes.set(xlabel="x [cm]", ylabel="PPFD per umol/s of lamps [1/m2]", ylim=(0, None))
    axes.legend(fontsize=8)
    figure.savefig(folder / "underwater-box.png", metadata={"Software": None})
    plt.close(figure)
    return [
        Picture(
            "underwater-box.png", "Bare box: one row of floor cells, mirror images and traces (bars: standard errors)."
        )
    ]


FAMILY = Family(
    title="Under water",
    intro=(
        "A point source and a Lambertian strip over unbounded flat water, against exact refraction. A bare box of water, "
        f"{100 * LAMPED_BOX.length:g} x {100 * LAMPED_BOX.width:g} cm and {100 * LAMPED_BOX.water_depth:g} cm deep under four "
        "point lamps, with a black floor, against the sum of all its mirror images with the reflectance of the wall at each "
        "path's own angle and its polarisation carried from hit to hit, cell by cell. Beside it the same box in real glass: "
        "part of the light then goes down inside the walls and ends under them instead of on the floor. Last, a slab that "
        "only absorbs."
    ),
    run=run,
    draw=draw,
    also=tuple(f"tests/validation/{name}.py" for name in ("flat_water", "image_source", "bare_boxes")),
)
