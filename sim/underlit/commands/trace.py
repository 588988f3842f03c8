"""`underlit trace`: trace a scene, print what reaches every zone, write it into a folder."""

from __future__ import annotations

from pathlib import Path

from underlit.commands.options import AS_USUAL, SceneFile, TraceOptions
from underlit.commands.shared import load, lowered_scene, stoppable, writable, write_out

FEWEST_BATCHES = 2
"""An error needs two batches of every light channel."""


def trace(scene: SceneFile, *, out: Path | None = None, options: TraceOptions = AS_USUAL) -> int:
    """Trace a scene and print the light (PPFD) that reaches each zone.

    Ctrl-C stops early: what was counted so far is printed and written (exit status 130). A second Ctrl-C ends at once.

    Parameters
    ----------
    out
        Folder for summary.json, result.nc, view.vtm, zones.csv, substrate.png, view.png, and fixture-1.png and so on
        for each fixture. Without it nothing is written.
    """
    from underlit.planning.zones import zone_reports
    from underlit.report.files import scene_texts, write_folder
    from underlit.report.printout import output_console, print_answer, print_verdicts
    from underlit.report.progress.stopping import INTERRUPTED, Phase, Stops
    from underlit.report.progress.trace import tracing, working

    def work(stops: Stops) -> int:
        loaded = load(scene)
        texts, folder = scene_texts(loaded), writable(out)
        progress, console = output_console(stderr=True), output_console()
        with working(progress, "building the tank"):
            lowered = lowered_scene(loaded)
        stops.phase = Phase.TRACING
        traced = tracing(progress, lowered, **options.as_arguments())
        if min(c.batches for c in traced.result.counts) < FEWEST_BATCHES:
            raise KeyboardInterrupt
        stops.phase = Phase.TELLING
        reports = zone_reports(lowered, traced.result)
        sentence = print_answer(console, traced, reports, asked=options.photons)
        try:
            write_out(folder, stops, lambda path: write_folder(traced, reports, path, texts))
        finally:
            print_verdicts(console, reports, sentence)
        return 0 if traced.result.complete else INTERRUPTED

    return stoppable(work)
