"""The import arrows: packages import only to the right.

cli, commands, app, viz, report -> planning -> run -> lowering, backends -> transport -> geometry, optics
                                    results          scene -> photometry -> spectra -> units
                                                     scene -> catalogue -> text
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "sim" / "underlit"

LEVEL = {
    "cli": 0, "commands": 1, "app": 2, "report": 3, "viz": 4, "planning": 5, "run": 6, "results": 7, "lowering": 8,
    "backends": 8, "transport": 9, "scene": 9, "geometry": 10, "optics": 10, "photometry": 10, "catalogue": 10,
    "spectra": 11, "text": 12, "units": 12,
}  # fmt: skip
"""A module imports from its own package and from packages of a higher number; the showing ones have an order too."""

TRACE = {"backends", "transport", "geometry", "optics"}
DESCRIBE = {"scene", "catalogue", "photometry", "spectra", "text", "units"}
ANYWHERE = {"", "__main__", "kernel_cache"}
"""The package's front door and what has no level: the front door may import anything lazily, anyone the kernel cache."""


def world_of(name: str) -> str:
    """The first part of a dotted module name below the package."""
    parts = name.split(".")
    return parts[1] if len(parts) > 1 else ""


def imports_of(path: Path) -> list[tuple[int, str]]:
    """(line, world) of every import of this package in a file, type-checking ones too."""
    module = ("underlit", *path.relative_to(PACKAGE).with_suffix("").parts)
    found: list[tuple[int, str]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, world_of(a.name)) for a in node.names if a.name.split(".")[0] == "underlit"]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = module[: len(module) - node.level]
                base = ".".join([*above, *([base] if base else [])])
            if base == "underlit":
                found += [(node.lineno, a.name if a.name in LEVEL else "") for a in node.names]
            elif base.startswith("underlit."):
                found.append((node.lineno, world_of(base)))
    return found


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
