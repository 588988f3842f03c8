"""Tables of numbers in files of their own: spectra, height maps."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from underlit.spectra.grid import FloatArray


def read_number_table(path: Path) -> FloatArray:
    """Rows of numbers from a csv file, (n, columns) float64; empty lines, # lines and one line of names are skipped.

    Raises ValueError when rows differ in length or hold anything but finite numbers, OSError when unreadable.
    """
    text = path.read_text("utf-8-sig")
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    rows: list[list[float]] = []
    for index, line in enumerate(lines):
        try:
            rows.append([float(cell) for cell in line.split(",")])
        except ValueError:
            if index > 0:
                raise ValueError(
                    f"every row of the file must be numbers separated by commas (got {line[:40]!r})"
                ) from None
    widths = {len(row) for row in rows}
    if not rows or len(widths) != 1:
        raise ValueError("the file must have rows of equally many numbers separated by commas")
    table = np.array(rows)
    if not np.isfinite(table).all():
        raise ValueError("all numbers in the file must be finite")
    return table
