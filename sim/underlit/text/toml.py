"""Read a TOML file; what prevents that is one problem with its line, and what to write where that can be told."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from underlit.text.locate import key_lines
from underlit.text.problem import KeyPath, Problem

MARK = "\ufeff"
"""The byte order mark that some editors put in front of a text."""
_LINE = re.compile(r"\(at line (\d+), column \d+\)|\(at end of document\)")
_CURLY = re.compile("[“”„‟«»‘’‚‛]")
_CURLY_TEXT = re.compile("[“”„‟«»‘’‚‛]([^“”„‟«»‘’‚‛]+)[“”„‟«»‘’‚‛]")
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'|#.*')
_BARE_QUANTITY = re.compile(r"[=\[,]\s*([+-]?\d+(?:[.,]\d+)?)\s*(%|°|[A-Za-zµ][\w/²]*)")
_DECIMAL_COMMA = re.compile(r"=\s*([+-]?\d+),(\d+)\s*$")
_BARE_WORD = re.compile(r"=\s*([A-Za-z][\w -]*?)\s*$")
_YES_NO = {"yes": "true", "true": "true", "no": "false", "false": "false"}


class UnreadableError(ValueError):
    """A file that is not TOML; ``problem`` says where and why."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


def read_toml(file: Path) -> tuple[dict[str, Any], dict[KeyPath, int]]:
    """The tables of a TOML file and the line of each key. Raises UnreadableError."""
    try:
        text = read_text(file)
    except OSError as error:
        raise UnreadableError(Problem(f"cannot be read: {error.strerror or error}", (), str(file))) from None
    except UnicodeDecodeError:
        raise UnreadableError(Problem("is not a text in UTF-8: save it in that encoding", (), str(file), 1)) from None
    data = parse_toml(text, str(file))
    try:
        return data, key_lines(text)
    except (ValueError, RecursionError):  # the lines only make messages better
        return data, {}


def read_text(file: Path) -> str:
    """The text of a file in UTF-8, without a byte order mark. Raises OSError, UnicodeDecodeError."""
    return file.read_text("utf-8-sig")


def parse_toml(text: str, file: str = "") -> dict[str, Any]:
    """The tables of a text. Raises UnreadableError."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise UnreadableError(Problem("is nested too deeply", (), file, 1)) from None
    except (tomllib.TOMLDecodeError, ValueError) as error:
        match = _LINE.search(str(error))
        line = int(match[1]) if match and match[1] else text.count("\n") + 1
        said = _LINE.sub("", str(error)).strip()
        reason = _what_to_write(text.split("\n")[line - 1]) or f"{said[:1].lower()}{said[1:]}"
        raise UnreadableError(Problem(f"not valid TOML: {reason}", (), file, line)) from None


def _what_to_write(line: str) -> str:
    """What people often write in such a line, and what to write instead; empty where it is none of that."""
    bare = _QUOTED.sub('""', line).rstrip()
    if _CURLY.search(bare):
        curly = _CURLY_TEXT.search(bare)
        write = f'"{curly[1]}"' if curly else '"'
        return f"curly quotes: write straight ones, {write}"
    comma = _DECIMAL_COMMA.search(bare)
    if comma:
        return f"a number has a point, not a comma: write {comma[1]}.{comma[2]}"
    quantity = _BARE_QUANTITY.search(bare)
    if quantity:
        return f'a number with a unit stands in quotes: write "{quantity[1].replace(",", ".")} {quantity[2]}"'
    word = _BARE_WORD.search(bare)
    if word and word[1] not in ("true", "false", "inf", "nan"):
        yes_no = _YES_NO.get(word[1].lower())
        return f"write {yes_no}" if yes_no else f'a text stands in quotes: write "{word[1]}"'
    return ""
