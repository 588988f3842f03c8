"""The progress line of a trace: speed, the worst error so far, time left."""

from __future__ import annotations

from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from underlit.lowering.scene import Lowered
from underlit.run import Progress as State
from underlit.run import Traced, trace


def describe(state: State) -> str:
    """One line on how a trace is going."""
    if state.photons == 0:
        return "preparing the kernels (the first run compiles them once)"
    line = f"{state.photons / 1e6:.1f} M photons, {state.photons_per_second / 1e6:.2f} M/s"
    if state.worst_relative is not None and state.worst_name:
        line += f"; least sure: {state.worst_name} ± {state.worst_relative:.1%}"
    if state.seconds_left is not None:
        line += f"; about {state.seconds_left:.0f} s left"
    return line


def share_done(state: State) -> float:
    """How far along, 0 to 1: errors fall as one over the square root of the time."""
    if state.seconds_left is None:
        return 0.0
    return state.seconds / (state.seconds + state.seconds_left) if state.seconds > 0 else 0.0


def tracing(
    console: Console, lowered: Lowered, *, precision: float | None, photons: int | None, seed: int, threads: int | None
) -> Traced:
    """Trace with a progress line on a terminal; silent elsewhere."""
    columns = (SpinnerColumn(), BarColumn(bar_width=20), TimeElapsedColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("preparing the kernels (the first run compiles them once)", total=1.0)

        def tell(state: State) -> None:
            bar.update(task, description=describe(state), completed=share_done(state))

        traced = trace(lowered, precision=precision, photons=photons, seed=seed, threads=threads, progress=tell)
    assert isinstance(traced, Traced)
    return traced
