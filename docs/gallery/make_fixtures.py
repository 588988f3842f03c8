"""Draw the sheets of the gallery's fixtures: python docs/gallery/make_fixtures.py"""

from __future__ import annotations

import io
import re
import tomllib
from pathlib import Path

from PIL import Image

from underlit.results.atomic import atomic_path
from underlit.scene import scene_from_dict
from underlit.viz.palette import PAPER
from underlit.viz.sheets.fixture_sheet import draw_fixture_sheet

FOLDER = Path(__file__).parent / "fixtures"
DPI = 100
COLOURS = 64
"""Enough for flat colours and smooth edges, and a third of the size."""
TANK = {"inside_size": ["90 cm", "45 cm", "45 cm"]}


def main() -> None:
    """Write one PNG for each [[fixture]] of fixtures.toml, named after it."""
    listed = tomllib.loads((FOLDER / "fixtures.toml").read_text("utf-8"))["fixture"]
    for said in listed:
        (fixture,) = scene_from_dict({"tank": TANK, "fixture": [said]}, folder=FOLDER).fixtures
        path = FOLDER / f"{re.sub('[^a-z0-9]+', '-', said['name'].lower())}.png"
        drawn = io.BytesIO()
        draw_fixture_sheet(fixture).savefig(drawn, dpi=DPI, facecolor=PAPER, format="png")
        with atomic_path(path) as temporary:
            Image.open(drawn).convert("RGB").quantize(COLOURS).save(temporary, format="png", optimize=True)
        print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB, {fixture.claimed_ppf:.3g} umol/s")


if __name__ == "__main__":
    main()
