"""`underlit sheet`: a reading sheet to take to the tank."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, whole_number


def sheet(
    scene: Annotated[Path, Parameter(negative=())],
    *,
    out: Path | None = None,
    paper: Literal["a4", "letter"] = "a4",
    spots: str = "8",
    photons: str = "1e6",
    seed: str = "1",
    threads: str | None = None,
) -> None:
    """Print a sheet for taking meter readings: spots, what to expect, what to mind.

    The spots are the scene's own and those that would tell most about the tank. Beside the sheet a csv file with the
    same rows is written; filled in, it is what `underlit fit` reads.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        The sheet, PDF or PNG. Default: the scene's name with -readings.pdf, in the current folder.
    paper
        Size of the paper.
    spots
        How many readings to ask for (the scene's own spots are all kept).
    photons
        Photons for each state of the lid.
    seed
        Seed of the random numbers.
    threads
        Worker threads (default: all processors).
    """
    count = whole_number("--spots", spots, 1, 40)
    budget = whole_number("--photons", photons, 1 << 15, 1 << 34)
    seeded = whole_number("--seed", seed, 0, (1 << 63) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    path = out or Path(f"{scene.stem}-readings.pdf")
    if path.suffix.lower() not in (".pdf", ".png"):
        raise Refused(f"--out: must end in .pdf or .png (got {path.name!r})")
    from underlit.planning.fit.fitting import why_not_fitted

    loaded = load(scene)
    reason = why_not_fitted(loaded)
    if reason:
        raise Refused(f"{scene}: {reason}")
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning.fit.sheet import reading_sheet
    from underlit.report.decisions.reading_sheet import write_reading_sheet
    from underlit.report.printout import output_console, say
    from underlit.report.progress.trace import working
    from underlit.viz.sheets.reading_sheet import Paper

    try:
        with working(output_console(stderr=True), "tracing the tank as described"):
            made = reading_sheet(loaded, rows=count or 1, photons=budget or 1, seed=seeded or 0, threads=workers)
    except LoweringError as problem:
        raise Refused(f"{scene}: {problem}") from None
    try:
        written = write_reading_sheet(made, path, Paper(paper))
    except OSError as problem:
        raise cannot_write(path, problem) from None
    console = output_console()
    for row in made.rows:
        say(
            console,
            f"{row.number:2d}  {row.name}: should show {row.ppfd:.0f} ({row.low:.0f} to {row.high:.0f}), lid {row.lid}",
        )
    say(console, f"Written: {', '.join(str(p) for p in written)}")
