"""The scene that a fit found, as a scene file of its own: the scene as its base, and the keys that changed.

Tables of a base are merged but arrays of tables replaced, so the fixtures are written out whole, as the file under it
has them, with output and beam as found. Carried into another tank, only these two go along.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from underlit.planning.fit.estimate import Fitted
from underlit.planning.fit.parameters import Kind, Parameter, makes
from underlit.scene.keys import path_keys
from underlit.scene.lights import Fixture
from underlit.scene.lights.output import MOST_EFFICACY
from underlit.scene.model import Scene
from underlit.text.toml import read_toml

_BARE = re.compile(r"[A-Za-z0-9_-]+")


class NotCarriedError(ValueError):
    """The fitted fixture cannot be told among another scene's; the text says why."""


def corrected_text(fitted: Fitted, out: Path, *, note: str = "") -> str:
    """The corrected scene as TOML, to be written to `out`; paths in it are relative to its folder.

    Raises ValueError where the scene was not read from a file.
    """
    scene = fitted.model.scene
    if scene.path is None:
        raise ValueError("the scene was not read from a file, so nothing can be based on it")
    return _text(out, scene.path, _tank_tables(fitted), _fixtures(fitted, scene, scene.path, out), note)


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
    return _text(out, other.path, {}, _fixtures(fitted, other, other.path, out), note)


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


# -- what changed -----------------------------------------------------------------------------------------------
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
    tables, folder = _own_fixtures(path)
    changed = []
    for table, fixture in zip(tables, scene.fixtures, strict=True):
        table = _moved(table, folder, out.parent)
        found = {p.kind: fitted.value(k) for k, p in enumerate(fitted.parameters) if _is_of(p, fixture, fitted, scene)}
        table["output"] = _output(fixture, _claimed(fitted, fixture) * found[Kind.OUTPUT])
        if fixture.length is None and "size" not in fixture.model_fields_set:
            # taken from the output where not said: an output that was fitted must not change it
            table["size"] = [f"{side!r} m" for side in fixture.size]
        if Kind.BEAM in found:
            table["lens"] = {"beam_angle": f"{found[Kind.BEAM]:.4f} deg"}
        changed.append(table)
    return changed


def _is_of(parameter: Parameter, fixture: Fixture, fitted: Fitted, scene: Scene) -> bool:
    if parameter.kind not in (Kind.OUTPUT, Kind.BEAM):
        return False
    return fixture.name in parameter.of or (scene is not fitted.model.scene and _one_make(fitted.model.scene, scene))


def _one_make(fitted: Scene, other: Scene) -> bool:
    return len(makes(fitted)) == 1 and len(makes(other)) == 1


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


# -- files ------------------------------------------------------------------------------------------------------
def _own_fixtures(path: Path) -> tuple[list[dict[str, Any]], Path]:
    """The fixture tables of the topmost file that has any, and the folder its paths are relative to."""
    data, _ = read_toml(path)
    if isinstance(data.get("fixture"), list):
        return data["fixture"], path.parent
    return _own_fixtures(path.parent / data["base"])


def _moved(value: Any, folder: Path, to: Path, key: str = "") -> Any:
    """The same tables with their paths, relative to `folder`, made relative to `to`."""
    if isinstance(value, dict):
        return {name: _moved(inner, folder, to, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_moved(inner, folder, to) for inner in value]
    return relative(folder / value, to) if key in path_keys() and isinstance(value, str) and value else value


def relative(path: Path, folder: Path) -> str:
    """A path as seen from a folder, with forward slashes; absolute where they are on different drives."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def _text(out: Path, base: Path, tables: dict[str, Any], fixtures: list[dict[str, Any]], note: str) -> str:
    said = "".join(f"# {line}\n" for line in note.splitlines())
    return said + toml_text({"base": relative(base, out.parent), **tables, "fixture": fixtures})


def toml_text(tables: dict[str, Any]) -> str:
    """Tables, lists and values as TOML: tables under headings, tables of fixtures and channels as arrays, others
    inline."""
    lines = [f"{_key(key)} = {_value(value)}" for key, value in tables.items() if not _is_table(value)]
    for path, table in _headed({key: value for key, value in tables.items() if isinstance(value, dict)}, ()):
        lines += [
            "",
            f"[{'.'.join(_key(part) for part in path)}]",
            *(f"{_key(k)} = {_value(v)}" for k, v in table.items()),
        ]
    for name, rows in tables.items():
        if isinstance(rows, list) and _is_table(rows):
            for row in rows:
                lines += _array_row(name, row)
    return "\n".join(lines) + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _array_row(name: str, row: dict[str, Any]) -> list[str]:
    channels = row.get("channel", [])
    lines = ["", f"[[{name}]]", *(f"{_key(k)} = {_value(v)}" for k, v in row.items() if k != "channel")]
    for channel in channels:
        lines += ["", f"[[{name}.channel]]", *(f"{_key(k)} = {_value(v)}" for k, v in channel.items())]
    return lines


def _headed(table: dict[str, Any], path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], dict[str, Any]]]:
    """Tables under headings: those that hold values, from the outside in."""
    values = {key: inner for key, inner in table.items() if not isinstance(inner, dict)}
    if path and (values or not table):
        yield path, values
    for key, inner in table.items():
        if isinstance(inner, dict):
            yield from _headed(inner, (*path, key))


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _value(key)


def _value(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(inner) for inner in value) + "]"
    return repr(value)
