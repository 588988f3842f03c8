"""One small tank, traced once, with a zone of every verdict; the reporting tests share it."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from underlit.planning.zones import ZoneReport, zone_reports
from underlit.run import Traced, trace
from underlit.scene import scene_from_dict

SCENES = Path(__file__).resolve().parents[2] / "scenes"

BED = [["2 cm", "2 cm"], ["28 cm", "18 cm"]]
TANK = {
    "title": "a tank [with] odd :names: in it",
    "tank": {"inside_size": ["30 cm", "20 cm", "20 cm"], "glass_thickness": "4 mm"},
    "water": {"above_bottom": "17 cm"},
    "substrate": {"material": "gravel", "depth": "2 cm"},
    "fixture": [
        {
            "name": "clip",
            "size": ["12 cm", "4 cm", "1 cm"],
            "leds": {"rows": 1, "columns": 4},
            "output": {"ppf": "3 umol/s"},
            "above_rim": "5 cm",
            "position": ["15 cm", "10 cm"],
        }
    ],
    "stone": [
        {"name": "emitted", "shape": "rounded", "size": ["4 cm", "4 cm", "4 cm"], "at": ["5 cm", "15 cm"], "seed": 2}
    ],
    "zone": [
        {"name": "shade lovers, in the very middle of the open bed", "rectangle": BED, "band": [1, 3]},
        {
            "name": "sun lovers [/b]",
            "rectangle": BED,
            "band": [200, 300],
            "why": "they would like it bright, very bright",
        },
        {"name": "content ones", "rectangle": BED, "band": [10, 60]},
        {"name": "on the edge", "rectangle": BED, "band": [30, 60]},
    ],
    "spot": [{"name": "centre", "at": ["15 cm", "10 cm"]}],
}


@lru_cache
def answer(photons: int = 1 << 19, threads: int | None = None, seed: int = 1) -> tuple[Traced, tuple[ZoneReport, ...]]:
    """The tank traced, and its zones' reports."""
    traced = trace(scene_from_dict(TANK), photons=photons, threads=threads, seed=seed)
    assert isinstance(traced, Traced)
    return traced, tuple(zone_reports(traced.lowered, traced.result))
