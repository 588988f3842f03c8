"""The report's page out of a traced scene."""

from __future__ import annotations

import base64
import tempfile
from pathlib import Path
from typing import Any

from underlit.lowering.scene import Lowered
from underlit.planning.candidates import kwh_a_year, watt_hours_a_day
from underlit.planning.ranges import both_errors
from underlit.planning.zones import Verdict, ZoneReport, zone_reports
from underlit.report.decisions.decision import RIGHT_AT
from underlit.report.files import overlay, overlays
from underlit.report.ledger import as_percentages, light_ledger, with_rest
from underlit.report.numbers import band_text, estimated, light, percent, span_text
from underlit.report.printout import (
    alone,
    by_verdict,
    kept,
    moved_most,
    tank_notes,
    value_of,
    without_error,
    worst_words,
)
from underlit.report.summary import SIMULATION_KEY, TANK_KEYS, as_estimate, lights_of, summarise
from underlit.run import Traced
from underlit.viz.overlay import Overlay
from underlit.viz.palette import both_units

PAPERS = {"a4": "A4", "letter": "Letter"}
"""Sizes the report prints on, by what the command calls them."""
TEMPLATE = Path(__file__).with_name("report.html")
PDF_LIBRARIES = "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
MARK = {
    Verdict.TOO_DIM: "▼",
    Verdict.RIGHT: "●",
    Verdict.BORDERLINE: "◐",
    Verdict.TOO_BRIGHT: "▲",
    Verdict.NO_TARGET: "",
}
"""Signs beside the words, so that a verdict reads without colour."""


def report_html(traced: Traced, *, price: float | None = None, paper: str = "a4") -> str:
    """The report of a traced scene as one HTML page with text, tables and pictures; it loads nothing from elsewhere.

    price: of a kWh, for the cost of a year; paper: "a4" or "letter", what it prints on. PPFD is in umol/m2/s. KeyError if
    there is no such paper, or the scene has no map of the substrate; OSError if there is no room for the pictures in the
    folder for temporary files.
    """
    from jinja2 import Environment, select_autoescape

    reports = zone_reports(traced.lowered, traced.result)
    summary = summarise(traced, reports)
    environment = Environment(autoescape=select_autoescape(default=True), trim_blocks=True, lstrip_blocks=True)
    environment.filters |= {
        "estimated": kept,
        "light": light,
        "percent": percent,
        "both_units": both_units,
        "share": lambda estimate: value_of(estimate, percent),
    }
    template = environment.from_string(TEMPLATE.read_text(encoding="utf-8"))
    return template.render(
        scene=traced.lowered.scene,
        summary=summary,
        zones=[_zone(report, summary["decision"]) for report in reports],
        moved=[(name, said) for name, said in moved_most(reports) if said],
        right_at=RIGHT_AT if summary["decision"]["zones"] else "",
        job=_job(traced.lowered, sum(report.band is not None for report in reports)),
        short=_short(reports),
        notes=tank_notes(summary),
        pictures=_pictures(traced, reports),
        ledger=as_percentages(with_rest(light_ledger(traced.result))),
        cost=_cost(traced.lowered, price),
        probes=_probes(summary),
        worst=worst_words(traced),
        paper=PAPERS[paper],
    )


def why_no_pdf() -> str:
    """What is missing to print a PDF and how to install it, in a line; empty where nothing is."""
    try:
        import weasyprint  # noqa: F401
    except ImportError as problem:
        return f"{problem.name} is not installed; install it with: pip install 'underlit[pdf]'"
    except OSError:
        return f"a system library is missing; on Debian: {PDF_LIBRARIES}"
    return ""


def report_pdf(html: str, path: Path) -> None:
    """Print a report's page as PDF, where `why_no_pdf` has nothing to say. OSError where not writable."""
    import weasyprint

    from underlit.results.atomic import atomic_path

    with atomic_path(path) as temporary:
        weasyprint.HTML(string=html).write_pdf(temporary)


# -- words -----------------------------------------------------------------------------------------------------------
def _job(lowered: Lowered, targets: int) -> str:
    scene = lowered.scene
    length, depth, height = scene.tank.inside_m
    lights = ", ".join(name for name, _ in lights_of(lowered))
    lid = (
        "without a lid"
        if scene.lid is None
        else f"under a lid of {1000 * scene.lid.thickness:.0f} mm {scene.lid.glass}"
    )
    whose = f"{len(lowered.rack)} tanks in a rack, the first" if scene.rack else "A tank"
    wish = f"{targets} zones have a target" if targets != 1 else "one zone has a target"
    return (
        f"{whose} of {both_units(length)} x {both_units(depth)} x {both_units(height)} inside, {lid}, lit by {lights}; "
        f"{wish}. This report tells how much light reaches each zone, how certain that is, and what to measure to check it."
    )


def _short(reports: list[ZoneReport]) -> list[tuple[str, str]]:
    """(verdict, names of the zones), verdicts that need a change first."""
    return [(f"{MARK[verdict]} {verdict}", ", ".join(r.name for r in those)) for verdict, those in by_verdict(reports)]


def _zone(report: ZoneReport, decision: dict[str, Any]) -> dict[str, object]:
    band, spread = report.band, report.spread
    return {
        "right_at": next((zone["right_at"] for zone in decision["zones"] if zone["name"] == report.name), ""),
        "name": report.name,
        "where": report.where,
        "ppfd": estimated(report.ppfd),
        "real": span_text(report.tank_low, report.tank_high),
        "band": band_text(band),
        "verdict": f"{MARK[report.verdict]} {report.verdict}",
        "word": str(report.verdict).replace(" ", "-"),
        "dli": f"{report.dli:.1f}",
        "dimmest": alone(spread.dimmest_tenth, light),
        "evenness": alone(spread.evenness, "{:.2f}".format),
        "share": alone(spread.share_in_band, percent),
        "why": "; ".join(t for t in (report.why, "" if band is None else band.note) if t),
    }


def _cost(lowered: Lowered, price: float | None) -> dict[str, str]:
    days = [watt_hours_a_day(fixture) for _, fixture in lights_of(lowered)]
    known = [day for day in days if day is not None]
    if len(known) < len(days):
        return {"energy": "unknown, because the watts of a light are not stated"}
    a_year = kwh_a_year(sum(known))
    said = {"energy": f"{sum(known):.0f} Wh a day, {a_year:.0f} kWh a year"}
    return said if price is None else said | {"cost": f"{a_year * price:.2f} a year at {price:g} a kWh"}


def _probes(summary: dict[str, Any]) -> list[dict[str, str]]:
    """Where to hold a meter, and the range that it should show."""
    probes = []
    for number, spot in enumerate(summary["spots"], 1):
        value = spot["ppfd_umol_m2_s"]
        place = [both_units(at) for at in spot["in_its_tank_m"]]
        factors = [spot[key] / value if value else 1.0 for key in TANK_KEYS]
        low, high = both_errors(value, spot[SIMULATION_KEY] or 0.0, (factors[0], factors[1]))
        probes.append(
            {
                "number": str(number), "name": spot["name"], "left": place[0], "front": place[1], "height": place[2],
                "expected": without_error(as_estimate(spot)), "between": f"{low:.0f}-{high:.0f}",
            }
        )  # fmt: skip
    return probes


# -- pictures --------------------------------------------------------------------------------------------------------
def _pictures(traced: Traced, reports: list[ZoneReport]) -> dict[str, object]:
    """Data addresses of the pictures; `view` is missing where there is no GL, `why` then says what to install."""
    from underlit.viz.sheets.fixture_sheet import write_fixture_sheets
    from underlit.viz.tank3d.stills import write_still

    marks = overlays(traced, reports)
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        found: dict[str, object] = {"why": write_still(traced.result, marks[""], work / "view.png")}
        if found["why"] is None:
            found["view"] = _address(work / "view.png")
        found["tanks"] = [_of_tank(name, tank, marks[name], work) for name, tank in traced.tanks.items()]
        lights = [fixture for _, fixture in lights_of(traced.lowered)]
        found["fixtures"] = [_address(path) for path in write_fixture_sheets(lights, work)]
    return found


def _of_tank(name: str, tank: Traced, marks: Overlay, work: Path) -> dict[str, str]:
    """The pictures of one tank of a rack."""
    from underlit.viz.figures import write_png
    from underlit.viz.maps.plan_map import write_plan_map
    from underlit.viz.maps.sections import draw_sections
    from underlit.viz.sheets.layout import write_layout

    plan, sections, layout = (work / f"{kind}.png" for kind in ("plan", "sections", "layout"))
    write_plan_map(tank.result, marks, plan)
    write_png(draw_sections(tank.result, marks), sections)
    write_layout(tank.lowered.compiled.meshes, overlay(tank.lowered), layout)
    return {"name": name, "plan": _address(plan), "sections": _address(sections), "layout": _address(layout)}


def _address(path: Path) -> str:
    return "data:image/png;base64," + base64.b64encode(path.read_bytes()).decode()
