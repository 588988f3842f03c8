"""The progress of work in many traces: how many are done, time left."""

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
    kept = f", {state.stored} of them from an earlier run" if state.stored else ""
    left = "" if state.seconds_left is None or state.done == state.total else f"; {duration(state.seconds_left)} left"
    return f"{state.done} of {state.total} pairs{kept}{left}"


@contextmanager
def rows_done(console: Console) -> Iterator[Callable[[Progress], None]]:
    """Shows the rows of a chart as they come: a bar on a terminal, a line now and then elsewhere."""
    with _shown(console, "reading the scenes") as tell:
        yield lambda state: tell(describe(state), state.done, state.total)


@contextmanager
def steps_done(console: Console) -> Iterator[Callable[[str, int, int], None]]:
    """Shows steps of any work: what is being done, how many of how many."""
    with _shown(console, "reading the scene") as tell:
        yield lambda what, done, total: tell(f"{what}: {done} of {total}", done, total)


@contextmanager
def _shown(console: Console, before: str) -> Iterator[Callable[[str, int, int], None]]:
    words = TextColumn("{task.description}", markup=False)
    columns = (SpinnerColumn(), BarColumn(bar_width=20), TimeElapsedColumn(), words)
    told = time.perf_counter()
    with Bar(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(before, total=1.0)

        def tell(line: str, done: int, total: int) -> None:
            nonlocal told
            bar.update(task, description=line, completed=done, total=total)
            if not console.is_terminal and time.perf_counter() - told > PLAIN_EVERY_SECONDS:
                told = time.perf_counter()
                console.print(line)

        yield tell
