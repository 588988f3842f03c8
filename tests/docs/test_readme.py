"""The README and CI keep their promises: commands, scenes, keys and links are there."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from underlit.scene import load_scene

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = [p for p in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("**/*.md")))]


def blocks(language: str) -> list[str]:
    """Code blocks of the README in a language."""
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


def set_up_commands() -> list[str]:
    """The commands of the section that sets everything up."""
    section = README.split("## Set up and run", 1)[1].split("\n## ", 1)[0]
    return [line for block in re.findall(r"```sh\n(.*?)```", section, re.DOTALL) for line in block.splitlines() if line]


def test_two_commands_set_everything_up() -> None:
    assert len(set_up_commands()) == 2
    for command in set_up_commands():
        words = shlex.split(command)
        assert words[:2] == ["python3", ".ci/environment.py"]
        for word in words:
            if "/" in word and not word.startswith((".venv/", "out/")):
                assert (ROOT / word).is_file(), word


def test_ci_ends_with_the_test_command() -> None:
    last = (ROOT / ".ci" / "run").read_text(encoding="utf-8").strip().splitlines()[-1]
    test = set_up_commands()[1].split(" && ")[1]
    assert last.replace("exec .ci/venv/", ".venv/") == test


def test_the_scene_in_the_readme_is_sound(tmp_path: Path) -> None:
    (text,) = blocks("toml")
    path = tmp_path / "readme.toml"
    path.write_text(text, encoding="utf-8")
    scene = load_scene(path)
    assert scene.zones
    assert scene.spots


def test_every_shipped_scene_is_named() -> None:
    for path in (ROOT / "scenes").glob("*.toml"):
        assert path.stem in README, path.name
        tomllib.loads(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), target


def test_pictures_are_small() -> None:
    for path in (ROOT / "docs" / "images").glob("*"):
        assert path.stat().st_size < 300_000, path.name
