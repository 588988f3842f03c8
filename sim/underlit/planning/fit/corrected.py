"""The scene that a fit found, as a scene file of its own: the scene as its base, and the keys that changed.

Fixtures are written as their file has them, with output and beam as found. Carried into another tank, only these two go
along.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from underlit.planning.based_scene import based_scene, fixture_tables
from underlit.planning.fit.estimate import Fitted
from underlit.planning.fit.parameters import Kind, Parameter
from underlit.planning.makes import by_make
from underlit.scene.lights.fixture import Fixture
from underlit.scene.lights.output import MOST_EFFICACY
from underlit.scene.model import Scene


class NotCarriedError(ValueError):
    """The fitted fixture cannot be told among another scene's; the text says why."""


def corrected_text(fitted: Fitted, out: Path, *, note: str = "") -> str:
    """The corrected scene as TOML, to be written to `out`; paths in it are relative to its folder.

    Raises ValueError where the scene was not read from a file.
    """
    scene = fitted.model.scene
    if scene.path is None:
        raise ValueError("the scene was not read from a file, so nothing can be based on it")
    tables = {**_tank_tables(fitted), "fixture": _fixtures(fitted, scene, scene.path, out)}
    return based_scene(scene.path, out, tables, note)


def carried_text(fitted: Fitted, other: Scene, out: Path, *, note: str = "") -> str:
    """Another scene with the output and the beam of the fitted fixtures, as TOML; nothing of the tank goes along.

    A fixture of the other scene is the fitted one of its name; where both scenes have one make of fixture, names do not
    matter. Raises NotCarriedError where that leaves it open, ValueError where a scene was not read from a file.
    """
    if other.path is None:
        raise ValueError("the other scene was not read from a file, so nothing can be based on it")
    reason = why_not_carried(fitted.model.scene, other)
    if reason:
        raise NotCarriedError(reason)
    return based_scene(other.path, out, {"fixture": _fixtures(fitted, other, other.path, out)}, note)


def why_not_carried(fitted: Scene, other: Scene) -> str:
    """Why the fixtures of a fitted scene cannot be told among another's, or nothing where they can."""
    names = {fixture.name for fixture in fitted.fixtures}
    strange = [fixture.name for fixture in other.fixtures if fixture.name not in names]
    if not other.fixtures:
        return f"{other.path}: the scene has no fixture that could take over the fitted light"
    if not strange or _one_make(fitted, other):
        return ""
    known = ", ".join(repr(name) for name in sorted(names))
    return (
        f"{other.path}: fixture {strange[0]!r} is not one of the fitted fixtures; give it one of their names: {known}"
    )


def _tank_tables(fitted: Fitted) -> dict[str, Any]:
    tables: dict[str, Any] = {}
    for k, parameter in enumerate(fitted.parameters):
        value = _rounded(fitted.value(k))
        if parameter.kind is Kind.LID:
            tables["lid"] = {"dirt": value}
        elif parameter.kind is Kind.TINT:
            tables.setdefault("water", {})["tannin"] = {"a440_per_m": value, "slope_per_nm": parameter.slope_per_nm}
        elif parameter.kind in (Kind.GROWTH, Kind.BACKING):
            key = "returned_per_reflection" if parameter.kind is Kind.GROWTH else "reflectance"
            for side in parameter.of:
                tables.setdefault("tank", {}).setdefault(side, {})[key] = value
    return tables


def _rounded(value: float) -> float:
    return float(f"{value:.6g}")


def _fixtures(fitted: Fitted, scene: Scene, path: Path, out: Path) -> list[dict[str, Any]]:
    """The fixtures of a scene as its file has them, with the fitted output and beam."""
    tables, _ = fixture_tables(path, out.parent)
    for table, fixture in zip(tables, scene.fixtures, strict=True):
        found = {p.kind: fitted.value(k) for k, p in enumerate(fitted.parameters) if _is_of(p, fixture, fitted, scene)}
        table["output"] = _output(fixture, _claimed(fitted, fixture) * found[Kind.OUTPUT])
        if fixture.length is None and "size" not in fixture.model_fields_set:
            # taken from the output where not said: an output that was fitted must not change it
            table["size"] = [f"{side!r} m" for side in fixture.size]
        if Kind.BEAM in found:
            table["lens"] = {"beam_angle": f"{found[Kind.BEAM]:.4f} deg"}
    return tables


def _is_of(parameter: Parameter, fixture: Fixture, fitted: Fitted, scene: Scene) -> bool:
    if parameter.kind not in (Kind.OUTPUT, Kind.BEAM):
        return False
    return fixture.name in parameter.of or (scene is not fitted.model.scene and _one_make(fitted.model.scene, scene))


def _one_make(fitted: Scene, other: Scene) -> bool:
    return len(by_make(fitted.fixtures)) == 1 and len(by_make(other.fixtures)) == 1


def _claimed(fitted: Fitted, fixture: Fixture) -> float:
    """PPF that the fitted scene claims for a fixture, or for its only make."""
    own = fitted.model.scene.fixtures
    return next((f for f in own if f.name == fixture.name), own[0]).claimed_ppf


def _output(fixture: Fixture, ppf: float) -> dict[str, str]:
    said = {"ppf": f"{ppf:.6g} umol/s"}
    watts = fixture.output.watts
    if watts is not None and ppf < MOST_EFFICACY * watts:
        said["watts"] = f"{watts:g} W"
    return said
