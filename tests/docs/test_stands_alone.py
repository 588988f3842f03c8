"""No file of the project leans on anything outside it: no foreign folder, no package host, no paths of one machine."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# "~" is taken out, so that this file does not hold what it looks for
FORBIDDEN = {
    what: pattern.replace("~", "")
    for what, pattern in {
        "a folder of one machine": r"(?<![\w.])/(?:wo~rk|ho~me|ro~ot)/\w",
        "a folder outside the project": r"(?<!\w)sha~red/(?:\w+\.md|reference|hooks)",
        "a package host": r"py~pi\.org|pythonho~sted|/sim~ple/",
        "how it came about": r"(?i)se~ed document|sub~agent|to~ol library",
    }.items()
}


def tracked() -> list[Path]:
    """Text files that git tracks; where there is no git, all files of the project's folders."""
    asked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True)
    if asked.returncode == 0 and asked.stdout:
        names = [ROOT / name for name in asked.stdout.split("\0") if name]
    else:
        names = [p for f in ("sim", "scenes", "tests", "benchmarks", "docs") for p in (ROOT / f).rglob("*")]
    return [p for p in names if p.is_file() and p.suffix not in (".png", ".pyc", ".glb", ".stl", ".nc")]


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_leans_on(what: str) -> None:
    found = []
    for path in tracked():
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if re.search(FORBIDDEN[what], line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}")
    assert not found, f"{what}:\n" + "\n".join(found)


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a folder of one machine", "see /wo~rk/x"),
        ("a folder outside the project", "../sha~red/reference/a.csv"),
        ("a package host", "https://py~pi.org/x"),
        ("how it came about", "the se~ed document"),
    ],
)
def test_the_search_would_find(what: str, text: str) -> None:
    assert re.search(FORBIDDEN[what], text.replace("~", ""))


def test_the_top_level_is_what_it_should_be() -> None:
    asked = subprocess.run(["git", "ls-tree", "--name-only", "HEAD"], cwd=ROOT, capture_output=True, text=True)
    if asked.returncode != 0:
        pytest.skip("not a git checkout")
    names = set(asked.stdout.split())
    files = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", ".gitignore"}
    folders = {"sim", "scenes", "tests", "benchmarks", "docs", ".ci"}
    assert names == files | folders
