"""`underlit chart`: lights over tanks, what reaches each substrate, and how far to dim."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, cannot_write, whole_number

if TYPE_CHECKING:
    from underlit.planning.chart import Chart, Light, TankSpot, Target

FEWEST_PHOTONS = 1 << 16
"""A mean with an error needs two batches at least of each channel; fewer photons save no time."""


def chart(
    *,
    lights: Annotated[list[str], Parameter(consume_multiple=True, negative=())],
    tanks: Annotated[list[str], Parameter(consume_multiple=True, negative=())],
    out: Path | None = None,
    need: Literal["undemanding", "medium", "demanding"] | None = None,
    ppfd: float | None = None,
    added_co2: bool | None = None,
    settled: bool | None = None,
    above_rim: str | None = None,
    photons: Annotated[str | None, Parameter(show_default=False)] = None,
    seed: str = "1",
    threads: str | None = None,
    cluster: str | None = None,
) -> int:
    """Say what each light gives on the substrate of each tank, and how far to dim it there.

    A killed chart goes on where it was when the same command is given again; another target needs no new trace.

    Parameters
    ----------
    lights
        Scene files, whose fixtures are taken, or fixtures of the catalogue.
    tanks
        Scene files, of which all but the light is taken, or tanks of the catalogue: those have no lid, and panes grown
        over as in a planted tank.
    out
        Folder for chart.csv, chart.png and the rows, which are written as they come. Without it nothing is kept.
    need
        Target as what plants ask for: its band, the middle of it aimed at. Default: medium.
    ppfd
        Target as a mean PPFD on the substrate, umol/m2/s, in place of a need.
    added_co2
        Whether CO2 is added, which moves the band of a need. Default: as the tanks' scenes say.
    settled
        Whether the tank is past its first weeks, which moves the band too. Default: as the tanks' scenes say.
    above_rim
        Hang every light this high over the rim ("15 cm"). Default: as its scene says, or as its form usually
        hangs.
    photons
        Photons of each pair of light and tank. Default 524288: the mean is then known to half a per cent or so.
    seed
        Seed of the random numbers: the same seed gives the same bits on the same kind of machine and versions.
    threads
        Pairs traced at once here (default: all processors).
    cluster
        Address of a dask.distributed scheduler, such as tcp://host:8786, whose workers are to trace.
    """
    count = whole_number("--photons", photons, FEWEST_PHOTONS, 1 << 40)
    seeded = whole_number("--seed", seed, 0, (1 << 64) - 1)
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    if workers is not None and cluster is not None:
        raise Refused("--threads, --cluster: the two exclude each other; a cluster brings its own workers")
    of_lights, of_tanks = _axes(lights, tanks, above_rim)
    target = _target(need, ppfd, added_co2, settled, of_tanks)
    if out is not None:
        from underlit.report.files import why_not_writable

        reason = why_not_writable(out)
        if reason is not None:
            raise Refused(f"--out: {out}: {reason}")
    made = _make(of_lights, of_tanks, count, seeded or 0, out, workers, cluster)
    from underlit.report.decisions.chart import print_chart
    from underlit.report.printout import output_console

    print_chart(output_console(), made, target)
    if out is not None:
        _write(made, target, out)
    return 0


def _axes(lights: list[str], tanks: list[str], above_rim: str | None) -> tuple[list[Light], list[TankSpot]]:
    from underlit.planning import chart as planning
    from underlit.scene import SceneError
    from underlit.units import QuantityError, parse_length

    try:
        height = None if above_rim is None else parse_length(above_rim)
    except QuantityError as problem:
        raise Refused(f"--above-rim: {problem}") from None
    try:
        return planning.lights(lights, above_rim_m=height), planning.tanks(tanks)
    except (planning.ChartError, SceneError) as problem:
        raise Refused(str(problem)) from None


def _target(
    need: str | None, ppfd: float | None, added_co2: bool | None, settled: bool | None, tanks: list[TankSpot]
) -> Target:
    from underlit.planning.chart import Target
    from underlit.scene import Need

    if ppfd is not None:
        if need is not None:
            raise Refused("--need, --ppfd: the target is said twice; keep one")
        try:
            return Target.of_ppfd(ppfd)
        except ValueError as problem:
            raise Refused(f"--ppfd: {problem}") from None
    with_co2 = _agreed(added_co2, [tank.scene.added_co2 for tank in tanks], "added-co2", usual=False)
    old = _agreed(settled, [tank.scene.settled for tank in tanks], "settled", usual=True)
    return Target.of_need(Need(need or "medium"), added_co2=with_co2, settled=old)


def _agreed(asked: bool | None, said: list[bool | None], option: str, *, usual: bool) -> bool:
    """What was asked for, else what the scenes say where they agree, else what is usual."""
    if asked is not None:
        return asked
    stated = {value for value in said if value is not None}
    if len(stated) > 1:
        raise Refused(f"--{option}: the scenes of the tanks differ; say --{option} or --no-{option} for all")
    return stated.pop() if stated else usual


def _make(
    lights: list[Light], tanks: list[TankSpot], photons: int | None, seed: int, out: Path | None, threads: int | None,
    cluster: str | None,
) -> Chart:  # fmt: skip
    from underlit.planning.chart import ChartError, make_chart
    from underlit.planning.chart.chart import PHOTONS
    from underlit.report.printout import output_console
    from underlit.report.progress.rows import rows_done
    from underlit.report.progress.stopping import INTERRUPTED, end_now

    try:
        with rows_done(output_console(stderr=True)) as tell:
            return make_chart(
                lights, tanks, photons=photons or PHOTONS, seed=seed, folder=out, threads=threads, cluster=cluster,
                progress=tell,
            )  # fmt: skip
    except ChartError as problem:
        raise Refused(str(problem)) from None
    except OSError as problem:
        raise cannot_write(out or Path(), problem) from None
    except KeyboardInterrupt:
        kept = "nothing was kept" if out is None else "what was done is kept; the same command goes on from there"
        print(f"stopped; {kept}", file=sys.stderr)
        # threads that are inside a kernel cannot be told to stop
        end_now(INTERRUPTED)
        raise


def _write(made: Chart, target: Target, out: Path) -> None:
    from underlit.report.decisions.chart import write_chart
    from underlit.report.printout import output_console, say

    try:
        write_chart(made, target, out)
    except OSError as problem:
        raise cannot_write(out, problem) from None
    say(output_console(), f"Written to {out}")
