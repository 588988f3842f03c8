"""The glossary holds: its files are there, its terms in order, and no term is at the same time a word not to use."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "glossary.md"
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in PAGE.read_text(encoding="utf-8").splitlines()
    if line.startswith("| ") and not line.startswith("| term |")
]
TERMS = [row[0] for row in ROWS]


def test_every_row_is_whole() -> None:
    assert len(ROWS) > 50
    for row in ROWS:
        assert len(row) == 4, row
        assert all(row[:3]), row
        assert row[1].endswith((".", ".)")), f"{row[0]}: a sentence ends with a full stop"
        assert ". " not in row[1], f"{row[0]}: one sentence"


def test_the_files_of_every_term_are_there() -> None:
    missing = []
    for term, _, where, _ in ROWS:
        paths = re.findall(r"`([^`]+)`", where)
        assert paths, f"{term}: where it lives is not said"
        for path in paths:
            folder = ROOT if path.startswith(("docs/", "tests/")) else ROOT / "sim" / "underlit"
            if not (folder / path).exists():
                missing.append(f"{term}: {path}")
    assert not missing, "moved? name the new place in docs/glossary.md:\n" + "\n".join(missing)


def test_terms_are_in_order_and_said_once() -> None:
    for first, second in pairwise(TERMS):
        assert first.lower() < second.lower()


def test_no_term_is_a_word_not_to_use() -> None:
    avoided = {word.partition(" (")[0].strip() for row in ROWS for word in row[3].split(",")}
    assert not avoided & set(TERMS)


RETIRED = {
    r"counting errors?|± counting": "simulation error",
    r"not known of the tank": "tank error",
    r"gives_back": "returned_per_reflection",
    r"no aim set": "no target",
    r"trace_plan|\.freeze\(": "compiled scene, trace_compiled, World.compile",
    r"trace_alike": "trace_paired",
    r"\bupkeep\b": "cleaning states",
    r"\bdesks?\b": "session",
    r"\bbench\b": "page",
    r"\bscorch": "too bright at full power",
}
"""Words of earlier days (a pattern) and what stands in their place."""
STILL_READ = {
    ("planning/zones.py", "no aim set"), ("scene/tank/tank.py", "gives_back"), ("app/session.py", "desk"),
    ("app/sessions.py", "desks"),
}  # fmt: skip
"""Where a file of an earlier release is still understood."""


def test_retired_words_do_not_come_back() -> None:
    package = ROOT / "sim" / "underlit"
    files = [p for p in package.rglob("*") if p.suffix in (".py", ".js", ".css", ".html", ".toml")]
    files += (ROOT / "docs" / "decisions").glob("*.md")
    found = []
    for path in files:
        known = {word for file, word in STILL_READ if path == package / file}
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            for pattern, instead in RETIRED.items():
                for match in re.findall(pattern, line, re.IGNORECASE):
                    if match.lower() not in known:
                        found.append(f"{path.relative_to(ROOT)}:{number}: {match!r}: say {instead}")
    assert not found, "\n".join(found)
