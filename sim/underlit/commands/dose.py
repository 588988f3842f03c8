"""`underlit dose`: the light of days and years, and settings cards."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from underlit.commands.answering import (
    TraceOptions,
    price_of_kwh,
    stoppable,
    trace_options,
    traced_alike,
    writable,
    write_out,
)
from underlit.commands.shared import Refused, load, lowered_scene

if TYPE_CHECKING:
    from underlit.report.progress.stopping import Stops
    from underlit.scene import Scene


def dose(
    *scenes: Annotated[Path, Parameter(negative=())],
    out: Path | None = None,
    price: float | None = None,
    paper: Literal["a4", "letter"] = "a4",
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    precision: float | None = None,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Say each zone's light of a day (DLI) in a new and in a settled tank, energy, cost, and what age leaves.

    The scene's dimming and hours are taken for the settled tank. With --out a settings card of each tank is made as well,
    two to a page, to be hung by the tanks.

    Parameters
    ----------
    scenes
        Scene files (TOML), one or more.
    out
        Folder for dose.csv, cards.pdf and cards-1.png and on.
    price
        Price of a kWh, in any currency, for the cost of a year.
    paper
        Size of the paper for the cards.
    photons
        Trace about this many photons of each scene instead of to a precision.
    precision
        Trace until every zone mean is known to this fraction (95 %). Default 0.01.
    seed
        Seed of the random numbers.
    threads
        Worker threads (default: all processors).
    """
    if not scenes:
        raise Refused("dose: needs a scene file, or several")
    options = trace_options(photons, precision, seed, threads)
    asked = price_of_kwh(price)
    loaded = [load(path) for path in scenes]
    return stoppable(lambda stops: _dose(loaded, writable(out), asked, paper, options, stops))


def _dose(
    scenes: list[Scene], out: Path | None, price: float | None, paper: str, options: TraceOptions, stops: Stops
) -> None:
    from underlit.planning.dose import dose as make
    from underlit.report.decisions.dose import print_dose, write_dose
    from underlit.report.printout import output_console
    from underlit.viz.sheets.reading_sheet import Paper

    console = output_console()
    traced = traced_alike([lowered_scene(s) for s in scenes], options, stops)
    doses = [make(t.lowered, t.result, price=price) for t in traced]
    for index, made in enumerate(doses):
        if index:
            console.print()
        print_dose(console, made)
    write_out(out, stops, lambda folder: write_dose(doses, Paper(paper), folder))
