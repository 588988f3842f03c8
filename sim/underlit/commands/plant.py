"""`underlit plant`: where each plant can grow under a given light."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from underlit.commands.options import FLAG, RackTankName, SceneFile, Seed, Threads, whole
from underlit.commands.shared import load, refusing, stoppable, writable, write_out


def plant(
    scene: SceneFile,
    *plants: str,
    out: Path | None = None,
    keep_plants: Annotated[bool, FLAG] = False,
    tank: RackTankName = None,
    photons: Annotated[int, whole(1 << 17, 1 << 40)] = 1 << 20,
    seed: Seed = 1,
    threads: Threads = None,
) -> int:
    """Show where in the bed each plant can grow: too dim, right, or more than it needs.

    The plants that stand in the bed are taken out first. Wood, stone, floating plants and plants on wood stay.

    Parameters
    ----------
    plants
        Plants of the catalogue by name, or needs: undemanding, medium, demanding. Default: all of them.
    out
        Folder for plants.csv and plants.png. The picture has a map for each name given, or for each need.
    keep_plants
        Leave the plants that stand in the bed.
    photons
        Photons to trace.
    """
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning.plant_map import PlantMapError, plant_map
    from underlit.report.decisions.plant_map import print_plant_map, write_plant_map
    from underlit.report.printout import output_console
    from underlit.report.progress.stopping import Phase, Stops
    from underlit.report.progress.trace import working
    from underlit.scene import SceneError

    def work(stops: Stops) -> None:
        loaded, folder = load(scene, tank), writable(out)
        stops.phase = Phase.WORKING
        with (
            working(output_console(stderr=True), "tracing the light"),
            refusing(PlantMapError, SceneError),
            refusing(LoweringError, where=scene),
        ):
            found = plant_map(loaded, plants, keep_plants=keep_plants, photons=photons, seed=seed, threads=threads)
        print_plant_map(output_console(), found)
        write_out(folder, stops, lambda path: write_plant_map(found, path, named=bool(plants)))

    return stoppable(work)
