"""The progress line of a trace: speed, the worst error so far, time left."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Column

from underlit.lowering.scene import Lowered
from underlit.report.numbers import duration, known_to
from underlit.run import Progress as State
from underlit.run import Traced, trace

COMPILING = "compiling for this processor (once after an install, about half a minute)"
LOADING = "starting"


def kernels_are_kept() -> bool:
    """Whether an earlier run left compiled kernels of these very sources."""
    from underlit import kernel_cache

    folder = kernel_cache.use() or Path(os.environ["NUMBA_CACHE_DIR"])
    return any(folder.rglob("walk.walk_packets*.nbc"))


class Teller:
    """Turns the states of a trace into one line each.

    The clock of the speed starts with the first photons counted: the start of the kernels does not count as slowness.
    budget: number of photons asked for, where one was.
    """

    def __init__(self, before: str = LOADING, budget: int | None = None) -> None:
        self._before = before
        self._budget = budget
        self._since: tuple[int, float] | None = None

    def describe(self, state: State) -> str:
        """One line on how a trace is going: photons, photons/s, the zone or spot that is least certain, time left."""
        if state.photons == 0:
            return self._before
        if self._since is None:
            self._since = (state.photons, state.seconds)
        line = f"{state.photons / 1e6:.2f} M photons"
        speed = self._speed(state)
        if speed > 0:
            line += f", {speed / 1e6:.2f} M/s"
        if state.worst_relative is not None and state.worst_name:
            line += f"; least certain: {known_to(state.worst_name, state.worst_relative)}"
        left = self.seconds_left(state)
        if left is not None:
            line += f"; {duration(left)} left"
        return line

    def _speed(self, state: State) -> float:
        photons, seconds = self._since or (0, 0.0)
        return (state.photons - photons) / (state.seconds - seconds) if state.seconds > seconds else 0.0

    def seconds_left(self, state: State) -> float | None:
        """Time left [s]; None while it cannot be known."""
        if self._budget is not None:
            speed = self._speed(state)
            return max(0, self._budget - state.photons) / speed if speed > 0 else None
        if state.seconds_left is None or self._since is None or state.seconds <= 0:
            return None
        return state.seconds_left * max(0.0, state.seconds - self._since[1]) / state.seconds

    def share_done(self, state: State) -> float:
        """How far along, 0 to 1."""
        left = self.seconds_left(state)
        if left is None or self._since is None:
            return 0.0
        spent = state.seconds - self._since[1]
        return spent / (spent + left) if spent > 0 else 0.0


def tracing(
    console: Console, lowered: Lowered, *, precision: float | None, photons: int | None, seed: int, threads: int | None,
    least_sources: int = 1,
) -> Traced:  # fmt: skip
    """Trace with a progress line on a terminal; silent elsewhere."""
    teller = Teller(LOADING if kernels_are_kept() else COMPILING, photons)
    words = TextColumn("{task.description}", markup=False, table_column=Column(overflow="fold", ratio=1))
    columns = (SpinnerColumn(), BarColumn(bar_width=12), TimeElapsedColumn(), words)
    with Progress(*columns, console=console, transient=True, expand=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(teller.describe(State(0, 0.0, None, "", None, None)), total=1.0)

        def tell(state: State) -> None:
            bar.update(task, description=teller.describe(state), completed=teller.share_done(state))

        traced = trace(
            lowered, precision=precision, photons=photons, seed=seed, threads=threads, progress=tell,
            least_sources=least_sources,
        )  # fmt: skip
    assert isinstance(traced, Traced)
    return traced


@contextmanager
def working(console: Console, what: str) -> Iterator[Callable[[str], None]]:
    """Say what is being done while it is done, on a terminal; silent elsewhere. Yields a way to say something else."""
    if not console.is_terminal:
        yield lambda text: None
        return
    with console.status(what) as status:
        yield lambda text: status.update(text)
