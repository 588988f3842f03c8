"""Write a result's folder: summary, fields, 3D file, sheet, pictures.

Everything is made in a hidden folder first and then moved into place, file by file, so that a killed run leaves the files
of the run before, not half a file and not a mixture.
"""

from __future__ import annotations

import json
import os
import tempfile
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from underlit.lowering.fixtures import footprint
from underlit.lowering.records import Part, Role
from underlit.lowering.scene import Lowered
from underlit.planning.zones import ZoneReport
from underlit.report.numbers import estimated, known_to, light
from underlit.report.real_tank import real_tank
from underlit.report.summary import HIGH_KEY, LOW_KEY, SIMULATION_KEY, TANK_KEYS, summarise, versions
from underlit.results.atomic import temporary_folder, write_text
from underlit.results.csv_text import csv_text
from underlit.results.estimate import Estimate
from underlit.run import Traced
from underlit.scene import Scene
from underlit.text.file_name import named_for
from underlit.text.toml import read_text
from underlit.viz.overlay import FixtureMark, Overlay, SpotMark, ZoneMark, as_points

ZONE_COLUMNS = (
    "tank", "name", "where", "area_m2", "ppfd_umol_m2_s", SIMULATION_KEY, LOW_KEY, HIGH_KEY, *TANK_KEYS, "verdict",
    "dli_mol_m2_day",
)  # fmt: skip
SPREAD_COLUMNS = {
    "dimmest_tenth_umol_m2_s": "dimmest_tenth_umol_m2_s",
    "evenness": "evenness_dimmest_over_average",
    "share_of_area_in_band": "share_of_area_in_band",
}
"""Columns of zones.csv and the keys of the summary they come from."""


def overlay(
    lowered: Lowered, reports: Sequence[ZoneReport] = (), spots: Sequence[Estimate] = (), note: str = ""
) -> Overlay:
    """What the pictures of a tank show besides light: zones, spots, fixtures, measures.

    reports, spots: the light of its zones and its reading spots.
    """
    scene = lowered.scene
    by_name = {r.name: r for r in reports}
    zones = []
    for place in lowered.own_zones[1:]:
        if place.outline is None:
            continue
        r = by_name.get(place.own_name)
        text = "" if r is None else estimated(r.ppfd)
        if r is not None and r.band is not None:
            text += f", {r.verdict}"
        zones.append(ZoneMark(place.own_name, as_points(place.outline), text))
    marks = []
    for i, spot in enumerate(scene.spots):
        x, y, z = scene.spot_centre_m(spot)
        marks.append(SpotMark(spot.name, (x, y), _on_map(spots[i]) if spots else "", z))
    fixtures = []
    bodies = {mesh.part: mesh for mesh in lowered.compiled.plain_meshes}
    for fixture in scene.fixtures:
        heights = bodies[Part(fixture.name, Role.FIXTURE, tank=lowered.tank)].vertices[:, 2]
        low, high = float(heights.min()), float(heights.max())
        fixtures.append(FixtureMark(fixture.name, as_points(footprint(scene, fixture)), low, high))
    length, depth, height = scene.tank.inside_m
    panes = () if scene.tank.is_box else (scene.tank.inside_outline.points, scene.tank.outside_outline.points)
    return Overlay(
        length, depth, height, scene.tank.wall_thickness_m, scene.water_level_m, tuple(zones), tuple(marks),
        tuple(fixtures), None, scene.title, note, *panes,
    )  # fmt: skip


def _on_map(found: Estimate) -> str:
    """A spot's light on a picture: its value, or how far it is known where few hits were counted."""
    return estimated(found) if found.few else light(found.value)


def overlays(traced: Traced, reports: Sequence[ZoneReport], note: str = "") -> dict[str, Overlay]:
    """The overlay of each tank of a rack with its light, by the name of the tank."""
    of_tank: dict[str, list[ZoneReport]] = {}
    for place, report in zip(traced.lowered.zones, reports, strict=True):
        of_tank.setdefault(place.tank_name, []).append(replace(report, name=place.own_name))
    return {
        name: overlay(tank.lowered, of_tank[name], tank.result.head_estimates(), note)
        for name, tank in traced.tanks.items()
    }


def zones_csv(summary: dict[str, Any]) -> str:
    """The zones of a summary as csv text."""
    return csv_text(_zone_row(zone) for zone in summary["zones"])


def _zone_row(zone: dict[str, Any]) -> dict[str, Any]:
    low, high = zone["band_umol_m2_s"] or (None, None)
    return {
        **{column: zone[column] for column in ZONE_COLUMNS},
        "band_low_umol_m2_s": low,
        "band_high_umol_m2_s": high,
        **{column: zone[key] and zone[key]["value"] for column, key in SPREAD_COLUMNS.items()},
    }


def scene_texts(scene: Scene) -> dict[str, str]:
    """The scene's file, bases under it, a user's own entries in it and the tanks of its rack, text by path.

    To be read when the scene is.
    """
    texts: dict[str, str] = {}
    path = scene.path
    while path is not None and str(path) not in texts:
        text = read_text(path)
        texts[str(path)] = text
        base = tomllib.loads(text).get("base")
        path = path.parent / base if isinstance(base, str) else None
    own = [entry.file for entry in scene.entries if entry.own]
    texts |= {str(file): read_text(file) for file in own}
    for tank in scene.rack:
        texts |= scene_texts(tank.scene)
    return texts


def why_not_writable(folder: Path) -> str | None:
    """Why a result cannot be written into a folder (None: it can); asked before the work, makes nothing."""
    place = folder
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        return f"{place} is a file; name a folder" if place == folder else f"{place} is a file, not a folder"
    try:
        with tempfile.TemporaryFile(dir=place):
            return None
    except OSError as problem:
        return f"cannot write there ({problem.strerror or problem})"


def write_folder(
    traced: Traced, reports: Sequence[ZoneReport], folder: Path, texts: dict[str, str] | None = None
) -> list[str]:
    """Write all files of a result into a folder (made if missing). Returns lines to tell, such as a picture left out.

    texts: the scene as traced, see `scene_texts`. Raises OSError where a file cannot be written; files of an earlier
    result are then still whole and together.
    """
    from underlit.viz.tank3d.surfaces import write_vtm

    summary = summarise(traced, list(reports))
    told: list[str] = []
    with temporary_folder(folder / "result.files") as work:
        told += _write_parts(traced, reports, summary, work, texts or {})
        try:
            write_vtm(traced.result, folder / "view.vtm")
        except ImportError:
            told.append("view.vtm was left out: pyvista is not installed; install it with: pip install pyvista")
        pictures = {
            path.name
            for place in (work, folder)
            for kind in ("fixture-*.png", "substrate*.png")
            for path in place.glob(kind)
        }
        for name in ("result.nc", "summary.json", "zones.csv", "view.png", *sorted(pictures)):
            made, target = work / name, folder / name
            if made.exists():
                os.replace(made, target)
            else:
                # A picture of another trace must not stay beside this one's numbers.
                target.unlink(missing_ok=True)
    return told


def _write_parts(
    traced: Traced, reports: Sequence[ZoneReport], summary: dict[str, Any], work: Path, texts: dict[str, str]
) -> list[str]:
    from underlit.results.store import write_fields
    from underlit.viz.maps.plan_map import write_plan_map
    from underlit.viz.sheets.fixture_sheet import write_fixture_sheets
    from underlit.viz.tank3d.stills import write_still

    text = json.dumps(summary, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    write_text(work / "summary.json", text)
    write_text(work / "zones.csv", zones_csv(summary))
    provenance = {
        "scene_file": summary["scene_file"] or "",
        "scene_text": next(iter(texts.values()), ""),
        "base_texts": {Path(name).name: base for name, base in list(texts.items())[1:]},
        "versions": versions(),
    }
    try:
        write_fields(traced.result, work / "result.nc", provenance, real_tank(traced, reports))
    except RuntimeError as problem:
        # what the netCDF library says of a full disk
        raise OSError(str(problem)) from problem
    note = f"largest simulation error: {known_to(traced.worst_name, traced.worst_relative)}"
    marks = overlays(traced, reports, note)
    for name, tank in traced.tanks.items():
        write_plan_map(tank.result, marks[name], work / f"{named_for('substrate', name)}.png")
    write_fixture_sheets([f for built in traced.lowered.rack for f in built.scene.fixtures], work)
    missing = write_still(traced.result, marks[""], work / "view.png")
    return [] if missing is None else [missing]
