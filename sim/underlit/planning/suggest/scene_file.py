"""A suggestion as a scene file of its own: the scene as its base, and the light as suggested."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from underlit.planning.based_scene import array_tables, rack_texts
from underlit.planning.chart.axes import is_file
from underlit.planning.suggest.suggestion import Suggestion
from underlit.scene import Fixture, Scene
from underlit.scene.keys import alternatives_of, hanging_keys


class NoFileError(ValueError):
    """Why a suggestion cannot be written as a scene, in words."""


def suggested_scene(one: Suggestion, rack: Scene, tank: int, out: Path) -> dict[Path, str]:
    """The texts of scene files that change a scene as suggested, by the path to be written to: `out`, and the file of the tank.

    rack: the scene as its file says it; tank: number in it of the tank that was asked about. Raises NoFileError where no
    file can say it.
    """
    scene = rack.tank_scenes[tank].path
    if scene is None:
        raise NoFileError("the scene was not read from a file")
    if not one.lid_kept:
        raise NoFileError("a scene file cannot remove the lid of its base; delete [lid] in the base")
    if any(_has_a_day(fixture) for fixture in one.scene.fixtures):
        raise NoFileError("its fixtures follow a schedule or a dimming curve; set those by hand")
    if not one.scene.fixtures:
        raise NoFileError("it leaves the light as it is")
    rows = []
    for fixture in one.scene.fixtures:
        own = fixture.name if one.hanging is None else one.hanging.kind.fixture.name
        source = None if one.hanging is None else one.hanging.kind.source
        table = (
            _raw(own, scene if source is None else Path(source), out.parent) if _by_file(source) else {"from": source}
        )
        rows.append(_as_suggested(table, fixture, one))
    note = "Found by `underlit suggest`. Trace it, compare it with its base, start dimmer and check with a meter."
    return rack_texts(rack, {tank: {"fixture": rows}}, out, note)


def _by_file(source: str | None) -> bool:
    return source is None or is_file(source)


def _has_a_day(fixture: Fixture) -> bool:
    parts = (fixture, *fixture.channels)
    return any(part.schedule is not None or part.dimming_curve is not None for part in parts)


def _raw(name: str, path: Path, to: Path) -> dict[str, Any]:
    """The table of a fixture as its file has it, paths as seen from the folder `to`."""
    rows, file = array_tables(path, to)
    found = next((row for row in rows if row.get("name", row.get("from", "fixture")) == name), None)
    if found is None:
        raise NoFileError(f"{file} does not describe fixture {name!r} itself")
    return found


def _dimming_keys(fixture: Fixture) -> tuple[str, ...]:
    return ("dimming", *alternatives_of(fixture, "dimming"))


def _as_suggested(table: dict[str, Any], fixture: Fixture, one: Suggestion) -> dict[str, Any]:
    shares = {s.channel: round(s.share, 4) for s in one.settings if s.fixture == fixture.name}
    alike = len(set(shares.values())) == 1
    hung = () if one.hanging is None else hanging_keys(fixture)
    changed = {key: value for key, value in table.items() if key not in (*hung, *_dimming_keys(fixture))}
    changed["name"] = fixture.name
    if one.hanging is not None and fixture.position is not None:
        changed["above_rim"] = f"{100 * one.hanging.above_rim_m:.6g} cm"
        changed["position"] = [f"{100 * at:.6g} cm" for at in fixture.position]
        changed["turn"] = f"{math.degrees(fixture.turn):.6g} deg"
        if "tilt" in fixture.model_fields_set:
            changed["tilt"] = f"{math.degrees(fixture.tilt):.6g} deg"
    changed["dimming"] = next(iter(shares.values())) if alike else 1.0
    if "channel" in table:
        levels = [1.0 if alike else shares[channel.get("name", "white")] for channel in table["channel"]]
        changed["channel"] = [
            {**{k: v for k, v in channel.items() if k not in _dimming_keys(fixture)}, "dimming": level}
            for channel, level in zip(table["channel"], levels, strict=True)
        ]
    elif not alike:
        raise NoFileError(
            "its channels are dimmed separately and come from the catalogue; write them out in a scene of your own"
        )
    return changed
