"""How long answers take that need no new trace: dimming, verdicts, a profile, a comparison, from results that are kept.

Dimming answers from kept results are to come in under 50 ms.
"""

from __future__ import annotations

from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from measure import Report, in_turn

ROOT = Path(__file__).resolve().parent.parent
SCENE = ROOT / "scenes" / "carpet-plan.toml"
AIM_MS = 50


def run(quick: bool) -> Report:
    """Trace one planted tank, keep it, then ask it."""
    from underlit.lowering.scene import lower
    from underlit.planning.candidates import candidate
    from underlit.planning.compare import compare
    from underlit.planning.dose import dose
    from underlit.planning.profile import profile_at
    from underlit.planning.vertical_profiles import square
    from underlit.planning.zones import zone_reports
    from underlit.results.store import load_result, write_fields
    from underlit.run import trace
    from underlit.scene import load_scene

    report = Report(f"decide: answers without a trace (to reach for dimming: {AIM_MS} ms)")
    traced = trace(lower(load_scene(SCENE)), photons=1 << (19 if quick else 21))
    lowered, result = traced.lowered, traced.result
    with TemporaryDirectory() as folder:
        write_fields(result, Path(folder) / "result.nc")
        kept = load_result(Path(folder) / "result.nc")
    name = result.compiled.sources[0].name
    level = iter(range(1, 100_000))

    def dimming() -> dict[str, float]:
        return {name: 0.3 + 0.6 * (next(level) % 97) / 97}

    side = candidate("stored", traced)
    tasks = {
        "zones and spots at another dimming": lambda: (r := result.dimmed(dimming())).zones() | r.heads(),
        "the same from a file read back": lambda: (r := kept.dimmed(dimming())).zones() | r.heads(),
        "map of the substrate at another dimming": lambda: result.dimmed(dimming()).bed(),
        "verdicts, evenness and DLI at another dimming": lambda: zone_reports(lowered, result.dimmed(dimming())),
        "profile over a spot": lambda: profile_at(lowered, result, "spot", square(0.44, 0.2)),
        "comparison of two kept results": lambda: compare([side, side]),
        "days, years and every dimming step": lambda: dose(lowered, result),
    }
    for label, seconds in zip(tasks, in_turn(5 if quick else 15, *tasks.values()), strict=True):
        report.add(label, 1e3 * median(seconds), "ms", f"{label.replace(',', '').replace(' ', '_')}_ms")
    return report
