"""Rows as comma-separated text, the same way in every file: six significant digits, an empty cell where there is none."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping


def csv_text(rows: Iterable[Mapping[str, object]], columns: Iterable[str] = (), comments: Iterable[str] = ()) -> str:
    """Rows by column name as csv text with a line of column names.

    columns: in their order, units in the names; by default those of the rows as they come. comments: lines on top.
    """
    held = list(rows)
    names = list(columns) or list(dict.fromkeys(name for row in held for name in row))
    text = io.StringIO()
    text.writelines(f"# {line}\n" for line in comments)
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_cell(row.get(name)) for name in names] for row in held)
    return text.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}" if math.isfinite(value) else ""
    return str(value)
