"""Read the data tables carried with the package; each names its published source in its first lines."""

from __future__ import annotations

from functools import cache
from importlib import resources

import numpy as np

from underlit.spectra.grid import FloatArray


@cache
def read_table(name: str) -> dict[str, FloatArray]:
    """Columns by name of ``data/<name>.csv``, each (n,) float64 and read-only."""
    text = resources.files("underlit.spectra").joinpath("data", f"{name}.csv").read_text("utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    columns = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]]).T.copy()
    columns.setflags(write=False)
    return dict(zip(lines[0].split(","), columns, strict=True))
