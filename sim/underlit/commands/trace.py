"""`underlit trace`: trace a scene, print what reaches every zone, write it into a folder."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, lowered_scene, whole_number

if TYPE_CHECKING:
    from rich.console import Console

    from underlit.planning.zones import ZoneReport
    from underlit.report.progress.stopping import Stops
    from underlit.run import Traced

FEWEST_BATCHES = 2
"""An error needs two batches of every light channel."""


def trace(
    scene: Annotated[Path, Parameter(negative=())],
    *,
    out: Path | None = None,
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    precision: float | None = None,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Trace the light of a scene and say what reaches every zone.

    Ctrl-C stops early: what was counted so far is printed and written (exit status 130). A second Ctrl-C ends at once.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        Folder for summary.json, result.nc, view.vtm, zones.csv, substrate.png, view.png and a fixture-<n>.png for each
        fixture. Without it nothing is written.
    photons
        Stop after about this many photons instead of at a precision. Each light channel gets 65,536 at least.
    precision
        Stop when every zone mean is known to this fraction (95 %), spots to three times that. Default 0.01.
    seed
        Seed of the random numbers: the same seed gives the same bits, on any number of threads.
    threads
        Worker threads (default: all processors).
    """
    budget = whole_number("--photons", photons, 1, 1 << 62)
    seeded = whole_number("--seed", seed, 0, (1 << 64) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    if precision is not None and not 0 < precision < 1:
        raise Refused(f"--precision: must be a fraction between 0 and 1, such as 0.01 (got {precision:g})")
    if precision is not None and budget is not None:
        raise Refused("--precision, --photons: the two exclude each other; give one")

    from underlit.report.progress.stopping import INTERRUPTED, listening

    with listening() as stops:
        try:
            return _trace(scene, out, budget, precision, seeded or 0, workers, stops)
        except KeyboardInterrupt:
            print(stops.phase, file=sys.stderr)
            return INTERRUPTED


def _trace(
    scene: Path, out: Path | None, photons: int | None, precision: float | None, seed: int, threads: int | None,
    stops: Stops,
) -> int:  # fmt: skip
    from underlit.report.files import scene_texts, why_not_writable
    from underlit.report.printout import output_console, print_answer, print_verdicts
    from underlit.report.progress.stopping import INTERRUPTED, Phase
    from underlit.report.progress.trace import tracing, working

    loaded = load(scene)
    texts = scene_texts(loaded)
    reason = None if out is None else why_not_writable(out)
    if reason is not None:
        raise Refused(f"--out: {out}: {reason}")
    progress = output_console(stderr=True)
    with working(progress, "building the tank"):
        lowered = lowered_scene(loaded)
    stops.phase = Phase.TRACING
    traced = tracing(progress, lowered, precision=precision, photons=photons, seed=seed, threads=threads)
    if min(c.batches for c in traced.result.counts) < FEWEST_BATCHES:
        raise KeyboardInterrupt
    stops.phase = Phase.TELLING
    from underlit.planning.zones import zone_reports

    reports = zone_reports(lowered, traced.result)
    console = output_console()
    print_answer(console, traced, reports, asked=photons)
    try:
        if out is not None:
            with working(progress, "drawing and writing"):
                _write(console, traced, reports, out, texts, stops)
    finally:
        print_verdicts(console, reports)
    return 0 if traced.result.complete else INTERRUPTED


def _write(
    console: Console, traced: Traced, reports: list[ZoneReport], out: Path, texts: dict[str, str], stops: Stops
) -> None:
    from underlit.report.files import write_folder
    from underlit.report.printout import say
    from underlit.report.progress.stopping import Phase

    stops.phase, stops.folder = Phase.WRITING, out
    try:
        notes = write_folder(traced, reports, out, texts)
    except (OSError, RuntimeError) as problem:
        raise cannot_write(out, problem) from None
    stops.phase = Phase.TELLING
    for line in notes:
        say(console, line, "yellow")
    say(console, f"Written to {out}")
