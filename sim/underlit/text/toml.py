"""Read a TOML file; what prevents that is one problem with its line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from underlit.text.locate import key_lines
from underlit.text.problem import KeyPath, Problem

_LINE = re.compile(r"\(at line (\d+), column \d+\)|\(at end of document\)")


class UnreadableError(ValueError):
    """A file that is not TOML; ``problem`` says where and why."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


def read_toml(file: Path) -> tuple[dict[str, Any], dict[KeyPath, int]]:
    """The tables of a TOML file and the line of each key. Raises UnreadableError."""
    try:
        text = file.read_text("utf-8")
        data = tomllib.loads(text)
    except OSError as error:
        raise UnreadableError(Problem(f"cannot be read: {error.strerror or error}", (), str(file))) from None
    except UnicodeDecodeError:
        raise UnreadableError(Problem("is not a text in UTF-8: save it in that encoding", (), str(file), 1)) from None
    except RecursionError:
        raise UnreadableError(Problem("is nested too deeply", (), str(file), 1)) from None
    except (tomllib.TOMLDecodeError, ValueError) as error:
        match = _LINE.search(str(error))
        line = int(match[1]) if match and match[1] else text.count("\n") + 1
        said = _LINE.sub("", str(error)).strip()
        message = f"not valid TOML: {said[:1].lower()}{said[1:]}"
        raise UnreadableError(Problem(message, (), str(file), line)) from None
    try:
        return data, key_lines(text)
    except (ValueError, RecursionError):  # the lines only make messages better
        return data, {}
