"""`underlit plant`: where plants would do under a given light."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, load, whole_number

FEWEST_PHOTONS = 1 << 17


def plant(
    scene: Annotated[Path, Parameter(negative=())],
    *plants: str,
    out: Path | None = None,
    keep_plants: Annotated[bool, Parameter(negative=())] = False,
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    seed: str = "1",
    threads: str | None = None,
) -> int:
    """Say where in the bed plants would do: too dim, right, or more than they need, so that planting follows the light.

    What stands in the bed is taken out first; wood, stone, floating plants and those on wood stay.

    Parameters
    ----------
    scene
        The scene file (TOML).
    plants
        Plants of the catalogue by name, or needs: undemanding, medium, demanding. Default: all of them.
    out
        Folder for plants.csv and plants.png. The picture has a plan for each name given, or for each need.
    keep_plants
        Leave what stands in the bed.
    photons
        Photons to trace. Default 1048576.
    seed
        Seed of the random numbers: the same seed gives the same answer.
    threads
        Worker threads (default: all processors).
    """
    count = whole_number("--photons", photons, FEWEST_PHOTONS, 1 << 40)
    seeded = whole_number("--seed", seed, 0, (1 << 64) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    loaded = load(scene)
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.planning.plant_map import PHOTONS, PlantMapError, plant_map
    from underlit.report.decisions.plant_map import print_plant_map, write_plant_map
    from underlit.report.files import why_not_writable
    from underlit.report.printout import output_console, say
    from underlit.report.progress.stopping import INTERRUPTED, end_now
    from underlit.report.progress.trace import working
    from underlit.scene import SceneError

    reason = None if out is None else why_not_writable(out)
    if reason is not None:
        raise Refused(f"--out: {out}: {reason}")
    try:
        with working(output_console(stderr=True), "tracing the light"):
            found = plant_map(
                loaded, plants, keep_plants=keep_plants, photons=count or PHOTONS, seed=seeded or 0, threads=workers
            )
    except (PlantMapError, SceneError) as problem:
        raise Refused(str(problem)) from None
    except LoweringError as problem:
        raise Refused(f"{scene}: {problem}") from None
    except KeyboardInterrupt:
        print("stopped; nothing was written", file=sys.stderr)
        end_now(INTERRUPTED)
        raise
    console = output_console()
    print_plant_map(console, found)
    if out is not None:
        try:
            write_plant_map(found, out, named=bool(plants))
        except OSError as problem:
            raise cannot_write(out, problem) from None
        say(console, f"Written to {out}")
    return 0
