"""What the README says came out of the shipped scenes is what comes out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import underlit

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PHOTONS = 1 << 20
ROUNDING = 0.005
"""Relative: a change smaller than this need not be told in the README."""
FIGURES = r"([\d.]+) ± ([\d.]+) \((\d+)-(\d+)\), ([a-z ]+?) *"


def quoted(scene: str) -> dict[str, tuple[float, float, float, str]]:
    """(mean, low and high end of the real tank's range, verdict) by zone, from the README's table of a scene."""
    column = {"wide-tank-one": 0, "wide-tank-two": 1}.get(scene, 0)
    table = README.split(f"(scenes/{scene}.toml)", 1)[1].split("| zone |", 1)[1].split("\n\n", 1)[0]
    found = {}
    for line in table.splitlines()[2:]:
        name = line.split("|")[1].strip()
        mean, _, low, high, verdict = re.findall(FIGURES + r"\|", line)[column]
        found[name] = (float(mean), float(low), float(high), verdict)
    return found


@pytest.mark.parametrize("scene", ["wide-tank-one", "wide-tank-two", "under-the-wood", "carpet-plan"])
def test_quoted_zones(scene: str) -> None:
    """Means within six standard errors of a shorter trace, verdicts and ranges as said."""
    traced = underlit.trace(underlit.load_scene(ROOT / "scenes" / f"{scene}.toml"), photons=PHOTONS, seed=2)
    zones = {z.name: z for z in underlit.zone_reports(traced.lowered, traced.result) if z.band is not None}
    said = quoted(scene)
    assert set(said) == set(zones)
    for name, (mean, low, high, verdict) in said.items():
        zone = zones[name]
        assert zone.ppfd.half_width < 0.03 * zone.ppfd.value, "too blunt to hold the README to anything"
        allowed = ROUNDING * mean + 3 * zone.ppfd.half_width
        assert abs(zone.ppfd.value - mean) < allowed, f"{name}: README says {mean}, now {zone.ppfd.value:.2f}"
        # a shorter trace knows less of what other leaves would do: of its small traces few photons reach a shaded zone
        slack = 0.6 + 0.08 * mean + 3 * zone.ppfd.half_width
        assert zone.tank_low == pytest.approx(low, abs=slack)
        assert zone.tank_high == pytest.approx(high, abs=slack)
        assert zone.verdict == verdict, name
