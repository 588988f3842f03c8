"""The examples of the documentation run, and say what physics says."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "docs" / "examples").glob("*.py"))


def run(path: Path) -> str:
    """What an example prints, run as its reader would run it."""
    paths = os.pathsep.join([str(ROOT / "sim"), os.environ.get("PYTHONPATH", "")])
    done = subprocess.run(
        [sys.executable, path],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": paths, "PYTHONIOENCODING": "utf-8"},
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def number(pattern: str, text: str) -> float:
    """The one number that a pattern finds in a text."""
    (found,) = re.findall(pattern, text)
    return float(found)


def test_every_example_has_a_test() -> None:
    assert [p.name for p in EXAMPLES] == ["change_a_scene.py", "textbook_room.py"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_readme_shows_the_example_as_it_is(path: Path) -> None:
    assert path.read_text(encoding="utf-8").partition('"""\n\n')[2] in (ROOT / "README.md").read_text(encoding="utf-8")


def test_textbook_room() -> None:
    """Conservation: in a closed room of one reflectance a photon meets a surface 1 / (1 - rho) times, whatever stands there.

    On the desk the panel's direct light alone is that of a Lambertian square seen from its axis (configuration factor of a
    differential element to a parallel rectangle, Siegel & Howell, Thermal Radiation Heat Transfer, appendix C, from memory).
    """
    import math

    text = run(ROOT / "docs" / "examples" / "textbook_room.py")
    assert number(r"hits of a photon: ([\d.]+)", text) == pytest.approx(2.0, rel=2e-3)
    desk = number(r"desk, looking up: ([\d.]+)", text)
    a = 0.3 / (2.49 - 0.75)
    factor = 4 * (2 / (2 * math.pi)) * a / math.hypot(1, a) * math.atan(a / math.hypot(1, a))
    direct = 100.0 / 0.36 * factor
    walls = 2 * (4 * 3 + 4 * 2.5 + 3 * 2.5)
    # at least the direct light; what the room adds is of the order of rho / (1 - rho) Phi / A
    assert direct < desk < direct + 1.5 * 100.0 / walls


def test_change_a_scene() -> None:
    """A fixture hung higher over the bare box: less on the bed, both errors said, dimming exact."""
    text = run(ROOT / "docs" / "examples" / "change_a_scene.py")
    bed = number(r"whole bed: ([\d.]+) ±", text)
    assert 0 < bed < 2.6 / 0.06, "more than all of its light on the bed, or none"
    assert re.search(r"whole bed: .* simulation, \d+-\d+ in real tanks: \w+", text)
    assert number(r"at half power the middle reads ([\d.]+)", text) > 0
