"""`underlit algae`: where light falls that no plant uses, and what would lower it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from underlit.commands.options import RackTankName, SceneFile, Seed, Threads, whole
from underlit.commands.shared import Refused, load, refusing, stoppable, writable, write_out


def algae(
    scene: SceneFile,
    *,
    out: Path | None = None,
    tank: RackTankName = None,
    photons: Annotated[int, whole(1 << 17, 1 << 40)] = 1 << 21,
    seed: Seed = 1,
    threads: Threads = None,
) -> int:
    """Show where bright light falls on what no plant covers (substrate, hardscape, panes), and what would lower it.

    Bright is above about 50 umol/m2/s without added CO2, above 120 with it, and 60 % of that in a new tank: say added_co2
    and settled in the scene.

    Parameters
    ----------
    out
        Folder for algae.csv and algae.png, a map of the substrate and of each pane.
    photons
        Photons to trace.
    """
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.lowering.scene import lower
    from underlit.planning.algae import algae_of
    from underlit.planning.decision import By, decide
    from underlit.planning.panes import PANE_CELL_M
    from underlit.report.decisions.algae import print_algae, write_algae
    from underlit.report.printout import output_console
    from underlit.report.progress.stopping import Phase, Stops
    from underlit.report.progress.trace import working
    from underlit.run import Traced, trace

    def work(stops: Stops) -> None:
        loaded, folder = load(scene, tank), writable(out)
        stops.phase = Phase.WORKING
        with working(output_console(stderr=True), "tracing the light"), refusing(LoweringError, where=scene):
            lowered = lower(loaded, pane_cell_m=PANE_CELL_M)
            traced = trace(lowered, photons=photons, seed=seed, threads=threads)
        assert isinstance(traced, Traced)
        if not traced.result.complete:
            raise KeyboardInterrupt
        view = traced.tanks[""]
        made = decide(view.lowered, view.result) if view.result.ppf > 0 else None
        setting = made.level if made is not None and made.zones and made.by is By.ALL else None
        found = algae_of(view.lowered, view.result, suits_zones=setting)
        if found is None:
            raise Refused(f"{scene}: all lights are off, so no light falls anywhere")
        print_algae(output_console(), view.lowered, found)
        write_out(folder, stops, lambda path: write_algae(view.lowered, found, path))

    return stoppable(work)
