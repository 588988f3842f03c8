"""The progress of a chart: rows done, time left."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bar

from underlit.planning.chart import Progress
from underlit.report.numbers import duration

PLAIN_EVERY_SECONDS = 30.0
"""Where there is no terminal, a line so often: a chart of hundreds runs long."""


def describe(state: Progress) -> str:
    """One line: rows done of all, how many were kept from before, time left."""
    kept = f", {state.kept} of them kept from before" if state.kept else ""
    left = "" if state.seconds_left is None or state.done == state.total else f"; {duration(state.seconds_left)} left"
    return f"{state.done} of {state.total} pairs{kept}{left}"


@contextmanager
def rows_done(console: Console) -> Iterator[Callable[[Progress], None]]:
    """Shows what it is told: a bar on a terminal, a line now and then elsewhere."""
    columns = (
        SpinnerColumn(),
        BarColumn(bar_width=20),
        TimeElapsedColumn(),
        TextColumn("{task.description}", markup=False),
    )
    told = time.perf_counter()
    with Bar(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("reading the scenes", total=1.0)

        def tell(state: Progress) -> None:
            nonlocal told
            bar.update(task, description=describe(state), completed=state.done, total=state.total)
            if not console.is_terminal and time.perf_counter() - told > PLAIN_EVERY_SECONDS:
                told = time.perf_counter()
                console.print(describe(state))

        yield tell
