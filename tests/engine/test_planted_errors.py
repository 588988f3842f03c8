"""Errors planted on purpose into copies of the kernels: a check of ours must see each of them.

Five closed forms are traced by the package as it is, which must agree with all of them, and by copies in which one line was
changed, which must disagree where that line matters. Fresnel: Born & Wolf, Principles of Optics, 7th ed., 1.5.2; diffuse
reflectance: Walsh (1926), Duntley (1942).

Run as a script this file traces the scenes with whatever `underlit` is on the path and prints the numbers.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import astuple, dataclass
from pathlib import Path

import numpy as np
import pytest

import checking
from underlit.lowering.world import World, box, rectangle
from underlit.results.estimate import Estimate

TESTS = Path(__file__).resolve().parents[1]
PACKAGE = TESTS.parent / "sim" / "underlit"
WATER, GLASS = 1.333, 1.52
FAR = 500.0
HEIGHT, DEPTH, CONE, HEAD = 0.2, 0.3, 0.06, 0.01
RHO_BOX, RHO_FLOOR = 0.95, 0.5
TIMEOUT = 900
"""Seconds for one copy: compiling takes most of it."""


@dataclass(frozen=True)
class Planted:
    """One exact replacement in a source file, and the check that must see it."""

    file: str
    old: str
    new: str
    seen_by: str


PLANTED = {
    ".5 % bias of what is counted": Planted(
        "transport/walk.py", "part, cell, back, px, py, nz, w)", "part, cell, back, px, py, nz, w + w // 200)", "lid"
    ),
    "polarisation dropped": Planted(
        "transport/walk.py",
        "                if through:\n                    medium = far\n",
        "                ex, ey, ez = random_polarisation(dx, dy, dz, event_number(key, event, 4))\n"
        "                if through:\n                    medium = far\n",
        "slab",
    ),
    "index ratio upside down": Planted("optics/fresnel.py", "ratio = n1 / n2", "ratio = n2 / n1", "axis"),
    "missing inner reflection": Planted("optics/fresnel.py", "through = u >= ", "through = n1 > n2 or u >= ", "floor"),
    "bounce cap": Planted("transport/walk.py", "MAX_EVENTS = 1 << 20", "MAX_EVENTS = 80", "box"),
    "swapped side": Planted(
        "transport/walk.py",
        "far = surface.back if back == 0 else surface.front",
        "far = surface.front if back == 0 else surface.back",
        "floor",
    ),
}


# -- scenes -----------------------------------------------------------------------------------------------------------
def _sheet(world: World, part: str, z: float, surface: int) -> None:
    world.add_mesh(part, *rectangle((-FAR, -FAR, z), (2 * FAR, 0, 0), (0, 2 * FAR, 0)), surface)


def _floor(world: World, reflectance: float = 0.0) -> None:
    _sheet(world, "floor", 0.0, world.opaque("floor", reflectance))
    world.add_surface_zone("floor", "floor", area=1.0, min_up=-2.0)


def _slab(world: World, low: float, high: float) -> None:
    glass = world.interface("glass", 0, world.medium("glass", GLASS))
    world.add_mesh("slab", *box((-FAR, -FAR, low), (FAR, FAR, high)), glass)


def _surface(world: World, z: float) -> None:
    _sheet(world, "surface", z, world.interface("surface", 0, world.medium("water", WATER)))


def lid() -> Estimate:
    """Share of Lambertian light that passes lid, gap and water surface."""
    world = World()
    _slab(world, 0.003, 0.009)
    _surface(world, 0.002)
    _floor(world)
    world.add_source("diffuse", [(0, 0, 0.0095)], ppf=1.0)
    return checking.flux_in_zone(checking.trace(world, photons_log2=19), "floor")


def slab() -> Estimate:
    """Share of a narrow beam that passes a glass slab at 75 degrees."""
    world = World()
    _slab(world, 0.1, 0.106)
    _floor(world)
    angle = math.radians(75)
    axis = (math.sin(angle) * math.cos(0.3), math.sin(angle) * math.sin(0.3), -math.cos(angle))
    world.add_source("beam", [(0.01, 0.02, 0.2)], ppf=1.0, axis=axis, beam_table=([0.0, 1e-5], [1.0, 1.0]))
    return checking.flux_in_zone(checking.trace(world, photons_log2=18), "floor")


def axis() -> Estimate:
    """Irradiance on the axis of a point source of intensity 1 over flat water [1/m2]."""
    world = World()
    _surface(world, DEPTH)
    _sheet(world, "bottom", -0.01, world.opaque("bottom", 0.0))
    world.add_source("cone", [(0, 0, DEPTH + HEIGHT)], ppf=1.0, beam_table=([0.0, CONE], [1.0, 1.0]))
    world.add_head("head", (0, 0, 0), radius=HEAD)
    share = checking.flux_on_head(checking.trace(world, photons_log2=18), "head")
    return checking.scaled(share, 2 * math.pi * (1 - math.cos(CONE)) / (math.pi * HEAD**2))


def grey_box() -> Estimate:
    """Light that arrives on the walls of a closed grey box, as a share of what is emitted."""
    world = World()
    world.add_mesh("box", *box((0, 0, 0), (1.0, 0.7, 0.4), inward=True), world.opaque("box", RHO_BOX))
    world.add_surface_zone("box", "box", area=1.0, min_up=-2.0)
    world.add_source("lamp", [(0.5, 0.3, 0.2)], ppf=1.0)
    return checking.flux_in_zone(checking.trace(world, photons_log2=18), "box")


def floor() -> Estimate:
    """Light that arrives on a Lambertian floor under flat water, as a share of the Lambertian light above it."""
    world = World()
    _surface(world, 0.001)
    _floor(world, RHO_FLOOR)
    world.add_source("diffuse", [(0, 0, 0.0015)], ppf=1.0)
    return checking.flux_in_zone(checking.trace(world, photons_log2=18), "floor")


SCENES = {"lid": lid, "slab": slab, "axis": axis, "box": grey_box, "floor": floor}


# -- exact values -----------------------------------------------------------------------------------------------------
def _reflectance(n: float, theta: np.ndarray) -> np.ndarray:
    """Fresnel's (2, k) reflectances from air for s and p in the textbook's angle form."""
    inside = np.arcsin(np.sin(theta) / n)
    r_s = (np.sin(theta - inside) / np.sin(theta + inside)) ** 2
    return np.array([r_s, (np.tan(theta - inside) / np.tan(theta + inside)) ** 2])


def _lambertian_mean(values: np.ndarray, theta: np.ndarray) -> float:
    return float((values * np.sin(2 * theta)).sum() / np.sin(2 * theta).sum())


def exact_values() -> dict[str, tuple[float, float, float]]:
    """By scene: exact value, how exact it is, and the relative bias that its check must be able to tell."""
    theta = (np.arange(200_000) + 0.5) / 200_000 * math.pi / 2
    glass, water = _reflectance(GLASS, theta), _reflectance(WATER, theta)
    passed, back = (1 - glass) / (1 + glass), 2 * glass / (1 + glass)
    stack = _lambertian_mean((passed * (1 - water) / (1 - back * water)).mean(axis=0), theta)
    steep = _reflectance(GLASS, np.array([math.radians(75)]))
    on_axis = (1 - ((WATER - 1) / (WATER + 1)) ** 2) / (HEIGHT + DEPTH / WATER) ** 2
    external = _lambertian_mean(water.mean(axis=0), theta)
    internal = 1 - (1 - external) / WATER**2
    return {
        "lid": (stack, 1e-6, 0.005),
        "slab": (float(((1 - steep) / (1 + steep)).mean()), 0.0, 0.004),
        # over the head's radius E falls by .05 %
        "axis": (on_axis, 4e-4 * on_axis, 0.005),
        "box": (1 / (1 - RHO_BOX), 0.0, 0.006),
        "floor": ((1 - external) / (1 - RHO_FLOOR * internal), 1e-6, 0.006),
    }


# -- copies -----------------------------------------------------------------------------------------------------------
def run_scenes(root: Path, cache: Path | None) -> dict[str, Estimate]:
    """Trace all scenes in a process of its own with the package in a folder; cache: folder for compiled kernels."""
    env = dict(os.environ, PYTHONPATH=os.pathsep.join((str(root), str(TESTS))), PYTHONDONTWRITEBYTECODE="1")
    if cache is not None:
        env["NUMBA_CACHE_DIR"] = str(cache)
    command = [sys.executable, str(Path(__file__).resolve())]
    done = subprocess.run(command, env=env, capture_output=True, text=True, timeout=TIMEOUT, check=False)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert Path(told["package"]).resolve().parent == (root / "underlit").resolve()
    return {name: Estimate(*values) for name, values in told["estimates"].items()}


def plant(error: Planted, folder: Path) -> Path:
    """Copy the package and make one replacement; the text must occur exactly once, or the source has moved on."""
    root = folder / "sim"
    shutil.copytree(PACKAGE, root / "underlit", ignore=shutil.ignore_patterns("__pycache__"))
    path = root / "underlit" / error.file
    text = path.read_text(encoding="utf-8")
    assert text.count(error.old) == 1, f"{error.file} has {text.count(error.old)} times: {error.old}"
    path.write_text(text.replace(error.old, error.new), encoding="utf-8")
    return root


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory):
    """Estimates of every copy by planted error, two processes at a time."""

    def one(name: str) -> dict[str, Estimate]:
        folder = tmp_path_factory.mktemp("planted")
        return run_scenes(plant(PLANTED[name], folder), folder / "cache")

    with ThreadPoolExecutor(2) as pool:
        return {name: pool.submit(one, name) for name in PLANTED}


def test_without_an_error_every_check_passes():
    """The package as it is agrees with all closed forms, and each check could tell the bias that it claims to tell."""
    estimates = run_scenes(PACKAGE.parent, None)
    exact = exact_values()
    assert exact["lid"][0] == pytest.approx(0.81839, abs=5e-6)
    assert exact["slab"][0] == pytest.approx(0.61481, abs=5.1e-6)
    for name, (value, slack, resolves) in exact.items():
        checking.agree(estimates[name], value, resolves=resolves, slack=slack, what=f"without an error: {name}")


@pytest.mark.parametrize("name", PLANTED)
def test_planted_error_is_seen(name, found):
    """The check that is there for this error turns the copy's value down."""
    estimates = found[name].result()
    scene = PLANTED[name].seen_by
    value, slack, _ = exact_values()[scene]
    estimate = estimates[scene]
    nearest = min(max(estimate.value, value - slack), value + slack)
    checking.reject(estimate, nearest, f"{name}: {scene}")


def main() -> None:
    """Print the scenes' estimates; a ledger that complains is no matter here, the values must tell."""
    import underlit

    checking.check_ledger = lambda result: None
    estimates = {name: astuple(scene()) for name, scene in SCENES.items()}
    print(json.dumps({"package": underlit.__file__, "estimates": estimates}))


if __name__ == "__main__":
    main()
