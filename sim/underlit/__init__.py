"""Predict PPFD, with its error, on every surface of a planted freshwater aquarium.

    import underlit

    scene = underlit.load_scene("scenes/carpet-plan.toml")
    traced = underlit.trace(scene, precision=0.01)
    for zone in underlit.zone_reports(traced.lowered, traced.result):
        print(zone.name, zone.ppfd.value, zone.ppfd.half_width, zone.verdict)

Names are imported when first used, so that `import underlit` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from underlit.version import VERSION

if TYPE_CHECKING:
    from underlit.lowering.compiled import CompiledScene, Grid
    from underlit.lowering.records import Role
    from underlit.lowering.scene import Lowered, lower
    from underlit.lowering.world import World, box, rectangle
    from underlit.planning.candidates import candidate
    from underlit.planning.chart import make_chart
    from underlit.planning.compare import compare, trace_paired
    from underlit.planning.dose import dose
    from underlit.planning.plant_map import plant_map
    from underlit.planning.profile import profile_at
    from underlit.planning.suggest import suggest
    from underlit.planning.zones import ZoneReport, zone_reports
    from underlit.report.page import report_html
    from underlit.results.result import Field, Result
    from underlit.run import StoppingRule, Traced, trace, trace_compiled
    from underlit.scene import Scene, SceneError, load_scene, scene_from_dict


__version__ = VERSION

_HOMES = {
    "lowering.compiled": ("CompiledScene", "Grid"),
    "lowering.records": ("Role",),
    "lowering.scene": ("Lowered", "lower"),
    "lowering.world": ("World", "box", "rectangle"),
    "planning.candidates": ("candidate",),
    "planning.chart": ("make_chart",),
    "planning.compare": ("compare", "trace_paired"),
    "planning.dose": ("dose",),
    "planning.plant_map": ("plant_map",),
    "planning.profile": ("profile_at",),
    "planning.suggest": ("suggest",),
    "planning.zones": ("ZoneReport", "zone_reports"),
    "report.page": ("report_html",),
    "results.result": ("Field", "Result"),
    "run": ("StoppingRule", "Traced", "trace", "trace_compiled"),
    "scene": ("Scene", "SceneError", "load_scene", "scene_from_dict"),
}
"""Where each name lives, module by module."""

__all__ = [
    "CompiledScene",
    "Field",
    "Grid",
    "Lowered",
    "Result",
    "Role",
    "Scene",
    "SceneError",
    "StoppingRule",
    "Traced",
    "World",
    "ZoneReport",
    "__version__",
    "box",
    "candidate",
    "compare",
    "dose",
    "load_scene",
    "lower",
    "make_chart",
    "plant_map",
    "profile_at",
    "rectangle",
    "report_html",
    "scene_from_dict",
    "suggest",
    "trace",
    "trace_compiled",
    "trace_paired",
    "zone_reports",
]


def __getattr__(name: str) -> Any:
    home = next((module for module, names in _HOMES.items() if name in names), None)
    if home is None:
        raise AttributeError(f"module 'underlit' has no attribute {name!r}")
    return getattr(import_module(f"underlit.{home}"), name)
