"""`underlit chart`: lights over tanks, what reaches each substrate, and how far to dim."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from underlit.commands.options import ONE_OR_MORE, Seed, Threads, length_of, real, whole
from underlit.commands.shared import Refused, refusing, stoppable, writable, write_out

if TYPE_CHECKING:
    from underlit.planning.chart import Light, TankSpot, Target

Need = Literal["undemanding", "medium", "demanding"]


@Parameter(name="*")
@dataclass(frozen=True)
class Wanted:
    """The light that the substrate should get."""

    need: Annotated[Need | None, Parameter(help="Target: what plants of this need ask for. Default: medium.")] = None
    ppfd: Annotated[
        float | None,
        real("above 0", lambda v: 0 < v < float("inf"), help="Target: a mean PPFD on the substrate, umol/m2/s."),
    ] = None
    added_co2: Annotated[
        bool | None,
        Parameter(
            negative_bool="no-",
            help="Whether CO2 is added. It moves the band of a need. Default: as the tanks' scenes say.",
        ),
    ] = None
    settled: Annotated[
        bool | None,
        Parameter(
            negative_bool="no-",
            help="Whether the tank is past its first weeks. It moves the band, and panes of a new tank are clean. "
            "Default: as the tanks' scenes say.",
        ),
    ] = None

    def __post_init__(self) -> None:
        if self.ppfd is not None and self.need is not None:
            raise Refused("--need, --ppfd: use only one of them")


def chart(
    *,
    lights: Annotated[list[str], ONE_OR_MORE],
    tanks: Annotated[list[str], ONE_OR_MORE],
    out: Path | None = None,
    wanted: Wanted = Wanted(),
    above_rim: str | None = None,
    photons: Annotated[int, whole(1 << 16, 1 << 40)] = 1 << 19,
    seed: Seed = 1,
    threads: Threads = None,
    cluster: str | None = None,
) -> int:
    """Show what each light gives on the substrate of each tank, and how far to dim it there.

    A chart that was stopped goes on where it was when the same command is given again. Another target needs no new trace.

    Parameters
    ----------
    lights
        Fixtures of the catalogue, or scene files whose fixtures are taken.
    tanks
        Tanks of the catalogue, or scene files of which all but the light is taken. Tanks of the catalogue have no lid.
        Panes are taken as overgrown, or as clean in a new tank (--no-settled), where a scene file does not say it.
    out
        Folder for chart.csv, chart.png and the rows, which are written as they come. Without it nothing is kept.
    above_rim
        Hang every light at this height over the rim ("15 cm"). Default: as its scene says, or as is usual for its form.
    photons
        Photons for each pair of light and tank. With the default, the mean is known to about half a per cent.
    threads
        Pairs traced at once on this machine. Default: all processors.
    cluster
        Address of a dask.distributed scheduler whose workers do the tracing, such as tcp://host:8786.
    """
    from underlit.planning.chart import ChartError, make_chart
    from underlit.report.decisions.chart import print_chart, write_chart
    from underlit.report.printout import output_console
    from underlit.report.progress.rows import rows_done
    from underlit.report.progress.stopping import Phase, Stops

    if threads is not None and cluster is not None:
        raise Refused("--threads, --cluster: use only one of them; a cluster has its own workers")

    def work(stops: Stops) -> None:
        of_lights, of_tanks = _axes(lights, tanks, above_rim, wanted.settled)
        target = _target(wanted, of_tanks)
        folder = writable(out)
        stops.phase = Phase.UNKEPT if folder is None else Phase.RESUMABLE
        with rows_done(output_console(stderr=True)) as tell, refusing(ChartError):
            made = make_chart(
                of_lights, of_tanks, photons=photons, seed=seed, folder=folder, threads=threads, cluster=cluster,
                progress=tell,
            )  # fmt: skip
        print_chart(output_console(), made, target)
        write_out(folder, stops, lambda path: write_chart(made, target, path))

    return stoppable(work)


def _axes(
    lights: list[str], tanks: list[str], above_rim: str | None, settled: bool | None
) -> tuple[list[Light], list[TankSpot]]:
    from underlit.planning import chart as planning
    from underlit.scene import SceneError

    height = None if above_rim is None else length_of("--above-rim", above_rim)
    with refusing(planning.ChartError, SceneError):
        return planning.lights(lights, above_rim_m=height), planning.tanks(tanks, settled=settled)


def _target(wanted: Wanted, tanks: list[TankSpot]) -> Target:
    from underlit.planning.chart import Target
    from underlit.scene import Need

    if wanted.ppfd is not None:
        return Target.of_ppfd(wanted.ppfd)
    with_co2 = _agreed(wanted.added_co2, [tank.scene.added_co2 for tank in tanks], "added-co2", usual=False)
    old = _agreed(wanted.settled, [tank.scene.settled for tank in tanks], "settled", usual=True)
    return Target.of_need(Need(wanted.need or "medium"), added_co2=with_co2, settled=old)


def _agreed(asked: bool | None, said: list[bool | None], option: str, *, usual: bool) -> bool:
    """What was asked for, else what the scenes say where they agree, else what is usual."""
    if asked is not None:
        return asked
    stated = {value for value in said if value is not None}
    if len(stated) > 1:
        raise Refused(f"--{option}: the scenes of the tanks differ; give --{option} or --no-{option} for all")
    return stated.pop() if stated else usual
