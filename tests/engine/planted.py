"""Errors to plant into copies of the kernels, and which tests must see each of them."""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
PACKAGE = TESTS.parent / "sim" / "underlit"
TIMEOUT = 900
"""Seconds for one copy; on a quiet machine none needs 60, a third of it compiling."""
VALUE, LEDGER = "z = ", "ledger is off"
"""What a test says when a value is off, and when the ledger does not close."""

FRESNEL, TALLY, EVENTS, WALK = "optics/fresnel.py", "transport/tally.py", "transport/events.py", "transport/walk.py"
AIR, GLASS, ENERGY = (f"tests/physics/test_{name}.py::test_" for name in ("light_in_air", "glass_and_water", "energy"))
COLUMN = "tests/physics/test_walls_guide_light.py::test_bare_column_of_water"
PAGE = "tests/validation/test_validation.py::test_family"


@dataclass(frozen=True)
class Override:
    """Functions or constants of a module of the package that the code binds anew at the module's end.

    What the code calls `right_NAME` is the module's own NAME as it was; names that begin with `_` are the code's own.
    """

    file: str
    code: str


@dataclass(frozen=True)
class Planted:
    """An error: its overrides, the tests that must turn the copy down (each of another kind), and what they say then.

    Tests in which light would go round nearly for ever with this error are not among them.
    """

    overrides: tuple[Override, ...]
    seen_by: tuple[str, ...]
    says: str = VALUE


MORE_COUNTED = """
@scalar
def tally_surface(row, tables, part, cell, back, p, up, w):
    right_tally_surface(row, tables, part, cell, back, p, up, w + w // 200)

@scalar
def tally_segment(row, tables, p, d, length, w, absorption):
    right_tally_segment(row, tables, p, d, length, w + w // 200, absorption)
"""
MORE_ENERGY = """
def joules_per_umol(wavelength_nm):
    return 1.005 * right_joules_per_umol(wavelength_nm)
"""
NO_POLARISATION = """
@scalar
def reflectance(a_s, a_p, r_s, r_p):
    return 0.5 * (r_s * r_s + r_p * r_p)
"""
RATIO_UPSIDE_DOWN = """
@scalar
def refract(d, n, n1, n2, c1, c2):
    return right_refract(d, n, n2, n1, c1, c2)
"""
NO_INNER_REFLECTION = """
@scalar
def reflected_amplitudes(n1, n2, c1, c2):
    if n1 > n2:
        return 0.0, 0.0
    return right_reflected_amplitudes(n1, n2, c1, c2)
"""
BOUNCE_CAP = """
MAX_EVENTS = 80
_ROULETTE_LOSS = int(Bucket.ROULETTE_LOSS)

@scalar
def lose(row, layout, w):
    add(row, layout.ledger + _ROULETTE_LOSS, w)
"""
OTHER_MEDIUM = """
@scalar
def medium_beyond(surface, back):
    return right_medium_beyond(surface, 1 - back)
"""
OTHER_SIDE = """
@scalar
def side_met(tree, instances, hit, instance, d):
    n, back, part, cell, group = right_side_met(tree, instances, hit, instance, d)
    return n, back, part, cell ^ 1, group

@scalar
def shares_returned(tables, index, back, b):
    return right_shares_returned(tables, index, 1 - back, b)
"""
HALF_BOOKED = """
@scalar
def keep(row, line, w, share):
    kept = quanta(w * share)
    add(row, line, (w - kept) // 2)
    return kept
"""

PLANTED = {
    "all counts, and the energy of a photon, .5 % too high": Planted(
        (Override(TALLY, MORE_COUNTED), Override("spectra/luminous.py", MORE_ENERGY)),
        (
            f"{AIR}inverse_square_and_cosine[0.0-0.6]",
            f"{AIR}lambertian_point_to_rectangle[1.0-1.0-1.0]",
            f"{AIR}walls_do_not_leak_into_the_next_room",
            f"{ENERGY}closed_grey_box[0.5-20-0.003]",
            f"{ENERGY}absorber_under_diffuse_light[0.5]",
            f"{PAGE}[factors]",
            f"{PAGE}[media]",
            f"{PAGE}[photon_units]",
        ),
    ),
    "polarisation dropped": Planted(
        (Override(FRESNEL, NO_POLARISATION),),
        (
            f"{GLASS}slab_transmittance_by_angle[80-0.0]",
            f"{GLASS}lid_gap_and_water_under_lambertian_light",
            f"{PAGE}[optics]",
        ),
    ),
    "index ratio upside down": Planted(
        (Override(FRESNEL, RATIO_UPSIDE_DOWN),),
        (f"{GLASS}on_axis_under_water", f"{GLASS}point_source_over_water[0]", COLUMN),
    ),
    "inner reflection missing": Planted(
        (Override(FRESNEL, NO_INNER_REFLECTION),),
        (
            f"{GLASS}diffuse_reflectance[1.333-0.066406-0.474591]",
            f"{GLASS}floor_under_unbounded_water[0.5]",
            f"{PAGE}[underwater]",
        ),
    ),
    # a cap that owns up to its losses the ledger would see; this one books them as roulette's
    "bounce cap of 80": Planted((Override(WALK, BOUNCE_CAP),), (COLUMN, f"{PAGE}[room]")),
    "the medium of the other side": Planted(
        (Override(EVENTS, OTHER_MEDIUM),),
        (f"{GLASS}on_axis_under_water", f"{GLASS}lid_gap_and_water_under_lambertian_light", f"{PAGE}[trade]"),
    ),
    # the count is read in black rooms, the colour from zones, which know no sides: neither can stand in for the other
    "the count and the colour of the other side": Planted(
        (Override(EVENTS, OTHER_SIDE),),
        (
            f"{AIR}walls_do_not_leak_into_the_next_room",
            f"{AIR}between_grey_plates",
            f"{PAGE}[factors]",
            f"{PAGE}[engines]",
        ),
    ),
    "half of what is absorbed in no line of the ledger": Planted(
        (Override(EVENTS, HALF_BOOKED),),
        (f"{AIR}between_grey_plates", "tests/engine/test_ledger.py::test_full_tank[None]"),
        LEDGER,
    ),
}


class CannotPlant(Exception):
    """The source has moved on: the module has nothing of that name."""


def names_bound(code: str) -> list[str]:
    """Names that code binds at its top level: functions, classes, assignments and imports."""
    found: list[str] = []
    for node in ast.parse(code).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.append(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            found += [alias.asname or alias.name for alias in node.names]
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            found += [name.id for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)]
    return found


def plant(overrides: Iterable[Override], folder: Path) -> Path:
    """Copy the package into a folder and override; returns the folder to import it from."""
    root = folder / "sim"
    shutil.copytree(PACKAGE, root / "underlit", ignore=shutil.ignore_patterns("__pycache__"))
    for override in overrides:
        path = root / "underlit" / override.file
        text = path.read_text(encoding="utf-8")
        names = [name for name in names_bound(override.code) if not name.startswith("_")]
        for name in names:
            if name not in names_bound(text):
                raise CannotPlant(f"{override.file} has no {name!r}")
        kept = "".join(f"right_{name} = {name}\n" for name in names)
        path.write_text(f"{text}\n\n{kept}{override.code}", encoding="utf-8")
    return root


def run_on_copy(root: Path, folder: Path, tests: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Outcome and message by test, of tests run with the package in `root`, in a process and with kernels of their own."""
    outcomes = folder / "outcomes.json"
    env = dict(os.environ, NUMBA_CACHE_DIR=str(folder / "kernels"), PYTHONDONTWRITEBYTECODE="1")
    script = Path(__file__).with_name("run_on_copy.py")
    command = [sys.executable, str(script), str(root), str(outcomes), *tests]
    done = subprocess.run(
        command, cwd=TESTS.parent, env=env, capture_output=True, text=True, timeout=TIMEOUT, check=False
    )
    assert outcomes.exists(), done.stdout + done.stderr
    return {test: (outcome, told) for test, (outcome, told) in json.loads(outcomes.read_text(encoding="utf-8")).items()}
