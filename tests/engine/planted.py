"""Errors to plant into copies of the kernels, and which tests must see each of them."""

from __future__ import annotations

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

FRESNEL, TALLY, WALK = "optics/fresnel.py", "transport/tally.py", "transport/walk.py"
AIR, GLASS, ENERGY = (f"tests/physics/test_{name}.py::test_" for name in ("light_in_air", "glass_and_water", "energy"))
COLUMN = "tests/physics/test_walls_guide_light.py::test_bare_column_of_water"
PAGE = "tests/validation/test_validation.py::test_family"


@dataclass(frozen=True)
class Edit:
    """One replacement in a file of the package; the old text must occur in it exactly once."""

    file: str
    old: str
    new: str


@dataclass(frozen=True)
class Planted:
    """An error: its edits, the tests that must turn the copy down (each of another kind), and what they say then.

    Tests in which light would go round nearly for ever with this error are not among them.
    """

    edits: tuple[Edit, ...]
    seen_by: tuple[str, ...]
    says: str = VALUE


PLANTED = {
    "all counts, and the energy of a photon, .5 % too high": Planted(
        (
            Edit(TALLY, "row[layout.faces + cell] += weight", "row[layout.faces + cell] += weight + weight // 200"),
            Edit(TALLY, "row[layout.zones + k] += weight", "row[layout.zones + k] += weight + weight // 200"),
            Edit(TALLY, "row[layout.heads + i] += quanta(weight", "row[layout.heads + i] += quanta(1.005 * weight"),
            Edit(TALLY, "int(cx)] += quanta(w)", "int(cx)] += quanta(1.005 * w)"),
            Edit(
                "spectra/luminous.py", "PLANCK_LIGHT_SPEED_AVOGADRO * 1e3 /", "PLANCK_LIGHT_SPEED_AVOGADRO * 1.005e3 /"
            ),
        ),
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
        (Edit(FRESNEL, "u >= a_s * a_s * r_s * r_s + a_p * a_p * r_p * r_p", "u >= 0.5 * (r_s * r_s + r_p * r_p)"),),
        (
            f"{GLASS}slab_transmittance_by_angle[80-0.0]",
            f"{GLASS}lid_gap_and_water_under_lambertian_light",
            f"{PAGE}[optics]",
        ),
    ),
    "index ratio upside down": Planted(
        (Edit(FRESNEL, "ratio = n1 / n2", "ratio = n2 / n1"),),
        (f"{GLASS}on_axis_under_water", f"{GLASS}point_source_over_water[0]", COLUMN),
    ),
    "inner reflection missing": Planted(
        (Edit(FRESNEL, "through = u >= ", "through = n1 > n2 or u >= "),),
        (
            f"{GLASS}diffuse_reflectance[1.333-0.066406-0.474591]",
            f"{GLASS}floor_under_unbounded_water[0.5]",
            f"{PAGE}[underwater]",
        ),
    ),
    # a cap that owns up to its losses the ledger would see; this one books them as roulette's
    "bounce cap of 80": Planted(
        (
            Edit(WALK, "MAX_EVENTS = 1 << 20", "MAX_EVENTS = 80"),
            Edit(WALK, "int(Bucket.EMITTED), int(Bucket.LOST)", "int(Bucket.EMITTED), int(Bucket.ROULETTE_LOSS)"),
            Edit(WALK, "int(Counter.LOST_PHOTONS)", "int(Counter.SCATTERINGS)"),
        ),
        (COLUMN, f"{PAGE}[room]"),
    ),
    "the medium of the other side": Planted(
        (
            Edit(
                WALK,
                "far = surface.back if back == 0 else surface.front",
                "far = surface.front if back == 0 else surface.back",
            ),
        ),
        (f"{GLASS}on_axis_under_water", f"{GLASS}lid_gap_and_water_under_lambertian_light", f"{PAGE}[trade]"),
    ),
    # the count is read in black rooms, the colour from zones, which know no sides: neither can stand in for the other
    "the count and the colour of the other side": Planted(
        (
            Edit(WALK, "np.int64(2 * triangle.slot + back)", "np.int64(2 * triangle.slot + 1 - back)"),
            Edit(WALK, "reflected = reflectance[index, back, b]", "reflected = reflectance[index, 1 - back, b]"),
        ),
        (
            f"{AIR}walls_do_not_leak_into_the_next_room",
            f"{AIR}between_grey_plates",
            f"{PAGE}[factors]",
            f"{PAGE}[engines]",
        ),
    ),
    "half of what a surface absorbs in no line of the ledger": Planted(
        (
            Edit(
                WALK,
                "kept = quanta(w * returned)\n            row[ledger + bucket] += w - kept",
                "kept = quanta(w * returned)\n            row[ledger + bucket] += (w - kept) // 2",
            ),
        ),
        (f"{AIR}between_grey_plates", "tests/engine/test_ledger.py::test_full_tank[None]"),
        LEDGER,
    ),
}


class CannotPlant(Exception):
    """The source has moved on: the text to replace is not there exactly once."""


def plant(edits: Iterable[Edit], folder: Path) -> Path:
    """Copy the package into a folder, make the edits; returns the folder to import it from."""
    root = folder / "sim"
    shutil.copytree(PACKAGE, root / "underlit", ignore=shutil.ignore_patterns("__pycache__"))
    for edit in edits:
        path = root / "underlit" / edit.file
        text = path.read_text(encoding="utf-8")
        if text.count(edit.old) != 1:
            raise CannotPlant(f"{edit.file} holds {text.count(edit.old)} times, not once: {edit.old!r}")
        path.write_text(text.replace(edit.old, edit.new), encoding="utf-8")
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
