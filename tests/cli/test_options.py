"""Every option of every command: what help lists is what is taken, and what messages and pages name is there."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import underlit
from underlit.cli import COMMANDS, app, main

ROOT = Path(__file__).resolve().parents[2]
BOX = ROOT / "scenes" / "bare-box.toml"
OPTION = re.compile(r"(?<![\w/-])--[a-z][a-z0-9]*(?:-[a-z0-9]+)*(?![\w-])")
OF_OTHERS = {"--help", "--version", "--no-deps", "--no-install-recommends", "--quick", "--first"}
"""Of help itself, of pip, of apt-get, of the benchmarks."""
FIRST = {"schema": [], "chart": ["--lights", "a", "--tanks", "b"]}
"""What each command wants before other options, where that is not a scene."""


def names(command: str) -> tuple[set[str], set[str]]:
    """Options of a command, and those of them that the library made as opposites."""
    found: set[str] = set()
    opposites: set[str] = set()
    for argument in app[command].assemble_argument_collection(default_parameter=app.default_parameter):
        found |= {name for name in argument.names if name.startswith("--")}
        opposites |= set(argument.negatives)
    return found | opposites, opposites


ALL = set().union(*(names(command)[0] for command in COMMANDS))


@pytest.mark.parametrize("command", COMMANDS)
def test_help_lists_every_option_and_no_other(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    listed = {line.split("│")[1] for line in capsys.readouterr().out.splitlines() if line.startswith("│")}
    shown = {name for cell in listed for name in OPTION.findall(cell[: cell.find("  ", 12)])}
    taken, _ = names(command)
    assert taken <= shown
    assert shown <= ALL | OF_OTHERS


def test_opposites_are_there_only_where_help_asks_for_them() -> None:
    """An option that the library makes of itself, such as --empty-band, is one that no command expects."""
    made = set().union(*(names(command)[1] for command in COMMANDS))
    assert made == {"--no-added-co2", "--no-settled", "--no-browser"}


@pytest.mark.parametrize("command", COMMANDS)
def test_an_opposite_that_is_not_there_is_refused_in_one_line(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    taken, _ = names(command)
    for option in sorted(taken - OF_OTHERS):
        for wrong in (f"--empty-{option[2:]}", f"--no-{option[2:]}"):
            if wrong in taken:
                continue
            assert main([command, *FIRST.get(command, [str(BOX)]), wrong]) == 2, wrong
            (line,) = capsys.readouterr().err.splitlines()
            assert line.startswith(f"unknown option: {wrong}"), line


def said() -> Iterator[tuple[str, str]]:
    """(where, text) of what a user may read: strings of the program, and pages."""
    package = Path(underlit.__file__).parent
    for path in sorted(package.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield f"{path.relative_to(package)}:{node.lineno}", node.value
    for page in (ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))):
        yield page.name, page.read_text(encoding="utf-8")


def test_options_that_are_named_exist() -> None:
    found = [(where, option) for where, text in said() for option in OPTION.findall(text)]
    assert len(found) > 60
    strange = [(where, option) for where, option in found if option not in ALL | OF_OTHERS]
    assert strange == []
