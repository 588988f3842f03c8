"""What commands that trace to decide have in common: options of the trace, where to write, stopping."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, whole_number

if TYPE_CHECKING:
    from underlit.report.progress.stopping import Stops


@dataclass(frozen=True)
class TraceOptions:
    """How to trace, as checked: see `underlit.run.trace`."""

    precision: float | None
    photons: int | None
    seed: int
    threads: int | None

    def as_arguments(self) -> dict[str, Any]:
        """Keyword arguments of `run.trace` and its like."""
        return {k: getattr(self, k) for k in ("precision", "photons", "seed", "threads")}


def trace_options(photons: str | None, precision: float | None, seed: str, threads: str | None) -> TraceOptions:
    """The options of a trace, each refused in one line."""
    budget = whole_number("--photons", photons, 1, 1 << 62)
    seeded = whole_number("--seed", seed, 0, (1 << 64) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    if precision is not None and not 0 < precision < 1:
        raise Refused(f"--precision: must be a fraction between 0 and 1, such as 0.01 (got {precision:g})")
    if precision is not None and budget is not None:
        raise Refused("--precision, --photons: the two exclude each other; give one")
    return TraceOptions(precision, budget, seeded or 0, workers)


def price_of_kwh(price: float | None) -> float | None:
    """A price as checked."""
    if price is not None and not 0 <= price < 1e6:
        raise Refused(f"--price: must be a price of a kWh, such as 0.30 (got {price:g})")
    return price


def writable(out: Path | None) -> Path | None:
    """The folder to write into; refused before the work where it cannot be written."""
    from underlit.report.files import why_not_writable

    reason = None if out is None else why_not_writable(out)
    if reason is not None:
        raise Refused(f"--out: {out}: {reason}")
    return out


def length_of(option: str, text: str) -> float:
    """A length with its unit [m]."""
    from underlit.units import parse_length

    try:
        return parse_length(text.strip())
    except ValueError as problem:
        raise Refused(f"{option}: {problem} (got {text.strip()})") from None


def traced_alike(lowered: list[Any], options: TraceOptions, stops: Stops) -> list[Any]:
    """Trace scenes with a progress line, all with the same random numbers; one that is stopped ends the command."""
    from underlit.planning.compare import trace_alike
    from underlit.report.printout import output_console
    from underlit.report.progress.stopping import Phase
    from underlit.report.progress.trace import tracing

    stops.phase = Phase.TRACING
    progress = output_console(stderr=True)

    def tracer(one: Any, **said: Any) -> Any:
        return tracing(progress, one, **said)

    traced = trace_alike(lowered, tracer=tracer, **options.as_arguments())
    if not all(t.result.complete for t in traced):
        raise KeyboardInterrupt
    stops.phase = Phase.TELLING
    return traced


def stoppable(work: Callable[[Stops], None]) -> int:
    """Do the work; Ctrl-C says what it was at and ends with its status."""
    from underlit.report.progress.stopping import INTERRUPTED, listening

    with listening() as stops:
        try:
            work(stops)
        except KeyboardInterrupt:
            print(stops.phase, file=sys.stderr)
            return INTERRUPTED
    return 0


def write_out(out: Path | None, stops: Stops, write: Callable[[Path], None]) -> None:
    """Write into the folder asked for, if one was, and say so."""
    if out is None:
        return
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase
    from underlit.report.progress.trace import working

    with working(output_console(stderr=True), "drawing and writing"):
        stops.phase, stops.folder = Phase.WRITING, out
        try:
            write(out)
        except OSError as problem:
            raise cannot_write(out, problem) from None
        stops.phase = Phase.TELLING
    say(output_console(), f"Written to {out}")
