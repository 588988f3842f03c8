"""Rows stored in a folder, one file each, named by its key. A file is whole or not there, so a killed run can go on."""

from __future__ import annotations

from pathlib import Path

from underlit.planning.chart.row import Row
from underlit.results.atomic import write_text

ROWS = "rows"
"""Folder of the rows below the chart's own."""


class StoredRows:
    """Rows stored below a folder. Without a folder none is stored and none is found."""

    def __init__(self, folder: str | Path | None) -> None:
        self._folder = None if folder is None else Path(folder) / ROWS

    def find(self, key: str) -> Row | None:
        """The row of a key; None where there is none, or a file that is no row of that key."""
        if self._folder is None:
            return None
        try:
            row = Row.from_json(self._path(key).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return row if row.key == key else None

    def store(self, row: Row) -> None:
        """Write a row. Raises OSError where it cannot be written."""
        if self._folder is not None:
            write_text(self._path(row.key), row.to_json())

    def _path(self, key: str) -> Path:
        assert self._folder is not None
        return self._folder / f"{key}.json"
