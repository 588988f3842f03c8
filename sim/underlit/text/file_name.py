"""Names of files."""

from __future__ import annotations

import re


def named_for(stem: str, tank: str) -> str:
    """The start of a file's name for a tank: `substrate`, and for further tanks of a rack `substrate-left-round`."""
    return "-".join([stem, *re.findall(r"\w+", tank.lower())])
