"""The import arrows: packages import only to the right.

cli, commands, app, viz, report -> planning -> run -> lowering, backends -> transport -> geometry, optics
                                    results          scene -> photometry -> spectra -> units
                                                     scene -> catalogue -> text
"""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "sim" / "underlit"

LEVEL = {
    "cli": 0, "commands": 1, "app": 2, "report": 3, "viz": 4, "planning": 5, "run": 6, "retrace": 6.5, "results": 7,
    "lowering": 8, "backends": 8, "transport": 9, "scene": 9, "geometry": 10, "optics": 10, "photometry": 10, "catalogue": 10,
    "spectra": 11, "text": 12, "units": 12,
}  # fmt: skip
"""A module imports from its own package and from packages of a higher number; the showing ones have an order too."""

TRACE = {"backends", "transport", "geometry", "optics"}
DESCRIBE = {"scene", "catalogue", "photometry", "spectra", "text", "units"}
ANYWHERE = {"", "__main__", "kernel_cache", "version"}
"""What has no level: the front door, which may import anything lazily, the kernel cache and the version, for anyone."""


def world_of(name: str) -> str:
    """The first part of a dotted module name below the package."""
    parts = name.split(".")
    return parts[1] if len(parts) > 1 else ""


def module_of(path: Path, package: Path = PACKAGE) -> str:
    """The dotted name of a file's module; a package's own is that of its ``__init__``."""
    parts = (package.name, *path.relative_to(package).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def names_imported(path: Path, package: Path = PACKAGE) -> list[tuple[int, str, str]]:
    """(line, module, name) of every import of this package in a file; the name is empty for a whole module."""
    here = (package.name, *path.relative_to(package).with_suffix("").parts)
    found: list[tuple[int, str, str]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, a.name, "") for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = here[: len(here) - node.level] if node.level else ()
            base = ".".join([*above, *([node.module] if node.module else [])])
            found += [(node.lineno, base, a.name) for a in node.names]
    return [row for row in found if row[1].split(".")[0] == package.name]


def imports_of(path: Path) -> list[tuple[int, str]]:
    """(line, world) of every import of this package in a file, type-checking ones too."""
    found = []
    for line, module, name in names_imported(path):
        if module == PACKAGE.name and name:
            found.append((line, name if name in LEVEL else ""))
        else:
            found.append((line, world_of(module)))
    return found


def file_arrows(package: Path = PACKAGE) -> dict[str, set[str]]:
    """The modules that each module imports, wherever in its file the import stands."""
    paths = {module_of(path, package): path for path in package.rglob("*.py")}
    arrows: dict[str, set[str]] = {}
    for module, path in paths.items():
        targets = set()
        for _, base, name in names_imported(path, package):
            inner = f"{base}.{name}"
            targets |= {target for target in (inner if inner in paths else base,) if target in paths}
        arrows[module] = targets - {module}
    return arrows


def circle_in(arrows: dict[str, set[str]]) -> list[str]:
    """The modules of one circle, each importing the one before; empty where there is none."""
    try:
        TopologicalSorter(arrows).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def forbidden(here: str, there: str) -> str | None:
    """Why a module of one world may not import another, or None."""
    if here in ANYWHERE or there in ANYWHERE or here == there:
        return None
    if here in TRACE and there in DESCRIBE:
        return "the traced world knows nothing of the described one"
    if here in DESCRIBE and there in TRACE:
        return "the described world knows nothing of the traced one"
    if LEVEL[there] <= LEVEL[here]:
        return "arrows point to the right only"
    return None


FILES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_to_the_right(path):
    relative = path.relative_to(PACKAGE)
    here = relative.parts[0].removesuffix(".py")
    here = "" if here == "__init__" else here
    assert here in LEVEL or here in ANYWHERE, f"{relative}: a package without a place among the arrows"
    wrong = []
    for line, there in imports_of(path):
        assert there in LEVEL or there in ANYWHERE, f"{relative}:{line}: imports {there}, which has no place"
        reason = forbidden(here, there)
        if reason:
            wrong.append(f"{relative}:{line}: {here} imports {there}: {reason}")
    assert not wrong, "\n".join(wrong)


def test_no_files_import_in_a_circle():
    """Every import counts, those inside functions and for type checking too, so that a file can be read before its users.

    An import arrow ends at the file that it names: the ``__init__`` of a package on the way to a module is no end of it.
    """
    circle = circle_in(file_arrows())
    assert not circle, " <- ".join(circle)


def test_a_circle_is_found_wherever_the_import_stands(tmp_path):
    """Among the whole package's arrows, and in files that import for types only, inside a function, or relatively."""
    arrows = {module: to for module, to in file_arrows().items() if module.startswith("underlit.scene.")}
    assert arrows["underlit.scene.model"] >= {"underlit.scene.common", "underlit.scene.targets"}
    arrows["underlit.scene.common"].add("underlit.scene.model")
    assert {"underlit.scene.common", "underlit.scene.model"} <= set(circle_in(arrows))
    files = {
        "one": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from pack.two import Two\n",
        "two": "def late():\n    import pack.inner.three\n",
        "inner/three": "from .. import one\n",
        "four": "from pack import one\n",
    }
    for name, text in files.items():
        path = tmp_path / "pack" / f"{name}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    found = circle_in(file_arrows(tmp_path / "pack"))
    assert set(found) == {"pack.one", "pack.two", "pack.inner.three"}


def test_the_rules_themselves():
    """Arrows that must fail do fail."""
    assert forbidden("optics", "transport")
    assert forbidden("optics", "geometry")
    assert forbidden("transport", "scene")
    assert forbidden("backends", "units")
    assert forbidden("scene", "geometry")
    assert forbidden("spectra", "photometry")
    assert forbidden("results", "run")
    assert forbidden("viz", "report")
    assert forbidden("planning", "viz")
    assert forbidden("backends", "lowering")
    assert forbidden("lowering", "scene") is None
    assert forbidden("results", "lowering") is None
    assert forbidden("cli", "run") is None
    assert len(FILES) > 20
