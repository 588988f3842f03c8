"""Write a result's folder: summary, fields, 3D file, sheet, pictures. Each file is whole or not there."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import numpy as np

from underlit.lowering.lights import footprint
from underlit.lowering.scene import Lowered
from underlit.planning.zones import ZoneReport
from underlit.report.printout import error, light
from underlit.report.summary import summarise, versions
from underlit.results.atomic import write_text
from underlit.run import Traced
from underlit.viz.overlay import FixtureMark, Overlay, SpotMark, ZoneMark, as_points

ZONE_COLUMNS = (
    "name", "where", "area_m2", "ppfd_umol_m2_s", "counting_error_95_umol_m2_s", "not_known_about_tank_95_umol_m2_s",
    "verdict", "dli_mol_m2_day",
)  # fmt: skip


def overlay(lowered: Lowered, reports: list[ZoneReport] | None = None, spots: list[dict[str, Any]] | None = None,
            note: str = "") -> Overlay:  # fmt: skip
    """What the pictures show besides light: zones, spots, fixtures, measures."""
    scene = lowered.scene
    by_name = {r.name: r for r in reports or []}
    zones = []
    for place in lowered.zones[1:]:
        if place.outline is None:
            continue
        r = by_name.get(place.name)
        text = "" if r is None else f"{light(r.ppfd.value)} ± {error(r.ppfd.half_width)}"
        if r is not None and r.band is not None:
            text += f", {r.verdict}"
        zones.append(ZoneMark(place.name, as_points(place.outline), text))
    marks = []
    for i, spot in enumerate(scene.spots):
        x, y, z = scene.spot_centre_m(spot)
        text = light(spots[i]["ppfd_umol_m2_s"]) if spots else ""
        marks.append(SpotMark(spot.name, (x, y), text, z))
    fixtures = []
    meshes = {m.name: m for m in lowered.plan.meshes}
    for fixture in scene.fixtures:
        z = meshes[fixture.name].vertices[:, 2]
        fixtures.append(FixtureMark(fixture.name, as_points(footprint(scene, fixture)), float(z.min()), float(z.max())))
    length, depth, height = scene.tank.inside_m
    return Overlay(
        length, depth, height, scene.tank.wall_thickness_m, scene.water_level_m, tuple(zones), tuple(marks),
        tuple(fixtures), None, scene.title, note,
    )  # fmt: skip


def zones_csv(summary: dict[str, Any]) -> str:
    """The zones as a sheet."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    extra = (
        "band_low_umol_m2_s",
        "band_high_umol_m2_s",
        "dimmest_tenth_umol_m2_s",
        "evenness",
        "share_of_area_in_band",
    )
    writer.writerow([*ZONE_COLUMNS, *extra])
    for zone in summary["zones"]:
        low, high = zone["band_umol_m2_s"] or (None, None)
        spread = [
            None if zone[key] is None else zone[key]["value"]
            for key in ("dimmest_tenth_umol_m2_s", "evenness_dimmest_over_average", "share_of_area_in_band")
        ]
        writer.writerow([*(zone[c] for c in ZONE_COLUMNS), low, high, *spread])
    return text.getvalue()


def write_folder(traced: Traced, reports: list[ZoneReport], folder: Path) -> list[str]:
    """Write all files of a result into a folder (made if missing). Returns lines to tell, such as a picture left out."""
    from underlit.results.store import write_fields
    from underlit.viz.plan_map import write_plan_map
    from underlit.viz.stills import write_still
    from underlit.viz.surfaces import write_vtm

    folder.mkdir(parents=True, exist_ok=True)
    summary = summarise(traced, reports)
    write_text(folder / "summary.json", json.dumps(summary, indent=2, ensure_ascii=False) + "\n")
    write_text(folder / "zones.csv", zones_csv(summary))
    path = traced.lowered.scene.path
    provenance = {
        "scene_file": path.name if path else "",
        "scene_text": path.read_text(encoding="utf-8") if path else "",
        "versions": versions(),
    }
    write_fields(traced.result, folder / "result.nc", provenance)
    worst = f"{traced.worst_name} ± {traced.worst_relative:.1%}" if np.isfinite(traced.worst_relative) else ""
    marks = overlay(traced.lowered, reports, summary["spots"], f"counting error at worst: {worst}" if worst else "")
    write_plan_map(traced.result, marks, folder / "substrate.png")
    told = []
    try:
        write_vtm(traced.result, folder / "view.vtm")
    except ImportError:
        told.append("view.vtm was left out: pyvista is not installed; install it with: pip install pyvista")
    missing = write_still(traced.result, marks, folder / "view.png")
    if missing is not None:
        told.append(missing)
    return told
