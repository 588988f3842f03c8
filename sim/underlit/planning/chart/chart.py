"""The chart as a whole: every light over every tank, stored rows first, the rest traced and stored as they come."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from underlit.planning.chart import pools
from underlit.planning.chart.axes import ChartError, Light, TankSpot, overhang_m, scene_of
from underlit.planning.chart.keys import row_key
from underlit.planning.chart.row import Combination, Misfit, Row
from underlit.planning.chart.stored_rows import StoredRows
from underlit.units import format_length

PHOTONS = 1 << 19
"""Photons of a combination: the mean of a substrate to about half a per cent."""


@dataclass(frozen=True)
class Progress:
    """How far a chart is: rows done of all, of them found stored; seconds left, None while it cannot be known."""

    done: int
    stored: int
    total: int
    seconds_left: float | None


@dataclass(frozen=True)
class Chart:
    """Lights, tanks, and a row or the reason why there is none for each pair of their names."""

    lights: tuple[Light, ...]
    tanks: tuple[TankSpot, ...]
    cells: dict[tuple[str, str], Row | Misfit]
    traced: int
    seconds: float

    @property
    def rows(self) -> list[Row]:
        """The rows, tank by tank in the order asked for."""
        return [cell for cell in self.ordered() if isinstance(cell, Row)]

    @property
    def misfits(self) -> list[Misfit]:
        """The pairs without a row."""
        return [cell for cell in self.ordered() if isinstance(cell, Misfit)]

    def ordered(self) -> Iterator[Row | Misfit]:
        """All cells, tank by tank."""
        return (self.cells[light.name, tank.name] for tank in self.tanks for light in self.lights)


def make_chart(
    lights: Sequence[Light],
    tanks: Sequence[TankSpot],
    *,
    photons: int = PHOTONS,
    seed: int = 1,
    folder: str | Path | None = None,
    threads: int | None = None,
    cluster: str | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Chart:
    """Trace every light over every tank, at full power: how far to dim is arithmetic on the rows (`Target.setting`).

    The chart has a row for each pair, or the reason why there is none: the same rows, to the bit, on the same kind of
    machine and versions. ChartError for a cluster that cannot be used, OSError for a folder that cannot be written.

    Parameters
    ----------
    lights, tanks : sequences of Light and of TankSpot
        See `chart.lights` and `chart.tanks`.
    photons, seed : int
        Photons for each pair, and the seed of the random numbers.
    folder : path, optional
        Where rows are stored as they come, and looked for first.
    threads : int, optional
        Of the local pool; by default all processors.
    cluster : str, optional
        Address of a dask.distributed scheduler to use instead, such as ``tcp://host:8786``.
    progress : callable, optional
        Called with a Progress after each pair.
    """
    stored, started = StoredRows(folder), time.perf_counter()
    cells: dict[tuple[str, str], Row | Misfit] = {}
    waiting: dict[str, list[Combination]] = {}
    for tank in tanks:
        for light in lights:
            asked = _combination(light, tank, photons, seed)
            found = asked if isinstance(asked, Misfit) else stored.find(asked.key)
            if found is not None:
                cells[light.name, tank.name] = _named(found, light.name, tank.name)
            elif isinstance(asked, Combination):
                waiting.setdefault(asked.key, []).append(asked)
    found_stored, total = len(cells), len(lights) * len(tanks)

    def tell() -> None:
        if progress is not None:
            done = len(cells) - found_stored
            each = (time.perf_counter() - started) / done if done else None
            progress(Progress(len(cells), found_stored, total, None if each is None else each * (total - len(cells))))

    tell()
    first_of_each = [same[0] for same in waiting.values()]
    rows = pools.on_cluster(first_of_each, cluster) if cluster else pools.on_threads(first_of_each, threads)
    for row in rows if first_of_each else ():
        key = row.key if isinstance(row, Row) else _key_of(row, first_of_each)
        if isinstance(row, Row):
            stored.store(row)
        for one in waiting[key]:
            cells[one.light, one.tank] = _named(row, one.light, one.tank)
        tell()
    return Chart(tuple(lights), tuple(tanks), cells, len(first_of_each), time.perf_counter() - started)


def _combination(light: Light, tank: TankSpot, photons: int, seed: int) -> Combination | Misfit:
    try:
        scene = scene_of(light, tank)
        key = row_key(scene, seed=seed, photons=photons)
    except ChartError as problem:
        return Misfit(light.name, tank.name, str(problem))
    except OSError as problem:
        return Misfit(light.name, tank.name, f"{problem.filename}: cannot be read ({problem.strerror})")
    over = overhang_m(light, tank)
    notes = (f"{format_length(over)} longer than the tank",) if over > 0.005 else ()
    return Combination(key, light.name, tank.name, scene, photons, seed, notes)


def _key_of(misfit: Misfit, asked: Sequence[Combination]) -> str:
    return next(one.key for one in asked if (one.light, one.tank) == (misfit.light, misfit.tank))


def _named(cell: Row | Misfit, light: str, tank: str) -> Row | Misfit:
    """The cell under the names of this chart: a stored row may have been traced under others."""
    from dataclasses import replace

    return replace(cell, light=light, tank=tank)
