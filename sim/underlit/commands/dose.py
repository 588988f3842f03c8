"""`underlit dose`: the light of days and years, and settings cards."""

from __future__ import annotations

from pathlib import Path

from underlit.commands.options import AS_USUAL, PaperSize, Price, SceneFile, TraceOptions
from underlit.commands.shared import Refused, load, stoppable, traced_paired, writable, write_out


def dose(
    *scenes: SceneFile,
    out: Path | None = None,
    price: Price = None,
    paper: PaperSize = "a4",
    options: TraceOptions = AS_USUAL,
) -> int:
    """Show the daily light (DLI) of each zone in a new and in a settled tank, energy, cost, and what age takes away.

    The dimming and hours of the scene are those of the settled tank. With --out, each tank, also of a rack, gets a
    settings card to hang beside it, two cards to a page.

    Parameters
    ----------
    scenes
        Scene files (TOML), one or more.
    out
        Folder for dose.csv, cards.pdf, and cards-1.png and so on.
    """
    from underlit.planning.dose import dose as make
    from underlit.report.decisions.dose import print_dose, write_dose
    from underlit.report.printout import output_console
    from underlit.report.progress.stopping import Stops
    from underlit.viz.sheets.reading_sheet import Paper

    if not scenes:
        raise Refused("dose: needs at least one scene file")
    loaded = [load(path) for path in scenes]

    def work(stops: Stops) -> None:
        folder, console = writable(out), output_console()
        traced = traced_paired(loaded, options, stops)
        doses = [make(t.lowered, t.result, price=price) for each in traced for t in each.tanks.values()]
        for index, made in enumerate(doses):
            if index:
                console.print()
            print_dose(console, made)
        write_out(folder, stops, lambda path: write_dose(doses, Paper(paper), path))

    return stoppable(work)
