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
