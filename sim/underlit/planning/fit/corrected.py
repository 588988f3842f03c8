"""The scene that a fit found, as a scene file of its own: the scene as its base, and the keys that changed.

Fixtures are written as their file has them, with output and beam as found. Carried into another tank, only these two go
along. Of a rack, each file that changes is corrected by itself: that of the tank that was read, and those whose lights were
corrected; the rack's file then names the corrected ones.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date as Date
from pathlib import Path
from typing import Any

from underlit.lowering.records import Part
from underlit.planning.based_scene import array_tables, based_scene, rack_places, rack_texts
from underlit.planning.fit.estimate import Fitted
from underlit.planning.fit.parameters import Kind, fixture_part
from underlit.planning.fit.remembered import Source, all_lights, measured_table, value_of
from underlit.planning.makes import by_make
from underlit.scene.lights.fixture import Fixture
from underlit.scene.lights.output import MOST_EFFICACY
from underlit.scene.model import Scene
from underlit.scene.standing import standing

OF_TANK = (Kind.LID, Kind.GROWTH, Kind.TINT, Kind.BACKING)
"""What stays with the tank that was read."""


class NotCarriedError(ValueError):
    """The fitted fixture cannot be told among another scene's; the text says why."""


def corrected_text(fitted: Fitted, out: Path, *, note: str = "", file: str = "") -> str:
    """The corrected scene as TOML, to be written to `out`; paths in it are relative to its folder. file: of the readings.

    Raises ValueError where the scene was not read from a file, or where files of other tanks of its rack must be corrected
    too (`corrected_files`).
    """
    scene = fitted.model.scene
    if len(corrected_places(scene, 0, out)) > 1:
        raise ValueError("the lights of this rack stand in several scene files: fit it with underlit fit")
    return corrected_files(fitted, scene, 0, out, note=note, file=file)[out]


def corrected_files(
    fitted: Fitted, rack: Scene, read: int, out: Path, *, note: str = "", file: str = ""
) -> dict[Path, str]:
    """The corrected scenes as TOML by the path to be written to: `out` and, beside it, other tanks of the rack that change.

    rack: the scene as its file says it; read: number in it of the tank that was read and that the fit was seen from.
    Raises ValueError where a scene was not read from a file.
    """
    # seen from the tank that was read, that tank comes first and the others follow in their order
    seen = [read, *(number for number in range(len(rack.tank_scenes)) if number != read)]
    changed: dict[int, dict[str, Any]] = {}
    for number in corrected_places(rack, read, out):
        each = rack.tank_scenes[number]
        changed[number] = tables = _tank_tables(fitted, OF_TANK) if number == read else {}
        if each.fixtures and each.path is not None:
            tables["fixture"] = _fixtures(fitted, each.path, out, seen.index(number))
        if each.fixtures or number == read:
            lights = {fixture.name: fixture_part(fixture, seen.index(number)) for fixture in each.fixtures}
            source = Source(Date.today(), file, own=number == read)
            tables["measured"] = measured_table(fitted, source, lights, OF_TANK if number == read else ())
    return rack_texts(rack, changed, out, note)


def corrected_places(rack: Scene, read: int, out: Path) -> dict[int, Path]:
    """Where each corrected scene of a rack goes, by number of its tank; the rack's own goes to `out`, and is always there."""
    return rack_places(rack, [k for k, each in enumerate(rack.tank_scenes) if k == read or each.fixtures], out)


def carried_text(
    fitted: Fitted, other: Scene, out: Path, *, water: bool = False, note: str = "", file: str = ""
) -> str:
    """Another scene with the output and the beam of the fitted fixtures, as TOML; nothing of the tank goes along, but the
    tint where the water is the same (`water`).

    A fixture of the other scene is the fitted one of its name; where both scenes have one make of fixture, names do not
    matter. Raises NotCarriedError where that leaves it open, ValueError where a scene was not read from a file.
    """
    if other.path is None:
        raise ValueError("the other scene was not read from a file, so nothing can be based on it")
    reason = why_not_carried(fitted.model.scene, other)
    if reason:
        raise NotCarriedError(reason)
    kinds = (Kind.TINT,) if water else ()
    fixtures, _ = array_tables(other.path, out.parent)
    lights = {fixture.name: _fitted_light(fitted.model.scene, fixture) for fixture in other.fixtures}
    for table, fixture in zip(fixtures, other.fixtures, strict=True):
        _correct(table, fixture, fitted, lights[fixture.name])
    source = Source(Date.today(), file, own=False)
    tables = _tank_tables(fitted, kinds) | {"fixture": fixtures}
    tables["measured"] = measured_table(fitted, source, lights, kinds, standing(other))
    return based_scene(other.path, out, tables, note)


def why_not_carried(fitted: Scene, other: Scene) -> str:
    """Why the fixtures of a fitted scene cannot be told among another's, or nothing where they can."""
    lights = all_lights(fitted)
    names = {light.part for light, _ in lights}
    strange = [fixture.name for fixture in other.fixtures if fixture.name not in names]
    if not other.fixtures:
        return f"{other.path}: the scene has no fixture that could take over the fitted light"
    if _one_make(fitted, other):
        return ""
    twice = next((f.name for f in other.fixtures if sum(light.part == f.name for light, _ in lights) > 1), None)
    if twice is not None:
        return f"{other.path}: several tanks of the rack have a fixture {twice!r}; give them different names"
    if not strange:
        return ""
    known = ", ".join(repr(name) for name in sorted(names))
    return (
        f"{other.path}: fixture {strange[0]!r} is not one of the fitted fixtures; give it one of their names: {known}"
    )


def _tank_tables(fitted: Fitted, kinds: Collection[Kind]) -> dict[str, Any]:
    tables: dict[str, Any] = {}
    for k, parameter in enumerate(fitted.parameters):
        value = value_of(fitted, k)
        if parameter.kind not in kinds:
            continue
        if parameter.kind is Kind.LID:
            tables["lid"] = {"dirt": value}
        elif parameter.kind is Kind.TINT:
            tables.setdefault("water", {})["tannin"] = {"a440_per_m": value, "slope_per_nm": parameter.slope_per_nm}
        elif parameter.kind in (Kind.GROWTH, Kind.BACKING):
            key = "returned_per_reflection" if parameter.kind is Kind.GROWTH else "reflectance"
            for side in parameter.of:
                tables.setdefault("tank", {}).setdefault(side, {})[key] = value
    return tables


def _fixtures(fitted: Fitted, path: Path, out: Path, tank: int) -> list[dict[str, Any]]:
    """The fixtures of a tank that was fitted, as its file has them, with the fitted output and beam."""
    tables, _ = array_tables(path, out.parent)
    for table, fixture in zip(tables, fitted.model.scene.tank_scenes[tank].fixtures, strict=True):
        _correct(table, fixture, fitted, fixture_part(fixture, tank))
    return tables


def _correct(table: dict[str, Any], fixture: Fixture, fitted: Fitted, light: Part) -> None:
    """Put the output and the beam that were found for a light into the table of a fixture."""
    found = {p.kind: fitted.value(k) for k, p in enumerate(fitted.parameters) if light in p.lights}
    claimed = next(own.claimed_ppf for known, own in all_lights(fitted.model.scene) if known == light)
    table["output"] = _output(fixture, claimed * found[Kind.OUTPUT])
    if fixture.length is None and "size" not in fixture.model_fields_set:
        # taken from the output where not said: an output that was fitted must not change it
        table["size"] = [f"{side!r} m" for side in fixture.size]
    if Kind.BEAM in found:
        table["lens"] = {"beam_angle": f"{found[Kind.BEAM]:.4f} deg"}


def _fitted_light(fitted: Scene, fixture: Fixture) -> Part:
    """The light of a fitted scene that a fixture of another scene is: that of its name, or of the only make."""
    lights = [light for light, _ in all_lights(fitted)]
    return next((light for light in lights if light.part == fixture.name), lights[0])


def _one_make(fitted: Scene, other: Scene) -> bool:
    return len(by_make(fixture for _, fixture in all_lights(fitted))) == 1 and len(by_make(other.fixtures)) == 1


def _output(fixture: Fixture, ppf: float) -> dict[str, str]:
    said = {"ppf": f"{ppf:.6g} umol/s"}
    watts = fixture.output.watts
    if watts is not None and ppf < MOST_EFFICACY * watts:
        said["watts"] = f"{watts:g} W"
    return said
