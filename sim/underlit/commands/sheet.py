"""`underlit sheet`: a reading sheet to take to the tank."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from underlit.commands.options import PaperSize, RackTankName, SceneFile, Seed, Threads, whole
from underlit.commands.shared import Refused, load, refusing, stoppable, writing


def sheet(
    scene: SceneFile,
    *,
    out: Path | None = None,
    tank: RackTankName = None,
    paper: PaperSize = "a4",
    spots: Annotated[int, whole(1, 40)] = 8,
    photons: Annotated[int, whole(1 << 15, 1 << 34)] = 1_000_000,
    seed: Seed = 1,
    threads: Threads = None,
) -> int:
    """Make a sheet for taking meter readings: where to measure, what to expect, and how to read.

    The spots are those of the scene and those that tell most about the tank. A csv file with the same rows is written
    beside the sheet. Type the readings into it: `underlit fit` reads it.

    Parameters
    ----------
    out
        The sheet, PDF or PNG. Default: the scene's name with -readings.pdf, in the current folder.
    spots
        How many readings to ask for. All spots of the scene are kept.
    photons
        Photons to trace with the lid on, and again with the lid off.
    """
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning.fit.fitting import why_not_fitted
    from underlit.planning.fit.sheet import reading_sheet
    from underlit.report.decisions.reading_sheet import print_reading_sheet, write_reading_sheet
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import Phase, Stops
    from underlit.report.progress.trace import working
    from underlit.text.file_name import named_for
    from underlit.viz.sheets.reading_sheet import Paper

    path = out or Path(f"{named_for(scene.stem, tank or '')}-readings.pdf")
    if path.suffix.lower() not in (".pdf", ".png"):
        raise Refused(f"--out: must end in .pdf or .png (got {path.name!r})")

    def work(stops: Stops) -> None:
        loaded = load(scene, tank)
        reason = why_not_fitted(loaded)
        if reason:
            raise Refused(f"{scene}: {reason}")
        stops.phase = Phase.WORKING
        with (
            working(output_console(stderr=True), "tracing the tank as described"),
            refusing(LoweringError, where=scene),
        ):
            made = reading_sheet(loaded, rows=spots, photons=photons, seed=seed, threads=threads)
        with writing(path, path.parent, stops):
            written = write_reading_sheet(made, path, Paper(paper))
        print_reading_sheet(output_console(), made)
        say(output_console(), f"Written to {', '.join(str(p) for p in written)}")

    return stoppable(work)
